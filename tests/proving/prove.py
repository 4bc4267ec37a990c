"""The command: `python tests/proving/prove.py --help`. What it draws and how it scores: `proving/__init__.py`."""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))
if str(HERE.parent.parent / "agent") not in sys.path:
    sys.path.insert(0, str(HERE.parent.parent / "agent"))

import panelward  # noqa: E402
from panelward.watch import causes  # noqa: E402
from proving import cases, draw_cases, draw_judge, draw_report, judge, report, weeks  # noqa: E402

WATCHED = ("watch", "alarm", "ratings", "records", "core.py")  # what an outcome depends on
AFTERWARDS = ("report.py", "draw_report.py", "prove.py", "part.py", "fit.py", "aloud.py")  # what no outcome depends on
RUNS = HERE / "held_out_runs.txt"
CASES, DRAWS = 60, 30  # a family: the whole within the hour on two cores
Job = tuple[str, tuple[Any, ...]]


def sources_hash() -> str:
    """Of the watch and of this judge: an outcome of other sources is another outcome."""
    digest = hashlib.sha256()
    root = Path(panelward.__file__).parent
    files = [p for name in WATCHED for p in sorted((root / name).rglob("*.py") if (root / name).is_dir() else [root / name])]
    for path in files + sorted(HERE.glob("*.py")):
        if path.name not in AFTERWARDS and path.name[:5] != "test_":
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def weights_hash() -> str:
    """Of the weights and priors: `frozen.json` holds that of those which were frozen."""
    tables = (causes.EVIDENCE, causes.PRIORS, causes.UPSTREAM_EVIDENCE, causes.UPSTREAM_PRIORS)
    text = json.dumps([{name: list(row) for name, row in table.items()} for table in tables])
    return hashlib.sha256(text.encode()).hexdigest()


def load_held_out() -> bool:
    """`held_out.py` beside this file adds its families with `cases.family(..., held_out=True)`; it may be absent."""
    if not (HERE / "held_out.py").exists():
        return False
    importlib.import_module("proving.held_out")
    return True


def count_run() -> int:
    """One more run of the held-out part; how many there were."""
    runs = (int(RUNS.read_text().split()[0]) if RUNS.exists() else 0) + 1
    RUNS.write_text(f"{runs}\n", encoding="utf-8")
    return runs


def do(job: Job) -> dict[str, Any]:
    kind, arguments = job
    if kind == "case":
        if arguments[0] not in cases.FAMILIES:
            load_held_out()
        return judge.run(cases.make(*arguments))
    if kind == "draw":
        if arguments[0] not in draw_cases.FAMILIES:
            load_held_out()
        return draw_judge.run(draw_cases.make(*arguments))
    return weeks.run(*arguments)


def case_jobs(n: int, only: str | None, *, held_out: bool = False, kind: str = "case") -> dict[str, Job]:
    """By id, family after family in turn, so that a part is a fair part. `kind`: case, or draw."""
    families = cases.FAMILIES.values() if kind == "case" else draw_cases.FAMILIES.values()
    names = [f.name for f in families if f.held_out == held_out and (only is None or f.name.startswith(only))]
    return {f"{name}/{n}/{number:03d}": (kind, (name, n, number)) for number in range(n) for name in names}


def week_jobs(count: int) -> dict[str, Job]:
    """Of ten weeks eight at 30 s, one at 10 s, one at 1 s; that in days."""
    jobs: dict[str, Job] = {}
    for number in range(count):
        if number % 10 == 4:
            jobs[weeks.week_id(number, 10.0, 7.0)] = ("week", (number, count, 10.0, 7.0))
        elif number % 10 == 9:
            for day in range(7):
                at = number * 7 + day
                jobs[weeks.week_id(at, 1.0, 1.0)] = ("week", (at, count * 7, 1.0, 1.0))
        else:
            jobs[weeks.week_id(number, 30.0, 7.0)] = ("week", (number, count, 30.0, 7.0))
    return jobs


