"""Fits the weights of `watch.causes` on outcomes of the proof: `python tests/proving/fit.py proving-out/HASH.jsonl`.

It needs the extra `reference` (numpy, SciPy). Only weights that are not 0 in the table move, none changes its sign or passes
4, and each is held to what stands there by a normal prior of 0.5 (log10): what the cases say nothing of stays as the trade
proposed it. The draws hold as many cases of a rare cause as of a common one, so the shift of the priors that this makes is
fitted besides and thrown away: a likelihood ratio is a matter of the evidence, how often a cause comes is one of the trade.

Prints both tables, ready for `causes.py`, with the log loss and the first choice before and after, in five parts of the cases
each judged by weights fitted on the other four.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "agent")]

from panelward.watch import causes  # noqa: E402
from proving import cases, prove  # noqa: E402

HELD = 0.5  # log10, standard deviation round the proposal
SHIFT = 1.0  # log10, of the thrown-away shift of the priors
MOST = 4.0
PARTS = 5
LN10 = float(np.log(10.0))
Row = tuple[tuple[str, ...], "np.ndarray[Any, Any]", int, int]  # evidence, log10 prior, truth's column, part


@dataclass(frozen=True)
class Table:
    """One of the two tables."""

    name: str
    columns: tuple[str, ...]
    weights: dict[str, tuple[float, ...]]

    @property
    def proposal(self) -> np.ndarray[Any, Any]:
        return np.array([self.weights[name] for name in self.weights], dtype=float)


CIRCUIT = Table("EVIDENCE", causes.HYPOTHESES, causes.EVIDENCE)
PARENT = Table("UPSTREAM_EVIDENCE", causes.UPSTREAM, causes.UPSTREAM_EVIDENCE)
ABOVE = ("isolator", "low-voltage-disconnect", "battery-protection", "supply-lost")


def guard_of(decision: dict[str, Any], evidence: tuple[str, ...]) -> str:
    """Of which guard a supply's parent was: the one whose posterior is what was told."""
    if decision["subject"] == "feeder":
        return "feeder"
    if decision["id"] == "inverter":
        return "inverter"

    def off(guard: str) -> float:
        found = dict(causes.upstream(guard, evidence))
        return sum(abs(found[cause] - p) for cause, p in decision["candidates"].items())

    return min(("supply", "isolator", "disconnect"), key=off)


def rows(lines: list[dict[str, Any]]) -> tuple[list[Row], list[Row]]:
    """Of circuits, and of parents."""
    own: list[Row] = []
    parents: list[Row] = []
    for line in lines:
        decision = line.get("decision")
        if decision is None or line["innocent"] or line["void"] or not line["found"] or not decision["candidates"]:
            continue
        if decision["subject"] == "circuit":
            evidence = tuple(name for name in decision["evidence"] if name in causes.EVIDENCE)
            truth = "supply-lost" if line["cause"] in ABOVE else line["cause"]
            schedule = cases.again(line["case"]).schedule
            circuit = schedule.circuit(decision["id"])
            floor = "floor-gone" in evidence
            prior = causes.priors(circuit, schedule.supply(circuit.supply), floor=floor)
            table, into = CIRCUIT, own
        else:
            evidence = tuple(name for name in decision["evidence"] if name in causes.UPSTREAM_EVIDENCE)
            truth = line["cause"]
            prior = causes.UPSTREAM_PRIORS[guard_of(decision, evidence)]
            table, into = PARENT, parents
        if truth in table.columns and prior[table.columns.index(truth)] > 0.0:
            part = int(line["case"].split("/")[-1]) % PARTS
            into.append((evidence, np.log10(np.maximum(prior, 1e-9)), table.columns.index(truth), part))
    return own, parents


