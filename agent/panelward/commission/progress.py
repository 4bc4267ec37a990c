"""How far each way is: what the page's list of the lap shows."""

from __future__ import annotations

from dataclasses import dataclass

from panelward.commission.figures import behaves, measured, named_levels, names_of, pools, standby_of
from panelward.commission.lap import Lap
from panelward.commission.state import State, loads, self_acting
from panelward.ratings.behaviour import exponent_of
from panelward.records import Schedule


@dataclass(frozen=True, slots=True)
class Progress:
    """One way with a load."""

    circuit: str
    label: str
    state: str  # done | provisional | open | itself | skipped
    levels: tuple[tuple[str, float, bool], ...] = ()  # name, watts, provisional
    missing: tuple[str, ...] = ()  # levels not seen yet
    skipped: str = ""
    seen_on: str = ""  # another way's channel
    now_a: float | None = None


def progress(schedule: Schedule, state: State, lap: Lap) -> tuple[Progress, ...]:
    """Each way in panel order."""
    out = []
    for circuit in loads(schedule):
        if state.only and circuit.id not in state.only:
            continue
        on = lap.channel_of(circuit.id)
        channel = state.channels.get(on) if on is not None else None
        found = on in state.found if on is not None else False
        named: list[tuple[str, float, bool]] = []
        missing = tuple(level.name for _, level in named_levels(circuit))
        watts = None
        if channel is not None and (found or self_acting(circuit)) and state.match_from_ms is not None:
            all_pools = pools(channel, exponent_of(behaves(circuit)))
            rest = standby_of(circuit, all_pools, channel)
            for pool, name, level in names_of(circuit, [p for p in all_pools if p is not rest], channel.nominal_v):
                if level is not None:
                    named.append((name, pool.mean, measured(pool, name, channel, level.tolerance).provisional))
            missing = tuple(name for name in missing if name not in [each[0] for each in named])
        if channel is not None and channel.settled:
            watts = channel.steady_w
        skipped = state.skipped.get(circuit.id, "")
        done = found and not missing
        kind = (
            "skipped" if skipped
            else "provisional" if done and any(each[2] for each in named)
            else "done" if done
            else "itself" if self_acting(circuit)
            else "open"
        )  # fmt: skip
        out.append(
            Progress(
                circuit.id, circuit.label, kind, tuple(named), () if self_acting(circuit) else missing, skipped,
                on if found and on is not None and on != circuit.id else "",
                None if watts is None or channel is None else watts / channel.nominal_v,
            )
        )  # fmt: skip
    return tuple(out)