def run(jobs: dict[str, Job], processes: int, until: float | None) -> Iterator[dict[str, Any]]:
    """Outcomes as they are done; nothing new is begun after `until`."""
    waiting = iter(jobs.values())
    with ProcessPoolExecutor(max_workers=processes) as pool:
        doing: set[Future[dict[str, Any]]] = set()
        while True:
            while len(doing) < 3 * processes and (until is None or time.monotonic() < until):
                job = next(waiting, None)
                if job is None:
                    break
                doing.add(pool.submit(do, job))
            if not doing:
                return
            done, doing = wait(doing, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()


def read(path: Path) -> dict[str, dict[str, Any]]:
    """What is done already; a line cut off by a kill is left out."""
    found: dict[str, dict[str, Any]] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                outcome = json.loads(line)
            except ValueError:
                continue
            found[outcome["case"]] = outcome
    return found


def options(argv: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="prove.py", description="Judge the watch on drawn cases and quiet vehicle-weeks.")
    parser.add_argument("--only", metavar="FAULT", help="families whose name begins so, e.g. H3, H4-feeder or rhythm-iced")
    parser.add_argument("--draw", action="store_true", help="levels, drains, rhythms and drift alone, without quiet weeks")
    parser.add_argument("--cases", type=int, metavar="N", help=f"cases a family (default {CASES}, of a draw {DRAWS})")
    parser.add_argument("--seconds", type=float, metavar="S", help="begin nothing new after so long (default 3300)")
    parser.add_argument("--whole", action="store_true", help="however long it takes")
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1), help="processes (default 2)")
    parser.add_argument("--out", type=Path, default=Path("proving-out"), help="folder of the outcomes (default proving-out)")
    parser.add_argument("--quiet-weeks", type=int, default=300, metavar="N", help="quiet vehicle-weeks (default 300)")
    parser.add_argument("--held-out", action="store_true", help="the held-out families instead; each run is counted")
    parser.add_argument("--json", action="store_true", help="print the figures as one JSON object")
    return parser.parse_args(argv)


def main(argv: list[str] | None = None) -> int:
    args = options(argv)
    if args.held_out:
        if not load_held_out():
            print("there is no held_out.py beside prove.py", file=sys.stderr)
            return 2
        print(f"held-out part: run number {count_run()}", file=sys.stderr)
    args.out.mkdir(parents=True, exist_ok=True)
    path = args.out / f"{sources_hash()}.jsonl"
    jobs: dict[str, Job] = {}
    if not args.draw:
        jobs |= case_jobs(args.cases or CASES, args.only, held_out=args.held_out)
    jobs |= case_jobs(args.cases or DRAWS, args.only, held_out=args.held_out, kind="draw")
    if args.only is None and not args.held_out and not args.draw:
        jobs |= week_jobs(args.quiet_weeks)
    if not jobs:
        print(f"no family begins with '{args.only}': {', '.join([*cases.FAMILIES, *draw_cases.FAMILIES])}", file=sys.stderr)
        return 2
    done = read(path)
    left = {name: job for name, job in jobs.items() if name not in done}
    print(f"{path}: {len(jobs) - len(left)} of {len(jobs)} done already", file=sys.stderr)
    began = time.monotonic()
    until = None if args.whole else began + (3300.0 if args.seconds is None else args.seconds)
    with path.open("a", encoding="utf-8") as file:
        for n, outcome in enumerate(run(left, args.jobs, until), 1):
            file.write(json.dumps(outcome, separators=(",", ":")) + "\n")
            file.flush()
            done[outcome["case"]] = outcome
            if n % 50 == 0 or n == len(left):
                print(f"{n} of {len(left)}, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    mine = [done[name] for name in jobs if name in done]
    drawn = [o for o in mine if o.get("draw")]
    lines = [o for o in mine if "family" in o and not o.get("draw")]
    quiet = [o for o in mine if "family" not in o]
    if args.json:
        false = [f for w in quiet for f in w["false"]]
        figures: dict[str, Any] = {"hash": path.stem, "figures": report.summary(lines), "draws": draw_report.figures(drawn)}
        print(json.dumps(figures | {"quiet_weeks": sum(w["week"] for w in quiet), "quiet_false": false}))
    else:
        tables = [report.table(lines, quiet)] if lines or quiet else []
        print("\n\n".join([*tables, *([draw_report.table(drawn)] if drawn else [])]))
        if len(mine) < len(jobs):
            print(f"\n{len(jobs) - len(mine)} of {len(jobs)} not done: run it again to go on")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
