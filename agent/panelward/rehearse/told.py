"""A comparison in sentences, and the same as plain values. No alarm's text is made here: those are quoted from `wording`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from panelward.rehearse.beside import Compared, Message, Tally
from panelward.rehearse.variation import Variation
from panelward.wording import say

CAUTION = (
    "This is arithmetic on what was read, not a test of the wiring, and no leave to fit anything. Replace like for like "
    "only; local code and licensed practice win over it."
)
LICENSED = "Above extra-low voltage: for a licensed person to judge and to do."
NOT_READ = (
    "The volts of the bus are taken as they were read. A request, a note or a monitor's last word is not among the readings."
)
CERTAIN = 95
NOTHING_READ = "There is no reading there: nothing is compared. Name readings that hold some, or another --from and --to."
SHOWN = 12  # messages that are quoted; --json has up to 500 of each sort
PERCENTS = (10, 50, 90)


def many(count: int, word: str, words: str = "") -> str:
    """1 message, 2 messages; never 0."""
    return f"{'no' if count == 0 else f'{count:,}'} {word if count == 1 else words or word + 's'}"


def percent(share: float | None) -> str:
    """3.8 %"""
    return "not known" if share is None else f"{100.0 * share:.1f} %"


def signed(way: str, zone: str, message: Message) -> str:
    """Tue 21:10 high: …"""
    return f"{way} {say.day_clock(message.at_ms, zone)} {message.priority}: {message.text}"


# What is varied, and what of it is doubtful.


def head(variation: Variation) -> Iterator[str]:
    """The change itself; whom it is for; what check warns of."""
    if not variation.changes:
        yield "Varied: nothing. The schedule says this already."
    for change in variation.changes:
        yield f"Varied: {change}"
    for title in variation.licensed:
        yield f"{title}. {LICENSED}"
    yield from variation.notes
    for finding in variation.warned:
        yield f"`panelward check` would warn: {finding.message} {finding.remedy}"


# Messages.


def messages(
    compared: Compared, zone: str, titles: Mapping[str, str], *, was: str = "As it is", now: str = "As varied"
) -> Iterator[str]:
    """What would have been told, and how it differs."""
    if not compared.readings:
        yield NOTHING_READ
        return
    yield f"{was}: {_tally(compared.before)}."
    if compared.identical:
        yield f"{now}: the same, to the letter and the millisecond."
        return
    without = ", ".join(titles.get(way, way) for way in compared.untold)
    alike = "; of what is compared the same, to the letter and the millisecond" if compared.identical_as_far else ""
    yield f"{now}{f', without {without}' if without else ''}: {_tally(compared.after)}{alike}."
    if without:
        yield (
            f"The alarms of {without} are not compared, because the device opened as it is, or may have, and what would have "
            "flowed on into a bigger one was never read."
        )
    elif not (compared.only_before or compared.only_after or compared.otherwise):
        yield "Every message is the same; only what is journalled differs."
    if compared.same:
        yield f"{many(compared.same, 'message')} the same in both."
    for name, kept, more in (
        (f"Only {was[0].lower()}{was[1:]}:", compared.only_before, compared.more["only before"]),
        (f"Only {now[0].lower()}{now[1:]}:", compared.only_after, compared.more["only after"]),
    ):
        for message in kept[:SHOWN]:
            yield signed(name, zone, message)
        yield from unshown(len(kept) - min(SHOWN, len(kept)) + more, "message")
    for before, after in compared.otherwise[:SHOWN]:
        if before.text != after.text:
            yield signed("In other words:", zone, after)
            yield f"  before, {say.day_clock(before.at_ms, zone)}: {before.text}"
        else:
            late = "later" if after.at_ms > before.at_ms else "earlier"
            yield signed(f"{say.lasting(abs(after.at_ms - before.at_ms) / 1000.0)} {late}:", zone, after)
    left = len(compared.otherwise) - min(SHOWN, len(compared.otherwise)) + compared.more["otherwise"]
    yield from unshown(left, "message")


def _tally(tally: Tally) -> str:
    opened = sum(tally.opened.values())
    by = [f"{tally.priorities[p]} {p}" for p in ("high", "medium", "low") if tally.priorities[p]]
    told = many(tally.messages, "message") + (f" ({', '.join(by)})" if by else "")
    return f"{many(opened, 'opening')} told, {told}"


def unshown(count: int, word: str) -> Iterator[str]:
    if count > 0:
        yield f"… and {many(count, f'more {word}')}; --json has them."
