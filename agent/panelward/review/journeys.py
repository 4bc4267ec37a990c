"""From leaving to its end, and what the vehicle did meanwhile, as far as the readings and people's words tell.

Home: on an outside supply, laid up or with nobody aboard for so long on end that it is no stop on the way. Where none of that
can be known there is no journey to be told: then all that is kept is looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from panelward.records import Doing, Schedule
from panelward.review.gathered import Gathered
from panelward.review.report import Journey
from panelward.review.source import Floats

HOME_MS = 12 * 3_600_000  # a night at a pitch is none (our own choice)
LEAST_MS = 3_600_000  # less is no journey
NIGHT_FROM_H, NIGHT_TO_H = 22, 6  # local; as the door's nights
LIGHTS_W = 2.0  # below this all lights together are out
DEEDS = ("under-way", "at-rest", "outside-supply", "lights-out", "nobody-aboard", "unknown")


def home_of(doing: Doing) -> str | None:
    """From what it is told that the vehicle is at home; None: it is not."""
    if doing.under_way:
        return None
    if doing.on_shore:
        return "the outside supply"
    if doing.laid_up:
        return "being laid up"
    return "nobody being aboard" if doing.aboard is False else None


def journeys(changes: Sequence[Doing], from_ms: int, to_ms: int) -> tuple[Journey, ...]:
    """In time order; none where home was never told."""
    homes: list[tuple[int, int, str]] = []
    marks = [d for d in changes if d.at_ms < to_ms]
    for at, doing in enumerate(marks):
        by = home_of(doing)
        ends_ms = marks[at + 1].at_ms if at + 1 < len(marks) else to_ms
        if by is None:
            continue
        if homes and homes[-1][1] == doing.at_ms:
            homes[-1] = homes[-1][0], ends_ms, homes[-1][2]
        else:
            homes.append((doing.at_ms, ends_ms, by))
    homes = [each for each in homes if each[1] - each[0] >= HOME_MS]
    if not homes:
        return ()
    found = []
    left_ms, by = from_ms, ""
    for begin, end, what in [*homes, (to_ms, to_ms, "")]:
        if begin - left_ms >= LEAST_MS:
            first = by or "the beginning of the readings"
            last = what or "the end of the readings"
            told = f"{first} until then, {last} after it" if first != last else f"{first} before and after it"
            found.append(Journey(from_ms=left_ms, to_ms=begin, by=told))
        left_ms, by = end, what
    return tuple(found)


def doing_shares(
    schedule: Schedule, gathered: Gathered, part: slice, changes: Sequence[Doing], zone: ZoneInfo
) -> dict[str, Floats]:
    """Of each deed, how large a share of each bin it has."""
    count = part.stop - part.start
    begins, lengths = gathered.begins_ms(part), gathered.seconds(part) * 1000
    begin_ms, end_ms = int(gathered.edges_ms[part.start]), int(gathered.edges_ms[part.stop])
    shares = {name: np.zeros(count) for name in DEEDS}
    marks = [(d.at_ms, _deed(d)) for d in changes if d.at_ms < end_ms]
    cuts = [(begin_ms, next((deed for at, deed in reversed(marks) if at <= begin_ms), "unknown"))]
    cuts += [(at, deed) for at, deed in marks if at > begin_ms]
    for (at, deed), (until, _) in zip(cuts, [*cuts[1:], (end_ms, "")], strict=True):
        shares[deed] += np.clip((until - begins) / lengths, 0.0, 1.0) - np.clip((at - begins) / lengths, 0.0, 1.0)
    dark = _lights_out(schedule, gathered, part, zone)
    if dark is not None:
        for name in ("at-rest", "unknown"):
            shares["lights-out"] += np.where(dark, shares[name], 0.0)
            shares[name] = np.where(dark, 0.0, shares[name])
    return shares


def _deed(doing: Doing) -> str:
    if doing.under_way:
        return "under-way"
    if doing.on_shore:
        return "outside-supply"
    if doing.laid_up or doing.aboard is False:
        return "nobody-aboard"
    return "at-rest" if doing.under_way is False else "unknown"


def _lights_out(schedule: Schedule, gathered: Gathered, part: slice, zone: ZoneInfo) -> npt.NDArray[np.bool_] | None:
    """By night with the lights out. None: there is no light among the loads."""
    lights = [c.id for c in schedule.circuits if c.role == "load" and any(load.kind == "light" for load in c.loads)]
    if not lights:
        return None
    times = gathered.begins_ms(part)
    quarters, at = np.unique(times // 900_000, return_inverse=True)
    hours = np.array([datetime.fromtimestamp(int(q) * 900, UTC).astimezone(zone).hour for q in quarters])
    night = ((hours >= NIGHT_FROM_H) | (hours < NIGHT_TO_H))[at]
    watts, read = np.zeros(len(times)), np.ones(len(times), np.bool_)
    for way in lights:
        grid = gathered.ways[way].grid
        read_s = grid.read_s[part]
        read &= read_s > 0
        watts += np.where(read_s > 0, grid.wh[part] * 3600 / np.maximum(read_s, 1e-9), 0.0)
    return np.asarray(night & read & (watts < LIGHTS_W), np.bool_)
