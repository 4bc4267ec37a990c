"""The whole review of some hours of 24 circuits at 1 Hz, beside the plainest ways to no more than its energy and worst minutes.

Printed, not asserted: seconds of CPU a million readings, and each as a ratio to the review straight from the journal's blocks.
PANELWARD_BENCH_HOURS sets how many hours (default 2; a day takes a minute or two to make).
"""

from __future__ import annotations

import os
import resource
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from benchmarks import month
from panelward.intake import write_table
from panelward.journal import Journal
from panelward.records import Level, Monitor, Surge
from panelward.review.stored import Stored
from panelward.review.table import Table
from panelward.review.whole import Asked, Beside, review
from plans import BUS, PLAN, circuit

duckdb = pytest.importorskip("duckdb")  # of the reference packages

HOURS = float(os.environ.get("PANELWARD_BENCH_HOURS", "2"))
WAYS = tuple(
    circuit(
        name, f"Way {n}", feed="always-on" if n % 6 == 2 else "switched", standby_max_w=3.0,
        levels=(Level(name="on", watts=30.0 + n, surge=Surge(times=2, seconds=2)),),
    )
    for n, name in enumerate(month.NAMES)
)  # fmt: skip
SCHEDULE = replace(
    PLAN, circuits=WAYS, feeders=(), probes=(), supplies=(replace(PLAN.supplies[0], meter=None),),
    monitors=(Monitor(name="dc", dialect="plain", topic="v/{circuit}/{quantity}", expect_every_s=1, sense=BUS),),
)  # fmt: skip


def figures(frame: pd.DataFrame) -> float:
    """Wh by circuit, and the greatest mean current of a minute: what anybody would write first."""
    whole = 0.0
    for _, way in frame.sort_values("time_ms").groupby("circuit", sort=False):
        watts = np.where(way.watts.isna(), way.volts * way.amps, way.watts)
        whole += float(np.trapezoid(watts, way.time_ms)) / 3.6e6
        way.amps.rolling(60).mean().max()
    return whole


@pytest.mark.benchmark
def test_a_review_beside_plainer_ways(tmp_path: Path) -> None:
    journal, rows, csv, parquet = (tmp_path / name for name in ("j.sqlite", "rows.sqlite", "r.csv", "r.parquet"))
    count = 0
    frames = []
    with closing(Journal.open(journal)) as store, csv.open("w") as out:
        left, number = round(HOURS * 3600), 0
        while left > 0:
            found = month.day(number, seconds=min(left, month.DAY_S))
            readings = list(month.readings(found))
            for each in readings:
                store.append(each)
                count += 1
                if count % 65_536 == 0:
                    store.commit()
            store.commit()
            write_table(readings, out) if number == 0 else None
            names = np.array(month.NAMES)[found.circuit]
            frames.append(
                pd.DataFrame(
                    {"time_ms": found.time_ms, "circuit": names, "volts": found.volts, "amps": found.amps, "watts": found.watts}
                )
            )
            left, number = left - month.DAY_S, number + 1
        while store.pack(2**60):
            pass
    frame = pd.concat(frames)
    frame.to_parquet(parquet)
    with closing(sqlite3.connect(rows)) as connection:
        frame.to_sql("readings", connection, index=False, chunksize=100_000)
    del frame, frames

    def of_rows() -> float:
        with closing(sqlite3.connect(rows)) as connection:
            return figures(pd.read_sql("SELECT * FROM readings", connection))

    def of_csv() -> float:
        found = pd.read_csv(csv, usecols=["time", "circuit", "volts", "amps", "watts"])
        found["time_ms"] = pd.to_datetime(found["time"], format="ISO8601").astype("datetime64[ms, UTC]").astype("int64")
        return figures(found)

    def of_duckdb() -> float:
        asked = (
            "SELECT sum((w + before) / 2 * (time_ms - was)) / 3.6e6 FROM (SELECT time_ms, coalesce(watts, volts * amps) AS w, "
            "lag(coalesce(watts, volts * amps)) OVER each AS before, lag(time_ms) OVER each AS was "
            f"FROM '{parquet}' WINDOW each AS (PARTITION BY circuit ORDER BY time_ms))"
        )
        return float(duckdb.sql(asked).fetchall()[0][0])

    ways: dict[str, Callable[[], object]] = {
        "review, from the journal": lambda: review(Stored(journal), SCHEDULE, Asked(), Beside(), 0),
        "review, from CSV": lambda: review(Table(csv, SCHEDULE), SCHEDULE, Asked(), Beside(), 0),
        "pandas, from SQLite rows": of_rows,
        "pandas, from CSV": of_csv,
        "pandas, from Parquet": lambda: figures(pd.read_parquet(parquet)),
        "DuckDB, energy alone, from Parquet": of_duckdb,
    }
    print(f"\n{count:,} readings, {HOURS:g} h; journal {journal.stat().st_size / count:.2f} bytes a reading")
    first: float | None = None
    for name, way in ways.items():
        begun = time.process_time()
        found_by = way()
        taken = time.process_time() - begun
        first = first or taken
        said = f"{found_by:.1f} Wh" if isinstance(found_by, float) else f"{found_by.readings:,} readings"  # type: ignore[attr-defined]
        print(f"{name:<36}{taken / count * 1e6:7.2f} s a million  {taken / first:6.2f} times  {said}")
    print(f"most memory of the process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
