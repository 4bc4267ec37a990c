"""A fixed part of the proof: every family and a few quiet weeks, kept while watch and judge are the same (see part.py)."""

from __future__ import annotations

import ast
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from proving import cases, judge, prove, report
from proving.part import AGAIN, AGAIN_WEEKS, KEPT, OF, jobs, keep, outcomes
from proving.sampling import Point

# Shares of the part below (hits, of how many): at least, or at most. Loose by about two standard errors: they fail when
# something breaks; how good it is `prove.py` prints.
AT_LEAST = {
    "floor_in_time": 0.84,
    "floor_found": 0.9,
    "load_in_time": 0.1,
    "silent_in_time": 0.9,
    "top_1_tellable": 0.6,
    "named_tellable": 0.6,
    "named_right": 0.87,
}
AT_MOST = {
    "confident_wrong": 0.03,
    "innocent_false": 0.05,
    "innocent_high": 0.035,
    "named_untellable": 0.14,
    "extra": 0.07,
    "void": 0.04,
}
QUIET_AT_MOST = {"high": 0, "medium": 0, "low": 1}  # in all the quiet weeks below


@dataclass(frozen=True)
class Part:
    lines: list[dict[str, Any]]
    weeks: list[dict[str, Any]]
    figures: dict[str, Any]


@pytest.fixture(scope="module")
def part() -> Part:
    done = outcomes(KEPT, prove.sources_hash())
    lines = [o for o in done if "family" in o]
    figures = report.summary(lines)
    figures["void"] = (figures["void"], figures["cases"])
    return Part(lines, [o for o in done if "family" not in o], figures)


@pytest.mark.parametrize("name", AT_LEAST)
def test_at_least(part: Part, name: str) -> None:
    hits, n = part.figures[name]
    assert n > 0
    assert hits / n >= AT_LEAST[name], f"{name}: {report.share(hits, n)}"


@pytest.mark.parametrize("name", AT_MOST)
def test_at_most(part: Part, name: str) -> None:
    hits, n = part.figures[name]
    assert n > 0
    assert hits / n <= AT_MOST[name], f"{name}: {report.share(hits, n)}"


@pytest.mark.parametrize("priority", QUIET_AT_MOST)
def test_quiet_weeks(part: Part, priority: str) -> None:
    assert all(not w["opened"] for w in part.weeks)
    false = [(w["case"], *f) for w in part.weeks for f in w["false"] if f[0] == priority]
    assert len(false) <= QUIET_AT_MOST[priority], false


def test_quieter_than_the_baselines(part: Part) -> None:
    innocent = [o for o in report.ok(part.lines) if o["innocent"] and o["knowable"]]
    for name in ("fixed", "sigma"):
        assert 10 * sum(len(o["false"]) for o in innocent) < sum(o[name]["false"] for o in innocent)


def test_the_table_is_80_columns(part: Part) -> None:
    lines = report.table(part.lines, part.weeks).splitlines()
    assert max(map(len, lines)) <= 80
    assert {f.name for f in cases.FAMILIES.values() if not f.held_out} <= {line.split()[0] for line in lines if line}


def test_a_decision_holds_what_a_fit_needs(part: Part) -> None:
    found = [o["decision"] for o in part.lines if o["found"] and o["decision"]["said"] not in ("link-lost",)]
    assert len(found) > 50
    weighed = [d for d in found if d["candidates"]]
    assert all(d["evidence"] and d["truth"] and d["confidence"] is not None for d in weighed)


def test_the_weights_are_those_that_were_frozen() -> None:
    """Whoever moves a weight fits anew, and says in `frozen.json` on what: a held-out run of before counts no more."""
    told = json.loads((Path(__file__).parent / "frozen.json").read_text())
    assert prove.weights_hash() == told["sha256"]


def test_what_is_kept_is_believed_only_of_the_same_sources_and_of_this_machine(tmp_path: Path) -> None:
    """Every family stands in what is computed again; with another hash, or one figure that differs, nothing kept is taken."""
    assert {job[1][0] for job in jobs(AGAIN, ())} == {f.name for f in cases.FAMILIES.values() if not f.held_out}
    asked: list[int] = []
    lines = [{"case": str(job[1]), "delay_s": 1.0} for job in jobs()]

    def compute(todo: list[prove.Job]) -> list[dict[str, Any]]:
        asked.append(len(todo))
        wanted = {str(job[1]) for job in todo}
        return [dict(line) for line in lines if line["case"] in wanted]

    path, few, whole = tmp_path / "kept", len(jobs(AGAIN, AGAIN_WEEKS)), len(jobs())
    assert outcomes(path, "these", compute) == lines
    keep(path, "these", compute)
    assert outcomes(path, "these", compute) == lines
    assert asked == [whole, whole, few]
    assert outcomes(path, "others", compute) == lines
    lines[-1] = lines[-1] | {"delay_s": 1.5}  # of a case that is not computed again: the tenth can't show it
    assert outcomes(path, "these", compute) != lines
    lines[0] = lines[0] | {"delay_s": 1.5}
    assert outcomes(path, "these", compute) == lines
    assert asked[3:] == [whole, few, few, whole]


def test_the_same_case_is_the_same_twice() -> None:
    first, again = (judge.run(cases.make("H3-overload", OF, 7)) for _ in range(2))
    assert {**first, "cpu_s": 0} == {**again, "cpu_s": 0}


def test_every_stratum_is_used_once() -> None:
    n = 60
    for name in ("severity", "loss", "zero"):
        strata = sorted(int(n * Point("H3-overload", n, number).u(name)) for number in range(n))
        assert strata == list(range(n))


def test_cases_are_chosen_without_the_watch() -> None:
    """Simulator and cases import records of panelward, nothing else of it."""
    here = Path(__file__).parent
    drawn = tuple(p.stem for p in sorted(here.glob("draw_*.py")) if p.stem not in ("draw_judge", "draw_report"))
    for name in ("cases", "vehicle", "draws", "devices", "sampling", "baselines", *drawn):
        for node in ast.walk(ast.parse((here / f"{name}.py").read_text())):
            modules = (
                [node.module or ""] if isinstance(node, ast.ImportFrom)
                else [a.name for a in node.names] if isinstance(node, ast.Import) else []
            )  # fmt: skip
            assert all(m == "panelward.records" or not m.startswith("panelward") for m in modules), (name, modules)


# Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (Wilson's score interval). From memory.
@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson(hits: int, n: int, low: float, high: float) -> None:
    assert report.wilson(hits, n) == pytest.approx((low, high), abs=6e-5)


def test_a_line_cut_off_by_a_kill_is_done_again(tmp_path: Path) -> None:
    path = tmp_path / "x.jsonl"
    path.write_text('{"case":"a","found":true}\n{"case":"b","fou')
    assert list(prove.read(path)) == ["a"]
