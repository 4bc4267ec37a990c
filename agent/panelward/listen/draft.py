"""The schedule drafted from what was heard: its TOML, with what nobody can read from a broker left to be filled in.

Written are names, topics, periods and steps, as they were heard. Not written, only asked for: devices, ratings, conductors,
feeds, loads, nominal volts. A draft that named one of them would be believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from panelward.listen.findings import Findings, FoundCircuit, FoundMonitor, Range
from panelward.records import Broker, Pointer
from panelward.schedule.models import LOAD_KINDS, PROTECTION_KINDS
from panelward.schedule.rules import vehicle_id
from panelward.schedule.values import escaped
from panelward.schedule.written import inline, plain, quoted

WIDTH = 118
NOTHING_V = 3.0  # a bus below this has no feed: nothing says which bus it is
APART = 1.3  # volts further apart than so many times are of another bus
UNITS = {"amps": "A", "volts": "V", "watts": "W", "celsius": "°C"}
DIGITS = {"amps": 3, "volts": 2, "watts": 1, "celsius": 1}
_HEAD = """\
Drafted from what was heard on a broker. "fill in" marks what nobody can read from there: write it from the panel itself \
and take the # away. Until then `panelward check` names what is missing. It watches; it does not protect: the fuse or \
breaker does. Isolate every source before touching a panel."""
_ROLE = (
    'amps went below nothing: if it is a charger or the bank\'s meter write role = "charger" or role = "meter"; '
    "else its sensor is the wrong way round"
)
_KINDS = f"Kinds of protection: {', '.join(PROTECTION_KINDS)}. Kinds of load: {', '.join(LOAD_KINDS)}."


def draft(findings: Findings, broker: Broker, *, vehicle: str = "My vehicle") -> str:
    """The TOML. `panelward check` reads it and names what is missing."""
    buses = _buses(findings)
    lines = [*_comment(_HEAD), "", "[vehicle]", f"name = {quoted(vehicle)}  # fill in"]
    if not vehicle_id(vehicle):
        lines.append('id = "vehicle"  # fill in: none can be made from the name')
    lines += ["", *_broker(broker)]
    for found in findings.monitors:
        lines += ["", *_monitor(found)]
    for bus, of_bus in buses.items():
        lines += ["", *_supply(bus, of_bus)]
    lines += ["", *_comment(_KINDS)]
    bus_of = {circuit.id: bus for bus, of_bus in buses.items() for circuit in of_bus}
    several = len(findings.monitors) > 1
    for found in findings.monitors:
        for circuit in found.circuits:
            monitor = [f"monitor = {quoted(found.monitor.name)}"] if several else []
            if circuit.is_probe:
                lines += ["", *_probe(circuit, monitor)]
            else:
                lines += ["", *_circuit(circuit, found, monitor, bus_of.get(circuit.id))]
    return "\n".join(lines) + "\n"


def _broker(broker: Broker) -> list[str]:
    lines = ["[broker]", f"host = {quoted(broker.host)}", f"port = {broker.port}"]
    if broker.tls:
        lines.append("tls = true")
    for key in ("username", "password_file", "ca_file", "cert_file", "key_file"):
        value = getattr(broker, key)
        if value is not None:
            lines.append(f"{key} = {quoted(value)}")
    return lines


def _monitor(found: FoundMonitor) -> list[str]:
    monitor = found.monitor
    lines = [
        "[[monitor]]",
        f"name = {quoted(monitor.name)}",
        f"dialect = {quoted(monitor.dialect)}",
        f"topic = {quoted(monitor.topic)}",
    ]
    if monitor.record_name is not None:
        lines.append(f"record_name = {quoted(monitor.record_name)}")
    if monitor.fields:
        fields = {quantity: _pointer(where) for quantity, where in monitor.fields}
        if monitor.time_field is not None:
            fields["time"] = _pointer(monitor.time_field)
        lines.append(f"fields = {inline(dict(fields))}")
        for quantity, why in found.scales:
            sure = "" if "likely" not in why else " Compare one circuit with a meter."
            lines += _comment(f"scale of {quantity}: {why}.{sure}")
    lines += _period(found)
    lines += _state(found)
    lines += _sense(found)
    for doubt in found.doubts:
        lines += _comment(f"Not certain: {doubt}")
    return lines


def _pointer(where: Pointer) -> dict[str, object]:
    return {"pointer": where.pointer} | ({"scale": where.scale} if where.scale != 1.0 else {})


def _period(found: FoundMonitor) -> list[str]:
    if found.every_s is not None:
        others = {c.every_s for c in found.circuits if c.every_s not in (None, found.every_s)}
        lines = [f"expect_every_s = {plain(found.every_s)}  # heard"]
        if others:
            seen = [f"{c.id} every {c.every_s:g} s" for c in found.circuits if c.every_s not in (None, found.every_s)]
            lines += _comment(f"the longest is written, so that none is taken for overdue: {', '.join(seen[:8])}")
        return lines
    if found.publishes == "on-change" and found.shortest_s is not None:
        return _comment(
            f"expect_every_s = ...  # fill in how often it looks; what changed came {found.shortest_s:g} s apart at the "
            "least. Left out: 5"
        )
    return _comment("expect_every_s = ...  # fill in the seconds between two readings: too few came to tell. Left out: 5")


def _state(found: FoundMonitor) -> list[str]:
    state = found.state
    if state is None:
        return _comment(
            "no topic was heard by which it says that it went: if it has a last will, write will = { topic, gone, here }"
        )
    if state.here is not None and state.gone is not None:
        table: dict[str, object] = {"topic": state.topic, "gone": state.gone, "here": state.here}
        why = f"heard: readings came under {quoted(state.here)}, none under {quoted(state.gone)}"
        return [*_comment(why), f"will = {inline(table)}"]
    here = state.here or (state.texts[0] if len(state.texts) == 1 else None)
    table = {"topic": state.topic, "gone": None}
    if here is not None:
        table["here"] = here
    heard = " and ".join(quoted(text) for text in state.texts)
    kept = ", kept by the broker" if state.retained else ""
    return [
        f"# will = {inline(table)}",
        *_comment(f"fill in gone: only {heard} was heard there{kept}. Listen again and cut the monitor's power meanwhile."),
    ]


def _sense(found: FoundMonitor) -> list[str]:
    known: dict[str, object] = {}
    if found.resolution_a is not None:
        known["resolution_a"] = found.resolution_a
    if found.publishes is not None:
        known["publishes"] = found.publishes
    lines = [f"sense = {inline(known)}  # heard"] if known else []
    missing = "" if found.resolution_a is not None else ", resolution_a (its step of amps; left out: 0.05)"
    missing += "" if found.publishes is not None else ", publishes (always | on-change; left out: always)"
    return [
        *lines,
        *_comment(
            "fill in, within sense: volts_at (bus | after-device | after-switch | load; left out: bus), reports "
            f"(sample | mean; left out: sample){missing}"
        ),
    ]


def _buses(findings: Findings) -> dict[str, list[FoundCircuit]]:
    """Circuits whose volts go together, by a name for their bus. Two buses of like volts can't be told apart."""
    with_volts = [
        c
        for found in findings.monitors
        for c in found.circuits
        if c.usual_v is not None and abs(c.usual_v) >= NOTHING_V and not c.is_probe
    ]
    groups: list[list[FoundCircuit]] = []
    for circuit in sorted(with_volts, key=lambda c: (abs(c.usual_v or 0.0), c.id)):
        if groups and abs(circuit.usual_v or 0.0) <= APART * abs(groups[-1][0].usual_v or 0.0):
            groups[-1].append(circuit)
        else:
            groups.append([circuit])
    named: dict[str, list[FoundCircuit]] = {}
    for group in groups:
        volts = sorted(abs(c.usual_v or 0.0) for c in group)
        named[f"bus-{round(volts[len(volts) // 2])}v"] = group
    return named


