"""The causes that were weighed for an alarm: which was named, which were rejected, and what spoke for and against each."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from panelward.records.outputs import RUNNER_UP
from panelward.wording.english import CAUSES

_WEIGHTS = re.compile(r" \(([^()]* [+-]\d+\.\d)\)\.$")
_LEAST = 0.005  # what is below is not in the alarm's own list


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One hypothesis. Weights are log10 likelihood ratios."""

    name: str
    text: str
    verdict: str  # named | in question | rejected
    probability: float | None  # None: below half a percent
    speaks_for: tuple[tuple[str, float], ...]  # evidence, weight
    speaks_against: tuple[tuple[str, float], ...]


def causes(alarm: Mapping[str, Any]) -> tuple[Cause, ...]:
    """The likeliest first; then those that the evidence weighs and that came out below half a percent."""
    weighed = [_split(str(line)) for line in alarm["evidence"]]
    known = {str(name): float(p) for name, p in alarm["candidates"]}
    by_text = {text: name for name, text in CAUSES.items()}
    named = [by_text[text] for _, weights in weighed for text in weights if text in by_text]
    names = [*known, *(name for name in dict.fromkeys(named) if name not in known)] if known else []
    return tuple(_cause(name, known.get(name), alarm["cause"], weighed) for name in names)


def _split(line: str) -> tuple[str, dict[str, float]]:
    """A piece of evidence and what it weighs for each cause's words."""
    found = _WEIGHTS.search(line)
    if found is None:
        return line, {}
    pairs = (part.rsplit(" ", 1) for part in found[1].split(", "))
    return line[: found.start()] + ".", {text: float(weight) for text, weight in pairs}


def _cause(name: str, probability: float | None, chosen: str | None, weighed: list[tuple[str, dict[str, float]]]) -> Cause:
    text = CAUSES.get(name, name.replace("-", " "))
    found = [(line, weights[text]) for line, weights in weighed if text in weights]
    share = probability if probability is not None else _LEAST
    verdict = "named" if name == chosen else "in question" if share >= RUNNER_UP else "rejected"
    return Cause(
        name=name, text=text, verdict=verdict, probability=probability,
        speaks_for=tuple(sorted((each for each in found if each[1] > 0), key=lambda each: -each[1])),
        speaks_against=tuple(sorted((each for each in found if each[1] < 0), key=lambda each: each[1])),
    )  # fmt: skip