class Fit:
    """The sums of one table over its cases."""

    def __init__(self, table: Table, of: Sequence[Row]) -> None:
        self.table = table
        index = {name: i for i, name in enumerate(table.weights)}
        self.seen = np.zeros((len(of), len(index)))
        for i, (evidence, _, _, _) in enumerate(of):
            self.seen[i, [index[name] for name in evidence]] = 1.0
        self.prior = np.array([row[1] for row in of])
        self.truth = np.array([row[2] for row in of])
        self.part = np.array([row[3] for row in of])
        self.start = table.proposal
        self.free = self.start != 0.0

    def log_p(self, weights: np.ndarray[Any, Any], shift: np.ndarray[Any, Any] | float) -> np.ndarray[Any, Any]:
        logits = LN10 * (self.prior + shift + self.seen @ weights)
        logits = logits - logits.max(axis=1, keepdims=True)
        return np.asarray(logits - np.log(np.exp(logits).sum(axis=1, keepdims=True)))

    def fitted(self, use: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
        """Weights, and the shift of the priors."""
        shape, free, start = self.start.shape, self.free, self.start
        seen, truth = self.seen[use], self.truth[use]
        many = int(free.sum())
        hot = np.zeros((len(truth), shape[1]))
        hot[np.arange(len(truth)), truth] = 1.0

        def cost(x: np.ndarray[Any, Any]) -> tuple[float, np.ndarray[Any, Any]]:
            weights = np.zeros(shape)
            weights[free] = x[:many]
            log_p = self.log_p(weights, x[many:])[use]
            loss = -log_p[np.arange(len(truth)), truth].sum()
            loss += 0.5 * (((x[:many] - start[free]) / HELD) ** 2).sum() + 0.5 * ((x[many:] / SHIFT) ** 2).sum()
            slope = LN10 * (np.exp(log_p) - hot)
            by_weight = (seen.T @ slope)[free] + (x[:many] - start[free]) / HELD**2
            return float(loss), np.concatenate([by_weight, slope.sum(axis=0) + x[many:] / SHIFT**2])

        bounds = [(0.0, MOST) if w > 0 else (-MOST, 0.0) for w in start[free]] + [(-2.0, 2.0)] * shape[1]
        found = minimize(cost, np.concatenate([start[free], np.zeros(shape[1])]), jac=True, method="L-BFGS-B", bounds=bounds)
        weights = np.zeros(shape)
        weights[free] = found.x[:many]
        return weights, found.x[many:]

    def shift(self, use: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """The shift of the priors that suits the proposal."""
        truth = self.truth[use]
        hot = np.zeros((len(truth), self.start.shape[1]))
        hot[np.arange(len(truth)), truth] = 1.0

        def cost(x: np.ndarray[Any, Any]) -> tuple[float, np.ndarray[Any, Any]]:
            log_p = self.log_p(self.start, x)[use]
            slope = LN10 * (np.exp(log_p) - hot)
            loss = -log_p[np.arange(len(truth)), truth].sum() + 0.5 * ((x / SHIFT) ** 2).sum()
            return float(loss), slope.sum(axis=0) + x / SHIFT**2

        return np.asarray(minimize(cost, np.zeros(self.start.shape[1]), jac=True, method="L-BFGS-B").x)

    def worth(
        self, weights: np.ndarray[Any, Any], shift: np.ndarray[Any, Any] | float, use: np.ndarray[Any, Any]
    ) -> tuple[float, float]:
        """Log loss in bits, and the share of right first choices."""
        log_p, truth = self.log_p(weights, shift)[use], self.truth[use]
        return float(-log_p[np.arange(len(truth)), truth].mean() / np.log(2)), float((log_p.argmax(axis=1) == truth).mean())


def report(table: Table, of: Sequence[Row]) -> str:
    fit = Fit(table, of)
    every = np.ones(len(of), dtype=bool)
    before, after = [], []
    for part in range(PARTS):
        out = fit.part == part
        weights, shift = fit.fitted(~out)
        # Before, too, with the shift that suits it best: only the weights are compared.
        before.append(fit.worth(fit.start, fit.shift(~out), out))
        after.append(fit.worth(weights, shift, out))
    weights, _ = fit.fitted(every)
    lines = [f"# {table.name}: {len(of)} cases; on parts not fitted on, before and after:"]
    for name, i in (("log loss, bits", 0), ("first choice", 1)):
        lines.append(f"#   {name:15} {np.mean([b[i] for b in before]):.3f} {np.mean([a[i] for a in after]):.3f}")
    for row, (name, old) in zip(weights, table.weights.items(), strict=True):
        cells = ", ".join(f"{w:+.1f}" if abs(w) >= 0.05 else " 0.0" for w in row)
        moved = max(abs(w - o) for w, o in zip(row, old, strict=True))
        lines.append(f"    {json.dumps(name) + ':':26}({cells})," + (f"  # moved {moved:.1f}" if moved >= 0.3 else ""))
    return "\n".join(lines)


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="fit.py", description="Fit the weights of the causes on outcomes of the proof.")
    parser.add_argument("outcomes", type=Path, nargs="+", help="files that prove.py wrote")
    args = parser.parse_args(argv)
    lines = [line for path in args.outcomes for line in prove.read(path).values()]
    own, parents = rows([line for line in lines if "family" in line])
    for table, of in ((CIRCUIT, own), (PARENT, parents)):
        print(report(table, of), end="\n\n")
    print(f"# the tables of causes.py as they stand, for frozen.json: sha256 {prove.weights_hash()}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
