"""What was found out, for a person at a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill, wrap

from panelward.listen.draft import UNITS, ranged
from panelward.listen.findings import Findings, FoundCircuit, FoundMonitor
from panelward.records import QUANTITIES
from panelward.schedule.values import escaped

WIDTH = 80
MOST_CIRCUITS = 60
HEARD = (("topic", 28), ("dialect", 7), ("circuits", 8), ("quantities", 21), ("every", 12))
EACH = (("circuit", 10), ("amps", 17), ("volts", 15), ("watts", 17), ("else", 17))


def report(findings: Findings) -> Iterator[str]:
    """The lines; what to do next is for whoever knows where the draft is."""
    yield _folded(
        f"Heard for {findings.span_s:.0f} s: {_many(findings.messages, 'message')} on {_many(findings.topics, 'topic')}."
    )
    if findings.monitors:
        yield ""
        yield from _table(HEARD, [_row(found) for found in findings.monitors])
    for found in findings.monitors:
        yield ""
        yield from _monitor(found)
    if findings.unread:
        yield ""
        yield f"Not understood ({_many(sum(each.topics for each in findings.unread), 'topic')})"
        for each in findings.unread:
            yield _folded(f"{each.why}: {_many(each.topics, 'topic')}, {_many(each.messages, 'message')}", "  ")
            payload = f": {each.payload}" if each.payload else ""
            yield _cut(f"    {escaped(each.topic[:WIDTH])}{payload}")
    left = _left_out(findings)
    if left:
        yield ""
        yield from left


def _row(found: FoundMonitor) -> tuple[str, ...]:
    probes = sum(circuit.is_probe for circuit in found.circuits)
    circuits = f"{len(found.circuits) - probes}" + (f" and {_many(probes, 'probe')}" if probes else "")
    topic = found.monitor.topic + (f" {found.monitor.record_name}" if found.monitor.record_name else "")
    quantities = [q for q in QUANTITIES if any(q in circuit.quantities for circuit in found.circuits)]
    if found.every_s is not None:
        every = f"{found.every_s:g} s"
    else:
        every = "on change" if found.publishes == "on-change" else "not known"
    return topic, found.monitor.dialect, circuits, " ".join(quantities), every


def _monitor(found: FoundMonitor) -> Iterator[str]:
    read = f"{found.understood:,} of {_many(found.messages, 'message')} read by what is drafted"
    publishes = {"always": "publishes always", "on-change": "publishes on change", None: "always or on change: not known"}
    step = f"amps in steps of {found.resolution_a:g} A" if found.resolution_a is not None else "its step of amps: not known"
    yield _folded(f"{found.monitor.name}: {read}; {publishes[found.publishes]}; {step}.")
    if found.state is not None:
        texts = " and ".join(f"'{text}'" for text in found.state.texts)
        yield _folded(f"It seems to say on {found.state.topic} that it is here or gone: heard {texts}.", "  ")
    for doubt in found.doubts:
        yield _folded(f"Not certain: {doubt}", "  ")
    for quantity, why in found.scales:
        scale = dict(found.monitor.fields)[quantity].scale
        yield _folded(f"Scale of {quantity} {scale:g}: {why}.", "  ")
    yield from _table(EACH, [_of_circuit(circuit) for circuit in found.circuits[:MOST_CIRCUITS]])
    if len(found.circuits) > MOST_CIRCUITS:
        yield f"and {len(found.circuits) - MOST_CIRCUITS} more: see the draft"
    if found.flows_back:
        back = ", ".join(found.flows_back)
        yield _folded(f"Amps went below nothing at {back}: a charger, a meter, or a sensor the wrong way round.", "  ")


def _of_circuit(circuit: FoundCircuit) -> tuple[str, ...]:
    more = [ranged(circuit.celsius, "celsius")] if circuit.celsius is not None else []
    more += [quantity for quantity in circuit.quantities if quantity not in UNITS]
    more += ["retained only"] if circuit.readings == 0 else []
    return (
        circuit.id,
        *(ranged(getattr(circuit, quantity), quantity, unit=False) for quantity in ("amps", "volts", "watts")),
        " ".join(more),
    )


def _left_out(findings: Findings) -> list[str]:
    said = []
    if findings.own:
        said.append(f"Passed over: {_many(findings.own, 'message')} of panelward's own.")
    if findings.of_broker:
        said.append(f"Passed over: {_many(findings.of_broker, 'message')} of the broker about itself ($…).")
    if findings.not_kept:
        narrow = "more came than is kept. Narrow it with --topic, or listen for a shorter time"
        said.append(f"Not looked at: {_many(findings.not_kept, 'message')}: {narrow}.")
    return [_folded(text) for text in said]


def _table(columns: Sequence[tuple[str, int]], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    for row in [[name for name, _ in columns], *rows]:
        cells = [_wrapped(text, width) for text, (_, width) in zip(row, columns, strict=True)]
        for line in range(max(len(cell) for cell in cells)):
            pieces = [
                (cell[line] if line < len(cell) else "").ljust(width) for cell, (_, width) in zip(cells, columns, strict=True)
            ]
            yield " ".join(pieces).rstrip()


def _wrapped(text: str, width: int) -> list[str]:
    """A long topic goes on below, cut after a slash or a colon where there is one."""
    lines: list[str] = []
    for piece in wrap(escaped(text), 10_000) or [""]:
        rest = piece
        while len(rest) > width:
            cut = max(rest.rfind(mark, 1, width) for mark in "/: ") + 1
            cut = cut if cut > 1 else width
            lines.append(rest[:cut].rstrip())
            rest = rest[cut:]
        lines.append(rest)
    return lines


def _many(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _folded(text: str, indent: str = "") -> str:
    return fill(escaped(text), WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _cut(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 1]}…"
