"""Draws alarms out of the proof's outcomes to be read by someone who sees nothing but the message.

    python tests/proving/aloud.py proving-out/HASH.jsonl --draw 20 --out aloud

writes `messages.txt`, what the phone shows, and `truth.txt`, what really happened in the same order.
"""

from __future__ import annotations

import argparse
import random
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "agent")]

from panelward.core import Core  # noqa: E402
from panelward.records import Settings, Transition  # noqa: E402
from panelward.wording import alarm_object, body, title  # noqa: E402
from proving import cases, prove  # noqa: E402
from proving.vehicle import T0_MS  # noqa: E402


def said(line: dict[str, Any]) -> str:
    """The message of a case's first word about its fault, or of its first false one."""
    case = cases.again(line["case"])
    about = next(t for t in line["transitions"] if t["told"] and t["kind"] == line["decision"]["kind"]
                 and t["id"] == line["decision"]["id"] and t["candidates"])  # fmt: skip
    core = Core()
    out = core.feed(Settings(received_ms=T0_MS, schedule=case.schedule, started=True))
    for item in case.van.run(case.seconds):
        out += core.feed(item)
    out += core.advance(T0_MS + round(case.seconds * 1000))
    transition = next(t for t in out if isinstance(t, Transition) and t.at_ms == about["at"] and t.subject_id == about["id"])
    return f"{title(case.schedule)}\n{body(alarm_object(transition, case.schedule), 1)}"


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="aloud.py", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("outcomes", type=Path, help="a file that prove.py wrote")
    parser.add_argument("--draw", type=int, default=20, metavar="N", help="how many alarms (default 20)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("aloud"), help="folder of the two texts (default aloud)")
    args = parser.parse_args(argv)
    prove.load_held_out()
    told = [
        o
        for o in prove.read(args.outcomes).values()
        if "family" in o and not o["void"] and o["decision"] and o["decision"]["candidates"]
    ]
    told.sort(key=lambda o: str(o["case"]))
    drawn = random.Random(args.seed).sample(told, min(args.draw, len(told)))
    args.out.mkdir(parents=True, exist_ok=True)
    messages, truths = [], []
    for number, line in enumerate(drawn, 1):
        messages.append(f"--- {number}\n{said(line)}\n")
        truth = f"innocent: {line['cause']}" if line["innocent"] else line["cause"]
        truths.append(f"{number:2} {line['case']:32} {truth:24} named {line['decision']['said'] or '-'}")
        print(f"{number} of {len(drawn)}", file=sys.stderr, flush=True)
    (args.out / "messages.txt").write_text("\n".join(messages), encoding="utf-8")
    (args.out / "truth.txt").write_text("\n".join(truths) + "\n", encoding="utf-8")
    print(f"{args.out}/messages.txt, {args.out}/truth.txt")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
