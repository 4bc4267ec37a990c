"""A commissioning record of the demo's van, invented, with three holes; and a panel of forty ways with strange labels."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from panelward import sealed
from panelward.records import Checked, Commissioned, Measured, Protection, Record, Schedule
from plans import T0, circuit, plan

VAN = Path(__file__).parent.parent.parent / "config" / "survey-van.toml"


def measured(name: str, watts: float, *, share: float = 0.04, **keys: object) -> Measured:
    return Measured(
        name=name, watts=watts, low_w=round(watts * (1 - share), 3), high_w=round(watts * (1 + share), 3),
        sd_w=round(watts * share / 2.5, 3), readings=24, **keys,  # type: ignore[arg-type]
    )  # fmt: skip


def way(circuit_id: str, *levels: Measured, fuse_a: float, left_a: float | None = None, **keys: object) -> Commissioned:
    return Commissioned(
        circuit=circuit_id, levels=levels, as_found_a=fuse_a, as_left_a=fuse_a if left_a is None else left_a, zero_a=0.0031,
        gain=1.004, **keys,  # type: ignore[arg-type]
    )  # fmt: skip


WAYS = (
    way("D1", measured("compressor", 51.3, surge_times=2.7, surge_s=2.0), standby=measured("standby", 1.46), fuse_a=15,
        runs=4, run_s=1310.0, idle_s=2120.0),
    way("D2", measured("idle", 24.8), measured("busy", 44.9, provisional=True), fuse_a=10),
    way("D3", measured("burning", 21.2), measured("glow", 121.7, lasted_s=104.0), standby=measured("standby", 0.41), fuse_a=20),
    way("D4", measured("pumping", 61.7, surge_times=3.1, surge_s=2.0), fuse_a=15, left_a=10, exponent=1.02),
    way("D5", measured("on", 83.1), fuse_a=10),
    way("D6", measured("watching", 1.31), fuse_a=2),
    Commissioned(circuit="D7", as_found_a=20.0, as_left_a=20.0, skipped="no socket was in use"),
    way("D8", measured("half", 9.1), measured("middle", 11.9), measured("full", 34.6), fuse_a=5, exponent=2.43),
    way("D9", measured("idle", 20.4), fuse_a=125),
    way("D10", measured("pumping", 39.2), fuse_a=7.5),
    way("D11", measured("running", 5.9), fuse_a=3),
    Commissioned(circuit="D12", as_found_a=30.0, as_left_a=30.0, skipped="no core bit at hand"),
    Commissioned(circuit="D13", as_found_a=30.0, as_left_a=30.0),
    Commissioned(circuit="A1", skipped="not done by us"),
)  # fmt: skip
RECORD = Record(
    vehicle="survey-van", version=0, made_ms=T0, who="Kari Øvrebø", instrument="clamp 3, calibrated 2026-02-11",
    ambient_c=12.5, circuits=WAYS, monitors=(Checked(monitor="dc-panel", period_s=2.0, reports="sample", resolution_a=0.01),),
    meter_sign="discharge-positive",
    differs=(
        "D7 Bench sockets: 20 A was found where 15 A is scheduled (too large); 20 A is left in it. Fit the scheduled rating "
        "once the panel is isolated.",
    ),
    remarks=("The residual-current device was not tested by us.",),
)  # fmt: skip


def sealed_record(path: Path, schedule_text: str, record: Record = RECORD) -> Record:
    """Written as a file; its first version."""
    versions = sealed.append((), replace(record, schedule_hash=sealed.schedule_hash(schedule_text)))
    sealed.write(path, versions)
    return versions[-1]


LONG = "Aft starboard wash-down and anchor-locker ventilation blower, lower deck, frame 12"
POSITION = "PANEL-AFT-STARBOARD-UPPER-ROW-POSITION-13-OF-40-WITH-A-LONG-NAME"
STRANGE = ("Холодильник образцов", "Ψύκτης δειγμάτων", "冷凍庫", "مبرد العينات", "Kjøleskåp «nord» <b>&", "Sump‑pump №7")


def forty() -> Schedule:
    """Forty ways: long labels, long positions, letters from elsewhere, devices above their conductors."""
    ways = []
    for number in range(1, 41):
        label = f"{LONG[:72]} {number}" if number % 5 == 0 else STRANGE[number % len(STRANGE)] + f" {number}"
        kind = ("electronics", "pump", "light", "detector", "socket", "air-heater", "compressor", "inverter")[number % 8]
        left_a = 60.0 if number in (7, 21) else None
        ways.append(
            circuit(
                POSITION if number == 13 else f"W{number}", label, kind,
                feed="always-on" if number % 3 == 0 else "switched", always_draws_w=0.5 if number % 6 == 0 else None,
                protection=Protection(kind="blade-fuse", type="C", rating_a=10, as_found_a=left_a, as_left_a=left_a),
            )
        )  # fmt: skip
    return plan(*ways)
