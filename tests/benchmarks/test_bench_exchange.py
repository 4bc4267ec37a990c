"""Readings out of a journal and in again: rows a second of each format, side by side."""

from __future__ import annotations

import resource
import time
from contextlib import closing
from pathlib import Path

import pytest

from panelward.commands import main
from panelward.journal import Journal
from panelward.records import Reading
from plans import T0

READINGS = 400_000


@pytest.mark.benchmark
def test_rates_of_export_and_import(tmp_path: Path) -> None:
    journal = tmp_path / "j.sqlite"
    with closing(Journal.open(journal)) as store:
        for n in range(READINGS):
            at_ms = T0 + n // 12 * 1000
            amps = 2.0 + (n * 7919 % 100) / 100
            store.append(Reading(f"D{n % 12}", at_ms, at_ms + n % 12, volts=12.8, amps=amps, watts=round(12.8 * amps, 1)))
            if not n % 20_000:
                store.commit()
        store.commit()
    print(f"\n{READINGS:,} readings; rows a second, and bytes a reading")
    csv_s: float | None = None
    for ending in ("csv", "jsonl", "parquet"):
        file, again = tmp_path / f"a.{ending}", tmp_path / f"{ending}.sqlite"
        taken = []
        for words in (
            ["export", "--journal", str(journal), "--out", str(file)],
            ["import", str(file), "--journal", str(again)],
        ):
            begun = time.perf_counter()
            assert main(["log", *words]) == 0
            taken.append(time.perf_counter() - begun)
        csv_s = csv_s or taken[0]
        size = file.stat().st_size / READINGS
        print(
            f"{ending:<8} out {READINGS / taken[0]:>9,.0f}  in {READINGS / taken[1]:>9,.0f}  {size:5.1f} B"
            f"  out as a ratio to csv {taken[0] / csv_s:.2f}"
        )
    print(f"most memory of the process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
