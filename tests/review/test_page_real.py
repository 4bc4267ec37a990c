"""The page of a real review: what it shows is what `--json` prints, figure by figure, straight from a file of readings."""

from __future__ import annotations

import csv
import json
from contextlib import redirect_stdout
from datetime import UTC, datetime
from io import StringIO
from typing import Any

import pytest

from panelward.commands import main
from review import hours
from review.sheets import VAN
from review.test_page import near, table

HEAD = ("time", "circuit", "volts", "amps", "watts", "closed", "celsius")


@pytest.fixture(scope="module")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, Any]]:
    """The page and the JSON of the hours in which the sockets' fuse opens."""
    room = tmp_path_factory.mktemp("real")
    readings, out = room / "readings.csv", room / "report.html"
    with readings.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(HEAD)
        for each in hours.readings():
            at = datetime.fromtimestamp(each.time_ms / 1000, UTC).isoformat()
            values = (each.volts, each.amps, each.watts, None if each.closed is None else int(each.closed), each.celsius)
            writer.writerow([at, each.circuit, *("" if value is None else value for value in values)])
    said = StringIO()
    with redirect_stdout(said):
        assert main(["review", "--schedule", str(VAN), "--readings", str(readings), "--out", str(out), "--json"]) == 0
    return out.read_text(encoding="utf-8"), json.loads(said.getvalue())


def test_energy_is_that_of_the_json(reviewed: tuple[str, dict[str, Any]]) -> None:
    page, found = reviewed
    rows = {row[0].split(" ")[0]: row for row in table(page, "Wh of each way, in panel order")[1:]}
    known = [each for each in found["energy"] if each["what"] in ("circuit", "charger") and each["way"] in rows]
    assert len(known) >= 4
    for each in known:
        if each["energy_wh"] is None:
            assert rows[each["way"]][1] == "not known"
        else:
            assert near(rows[each["way"]][1], each["energy_wh"]), each["way"]


def test_margins_are_those_of_the_json(reviewed: tuple[str, dict[str, Any]]) -> None:
    page, found = reviewed
    rows = {row[0].split(" ")[0]: row for row in table(page, "Margins, the least first")[1:]}
    for each in found["margins"]:
        shown = rows[each["way"]][2]
        assert shown == "not known" if each["worst_minute_a"] is None else near(shown, each["worst_minute_a"])


def test_what_opened_is_on_page_one_and_leads_to_its_way(reviewed: tuple[str, dict[str, Any]]) -> None:
    page, found = reviewed
    (opening,) = [each for each in found["openings"] if each["way"] == "D7"]
    assert abs(opening["at_ms"] - (hours.T0 + hours.OPENS_S * 1000)) <= 5000
    (sentence,) = [each for each in found["happened"] if each["way"] == "D7" and each["about"] == "openings"]
    assert sentence["text"].replace(" A", "\u00a0A") in page[: page.index("The journey along the panel")]
