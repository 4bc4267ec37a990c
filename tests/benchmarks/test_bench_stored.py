"""Reading a journal back: from its blocks, beside pandas from SQLite rows, CSV and Parquet, and DuckDB; bytes a reading.

python -m pytest tests/benchmarks/test_bench_stored.py -m benchmark -s

PANELWARD_BENCH_DAYS: of how many days (1; the figures that were noted are of 3 and 30). PANELWARD_BENCH_JOURNAL: a file that
`python tests/benchmarks/filled.py FILE DAYS` made, else one is made first. PANELWARD_BENCH_ROWS=0: without CSV and SQLite rows,
which take long to write. Every way is a process of its own that reads all columns and gives the mean watts of each circuit.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from panelward.review.stored import Stored

pytest.importorskip("pyarrow")
duckdb = pytest.importorskip("duckdb")

import filled  # noqa: E402
import month  # noqa: E402
import numpy as np  # noqa: E402
import pyarrow as pa  # noqa: E402
import pyarrow.parquet as pq  # noqa: E402

COLUMNS = ("circuit", "time_ms", "volts", "amps", "watts")
AGENT = Path(__file__).parents[2] / "agent"
HEAD = "import json, resource, sys, time\nbegun = time.perf_counter()\npath = sys.argv[1]\n"
TAIL = """
mb = int(open("/proc/self/status").read().split("VmHWM:")[1].split()[0]) / 1024
cpu = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
print(json.dumps([time.perf_counter() - begun, cpu, mb, means]))
"""
BLOCKS = """
import numpy as np
from panelward.review.stored import Stored
source = Stored(path)
sums = {}
for _, _, columns in source.pieces(source.first_ms, source.last_ms + 1):
    for circuit, each in columns.items():
        known = ~np.isnan(each.watts)
        total, count = sums.get(circuit, (0.0, 0))
        sums[circuit] = total + float(each.watts[known].sum()), count + int(known.sum())
means = {circuit: total / count for circuit, (total, count) in sums.items() if count}
"""
FRAME = "means = frame.groupby('circuit', observed=True)['watts'].mean().dropna().to_dict()\n"
WAYS = {
    "blocks": BLOCKS,
    "pandas, Parquet": "import pandas as pd\nframe = pd.read_parquet(path)\n" + FRAME,
    "DuckDB, Parquet to frame": "import duckdb\nframe = duckdb.sql(f\"SELECT * FROM '{path}'\").df()\n" + FRAME,
    "DuckDB, Parquet, its own mean": (
        "import duckdb\nmeans = dict(duckdb.sql(f\"SELECT circuit, avg(watts) FROM '{path}' GROUP BY 1\").fetchall())\n"
        "means = {name: mean for name, mean in means.items() if mean is not None}\n"
    ),
    "pandas, CSV": "import pandas as pd\nframe = pd.read_csv(path)\n" + FRAME,
    "pandas, SQLite rows": (
        "import sqlite3\nimport pandas as pd\n"
        "frame = pd.read_sql_query('SELECT * FROM readings', sqlite3.connect(path))\n" + FRAME
    ),
}


def taken(way: str, path: Path) -> tuple[float, float, float, dict[str, float]]:
    """(wall s, CPU s, most MB, mean watts)."""
    done = subprocess.run(
        [sys.executable, "-c", HEAD + WAYS[way] + TAIL, str(path)],
        env=os.environ | {"PYTHONPATH": str(AGENT)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    wall, cpu, mb, means = json.loads(done.stdout.splitlines()[-1])  # before it there may be a bar of progress
    return wall, cpu, mb, means


def written(journal: Path, folder: Path, rows: bool) -> dict[str, Path]:
    """The same readings in other files: in the order of their time, circuit by circuit, half a day at a time."""
    import sqlite3

    parquet, csv, sqlite = (folder / f"readings.{end}" for end in ("parquet", "csv", "sqlite"))
    source = Stored(journal)
    writer = None
    raw = sqlite3.connect(sqlite)
    raw.execute("CREATE TABLE readings (circuit TEXT, time_ms INTEGER, volts REAL, amps REAL, watts REAL)")
    for _, _, columns in source.pieces(source.first_ms, source.last_ms + 1):
        names = pa.array(np.concatenate([[name] * len(each.time_ms) for name, each in columns.items()])).dictionary_encode()
        figures = [np.concatenate([getattr(each, name) for each in columns.values()]) for name in COLUMNS[1:]]
        table = pa.table([names, *(pa.array(figure, from_pandas=True) for figure in figures)], names=list(COLUMNS))
        if writer is None:
            writer = pq.ParquetWriter(parquet, table.schema, compression="zstd")
        writer.write_table(table)
        if rows:
            frame = table.to_pandas()
            frame.to_csv(csv, mode="a", header=not csv.exists(), index=False)
            with raw:
                raw.executemany("INSERT INTO readings VALUES (?, ?, ?, ?, ?)", frame.itertuples(index=False, name=None))
    raw.close()
    assert writer is not None
    writer.close()
    return {"Parquet": parquet} | ({"CSV": csv, "SQLite": sqlite} if rows else {})


@pytest.mark.benchmark
def test_reading_back_and_bytes_a_reading(tmp_path: Path) -> None:
    days = int(os.environ.get("PANELWARD_BENCH_DAYS", "1"))
    rows = os.environ.get("PANELWARD_BENCH_ROWS", "1") != "0"
    journal = Path(os.environ.get("PANELWARD_BENCH_JOURNAL") or tmp_path / "j.sqlite")
    if not journal.exists():
        filled.fill_at_once(journal, days)
    count = days * month.DAY_S * month.CIRCUITS
    files = {"blocks": journal} | written(journal, tmp_path, rows)
    print(f"\n{count:,} readings")
    for name, path in files.items():
        print(f"  {name:<8} {path.stat().st_size / 1e6:8.1f} MB  {path.stat().st_size / count:6.2f} bytes a reading")
    base, ours = 0.0, {}
    for way in WAYS:
        path = next((p for name, p in files.items() if name in way), None)
        if path is None:
            continue
        wall, cpu, mb, means = taken(way, path)
        base, ours = base or wall, ours or means
        assert means == pytest.approx(ours)
        print(f"  {way:<30} {wall:7.2f} s, CPU {cpu:7.2f} s, {mb:7.0f} MB: {wall / base:6.2f} x the time of the blocks")
