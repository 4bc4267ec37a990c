"""Takes a few draws of household appliances out of the data that sktime carries, as amps: appliances.json.

Run by `tests/run.sh --full`, which compares with the frozen file; `--write` freezes it.

ACSF1 (the first appliance consumption signature database) is carried as 1460 numbers a trace, normalised to mean 0 and
deviation 1. They are four channels of 365 samples laid one into the other: reactive power, real power, volts, amps, 10 s
apart (from memory; an hour in all). So amps need no plate: the volts are the mains' 230 V (IEC 60038), and the level of
zero is the one at which volts times amps agree best with the two powers. `misfit` is what is left of that. Its classes
keep their numbers: the package's list of names does not fit them in its order (the "television" draws 7 W).

PLAID is carried as magnitudes in no unit: the settled level of one class differs a hundredfold from trace to trace. Only
the shape of a start is taken: 60 Hz cycles (five numbers each), as multiples of the settled level.

Licences: sktime and aeon are BSD-3-Clause, and carry both sets with their authors' names and no terms of their own.
PLAID was published under CC BY 4.0, ACS-F1 as free for research (both from memory).
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from statistics import median

HERE = Path(__file__).parent
MAINS_V = 230.0
PERIOD_S = 10.0
CYCLE = 5
CLASSES = 10
PLAID = (
    "air conditioner", "fluorescent lamp", "fan", "fridge", "hair dryer", "heater", "bulb", "laptop charger",
    "microwave oven", "vacuum cleaner", "washing machine",
)  # fmt: skip
EACH = 2  # traces a class: those that move most

Trace = list[float]


def carried(name: str) -> list[tuple[int, Trace]]:
    """Class and numbers of every trace, training part first."""
    spec = find_spec("sktime")
    if spec is None or spec.origin is None:
        raise SystemExit("this needs sktime: pip install 'panelward[reference]'")
    folder = Path(spec.origin).parent / "datasets" / "data" / name
    found = []
    for part in ("TRAIN", "TEST"):
        lines = iter((folder / f"{name}_{part}.ts").read_text(encoding="utf-8-sig", errors="replace").splitlines())
        for line in lines:
            if line.strip().lower() == "@data":
                break
        for line in lines:
            if line.strip():
                body, label = line.strip().rsplit(":", 1)
                found.append((int(label), [float(x) for x in body.split(",")]))
    return found


def misfit(q: Trace, p: Trace, v: Trace, i: Trace, zero: float) -> float:
    """Root mean square of what apparent power, from volts and amps, differs from the two powers, as a share of the most."""
    scale = MAINS_V / (median(v) - zero)
    squares, most = 0.0, 1e-9
    for reactive, real, volts, amps in zip(q, p, v, i, strict=True):
        by_power = scale * ((reactive - zero) ** 2 + (real - zero) ** 2) ** 0.5
        squares += (scale * scale * (volts - zero) * (amps - zero) - by_power) ** 2
        most = max(most, by_power)
    return float((squares / len(q)) ** 0.5 / most)


def in_amps(trace: Trace) -> dict[str, object]:
    """Watts and amps of one ACSF1 trace."""
    q, p, v, i = (trace[n::4] for n in range(4))
    # Zero lies just below the least of its amps, which are small beside the volts.
    low, high = min(i) - 0.05, min(i)
    for _ in range(60):  # golden section
        a, b = low + 0.382 * (high - low), low + 0.618 * (high - low)
        if misfit(q, p, v, i, a) <= misfit(q, p, v, i, b):
            high = b
        else:
            low = a
    zero = (low + high) / 2.0
    scale = MAINS_V / (median(v) - zero)
    return {
        "misfit": round(misfit(q, p, v, i, zero), 3),
        "watts": [round(scale * (x - zero), 1) for x in p],
        "amps": [round(scale * (x - zero), 3) for x in i],
    }


def start(trace: Trace) -> list[float] | None:
    """Mean of each cycle as a multiple of the settled level, from the first that draws; None where no start is seen."""
    cycles = [sum(trace[n : n + CYCLE]) / CYCLE for n in range(0, len(trace) - CYCLE + 1, CYCLE)]
    settled = median(cycles[-8:])
    if settled <= 0.05 or cycles[0] > 0.02 * settled:
        return None
    first = next(n for n, x in enumerate(cycles) if x > 0.3 * settled)
    return [round(x / settled, 2) for x in cycles[first:]] if len(cycles) - first >= 16 else None


def restless(row: dict[str, object]) -> float:
    watts = row["watts"]
    assert isinstance(watts, list)
    ordered = sorted(watts)
    return float(ordered[-8] - ordered[len(ordered) // 10])


def main() -> int:
    draws, starts = [], []
    acsf1, plaid = carried("ACSF1"), carried("PLAID")
    for label in range(CLASSES):
        rows = [{"class": label, "trace": n, **in_amps(x)} for n, (c, x) in enumerate(acsf1) if c == label]
        rows = [row for row in rows if float(str(row["misfit"])) <= 0.03]
        draws += sorted(rows, key=lambda row: -restless(row))[:EACH]
    for label, name in enumerate(PLAID):
        seen = ((n, start(x)) for n, (c, x) in enumerate(plaid) if c == label)
        starts += [{"class": name, "trace": n, "multiples": m} for n, m in islice(((n, m) for n, m in seen if m), EACH)]
    made = {
        "made_by": f"sktime {version('sktime')}: ACSF1, PLAID",
        "licence": "package BSD-3-Clause; PLAID CC BY 4.0, ACS-F1 free for research (both from memory)",
        "mains_v": MAINS_V,
        "period_s": PERIOD_S,
        "cycle_s": 1.0 / 60.0,
        "draws": draws,
        "starts": starts,
    }
    path = HERE / "appliances.json"
    text = "\n".join(json.dumps(made, separators=(",", ":")).replace('{"class"', '\n{"class"').splitlines()) + "\n"
    if "--write" in sys.argv:
        path.write_text(text)
        return 0
    frozen = json.loads(path.read_text())
    same = all(made[key] == frozen[key] for key in ("draws", "starts"))
    print(f"appliances: {len(draws)} draws and {len(starts)} starts, {'as frozen' if same else 'NOT as frozen'}")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
