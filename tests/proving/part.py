"""The fixed part of the proof that the tests judge: `python tests/proving/part.py` computes it anew and keeps it beside this.

It takes both cores many minutes, and its outcomes change only with the watch or the judge. So they are kept with the hash of
both. Where that fits, a tenth of them is computed again and must be the same to the last figure; where it does not, or a
figure differs (another machine's arithmetic), all of them are.
"""

from __future__ import annotations

import gzip
import json
import multiprocessing
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from proving import cases, prove

KEPT = Path(__file__).parent / "part.jsonl.gz"
OF = 60  # the part is of the same draws as the whole
NUMBERS = range(1, OF, 3)
WEEKS = (0, 1, 3, 5)
AGAIN = NUMBERS[::10]  # the cases of each family that are computed again
AGAIN_WEEKS = WEEKS[:1]
NOT_KEPT = ("cpu_s", "transitions")  # a time of this machine; what no test reads


Compute = Callable[[list[prove.Job]], list[dict[str, Any]]]


def jobs(numbers: range = NUMBERS, weeks: tuple[int, ...] = WEEKS) -> list[prove.Job]:
    found: list[prove.Job] = [("week", (number, 300, 30.0, 7.0)) for number in weeks]
    return found + [("case", (name, OF, number)) for number in numbers for name, f in cases.FAMILIES.items() if not f.held_out]


def computed(todo: list[prove.Job]) -> list[dict[str, Any]]:
    """On two processes; as it is read back."""
    with ProcessPoolExecutor(max_workers=2, mp_context=multiprocessing.get_context("spawn")) as pool:
        done = list(pool.map(prove.do, todo, chunksize=4))
    return [json.loads(json.dumps({key: o[key] for key in o if key not in NOT_KEPT})) for o in done]


def kept(path: Path, sources: str) -> list[dict[str, Any]]:
    """Empty where the watch or the judge is another than that of the outcomes that are kept."""
    if not path.exists():
        return []
    head, *lines = gzip.decompress(path.read_bytes()).decode().splitlines()
    return [json.loads(line) for line in lines] if json.loads(head) == {"sources": sources} else []


def keep(path: Path, sources: str, compute: Compute = computed) -> list[dict[str, Any]]:
    found = compute(jobs())
    lines = [json.dumps(each, separators=(",", ":")) for each in ({"sources": sources}, *found)]
    path.write_bytes(gzip.compress("\n".join(lines).encode(), mtime=0))
    return found


def outcomes(path: Path, sources: str, compute: Compute = computed) -> list[dict[str, Any]]:
    """Of all jobs, in their order."""
    found = kept(path, sources)
    if len(found) == len(jobs()):
        again = {o["case"]: o for o in compute(jobs(AGAIN, AGAIN_WEEKS))}
        if all(again[o["case"]] == o for o in found if o["case"] in again):
            return found
        print("the outcomes that are kept are not this machine's: all of them are computed", file=sys.stderr)
    return compute(jobs())


if __name__ == "__main__":
    whole = keep(KEPT, prove.sources_hash())
    print(f"{KEPT.name}: {len(whole)} outcomes of {prove.sources_hash()}, {KEPT.stat().st_size:,} bytes")