def _supply(bus: str, circuits: Sequence[FoundCircuit]) -> list[str]:
    least = min(c.volts[0] for c in circuits if c.volts is not None)
    most = max(c.volts[1] for c in circuits if c.volts is not None)
    many = f"{len(circuits)} circuits" if len(circuits) > 1 else circuits[0].id
    return [
        f"[supply.{bus}]  # name it as you call it, here and below",
        *_comment(
            f"{least:g} to {most:g} V were read on {many}. Assumed: one supply. If they hang on several of like volts, "
            "write each, and name it at its circuits."
        ),
        '# kind = "..."  # fill in: dc or ac',
        "# nominal_v = ...  # fill in",
        "# battery = { chemistry = ..., capacity_ah = ... }  # fill in, if it is one: lfp | flooded | agm | gel",
    ]


def _probe(circuit: FoundCircuit, monitor: Sequence[str]) -> list[str]:
    return [
        "[[probe]]",
        f"id = {quoted(circuit.id)}",
        *monitor,
        *_comment(f"heard: {seen(circuit)}"),
        '# where = "..."  # fill in: panel | outside | bank | load:<circuit>',
    ]


def _circuit(circuit: FoundCircuit, found: FoundMonitor, monitor: Sequence[str], bus: str | None) -> list[str]:
    lines = ["[[circuit]]", f"id = {quoted(circuit.id)}", f"label = {quoted(circuit.id)}  # fill in: what it feeds", *monitor]
    if bus is not None:
        lines.append(f"supply = {quoted(bus)}  # assumed from its volts")
    else:
        why = "its volts stood at nothing" if circuit.volts is not None else "no volts were heard of it"
        lines.append(f'# supply = "..."  # fill in: {why}')
    lines += _comment(f"heard: {seen(circuit)}")
    if circuit.readings == 0:
        lines += _comment("only readings that the broker had kept were heard: it may not be there any more")
    if circuit.quantities == ("volts",):
        lines += _comment("volts alone: a bus rather than a circuit? Then leave it out")
    if circuit.id in found.flows_back:
        lines += _comment(_ROLE)
    if circuit.step_a is not None:
        lines += _comment(
            f"its amps came in steps of {circuit.step_a:g} A: sense = {{ resolution_a = {plain(circuit.step_a)} }}"
        )
    return [
        *lines,
        '# feed = "..."  # fill in: always-on | switched',
        '# protection = { kind = "...", rating_a = ... }  # fill in: read it on the device itself',
        "# conductor = { area_mm2 = ..., length_m = ..., insulation_c = ..., bundled = ..., ambient_c = ... }  # fill in",
        '# load = { kind = "..." }  # fill in',
    ]


def seen(circuit: FoundCircuit) -> str:
    """What was read of a circuit, least and most."""
    pieces = [
        ranged(getattr(circuit, quantity), quantity) for quantity in ("amps", "volts", "watts", "celsius")
    ]  # fmt: skip
    pieces += [quantity for quantity in circuit.quantities if quantity not in UNITS]
    return ", ".join(piece for piece in pieces if piece)


def ranged(found: Range | None, quantity: str, *, unit: bool = True) -> str:
    """The least and the most, or the one value that it was."""
    if found is None:
        return ""
    least, most = (f"{round(value, DIGITS[quantity]) + 0.0:g}" for value in found)
    return (least if least == most else f"{least} to {most}") + (f" {UNITS[quantity]}" if unit else "")


def _comment(text: str) -> list[str]:
    """A comment of TOML; what can't be printed may not stand in one."""
    return wrap(
        escaped(text), WIDTH, initial_indent="# ", subsequent_indent="#   ", break_long_words=False, break_on_hyphens=False
    )  # fmt: skip
