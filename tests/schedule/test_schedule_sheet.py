"""The schedule as a spreadsheet: the way out and back, and every mess that people's spreadsheets hold."""

from __future__ import annotations

import csv
import tomllib
from io import StringIO
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.errors import Fault, ScheduleError
from panelward.ratings.conductor import AWG_SIZES, SAE_CMIL
from panelward.records import Circuit, Level, Load, Protection, Schedule, Segment, Sense, Supply, Vehicle
from panelward.schedule import load, parse
from panelward.schedule.models import BEHIND, LOAD_KINDS, PROTECTION_KINDS
from panelward.schedule.sheet import COLUMNS, Draft, draft, sheet

CONFIG = Path(__file__).parent.parent.parent / "config"
T = TypeVar("T")
HEAD = "position,purpose,rating_a,area_mm2,length_m,watts"


def drafted(text: str) -> Draft:
    found = draft(text, file="panel.csv")
    tomllib.loads(found.toml)  # it is TOML, whatever its gaps
    return found


def loaded(text: str) -> Schedule:
    return parse(drafted(text).toml, "draft.toml")


def only(text: str) -> Circuit:
    (circuit,) = loaded(text).circuits
    return circuit


def faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(ScheduleError) as caught:
        draft(text, file="panel.csv")
    return caught.value.faults


def fault(text: str) -> Fault:
    found = faults(text)
    assert len(found) == 1, "\n".join(map(str, found))
    assert found[0].file == "panel.csv"
    return found[0]


def has_remark(found: Draft, *parts: str) -> bool:
    return any(all(part in remark for part in parts) for remark in found.remarks)


# Out and back.

ids = st.from_regex(r"[A-Za-z0-9_-]{1,12}", fullmatch=True)
above_0 = st.floats(1e-6, 1e6, allow_subnormal=False)
from_0 = st.just(0.0) | above_0
texts = st.text(st.characters(exclude_categories=("C", "Z")) | st.sampled_from(" =+-@#'\",;"), min_size=1, max_size=30).filter(
    lambda text: text.strip() != "" and text.isprintable()
)


def maybe(values: st.SearchStrategy[T]) -> st.SearchStrategy[T | None]:
    return st.none() | values


protections = st.builds(
    Protection,
    kind=st.sampled_from([k for k in PROTECTION_KINDS if k != "blade-fuse"]),
    rating_a=above_0,
    as_found_a=maybe(above_0),
) | st.builds(
    Protection,
    kind=st.just("blade-fuse"),
    type=maybe(st.sampled_from("CEF")),
    rating_a=above_0,
    as_left_a=maybe(above_0),
    way_max_a=maybe(above_0),
)
shared = {
    "length_m": maybe(above_0),
    "insulation_c": maybe(st.floats(60, 260)),
    "bundled": maybe(st.integers(1, 1000)),
    "ambient_c": maybe(st.floats(-60, 150)),
    "thermal_insulation_m": from_0,
    "return_path": st.sampled_from(["wire", "chassis"]),
}
segments = (
    st.builds(Segment, area_mm2=maybe(above_0), **shared)
    | st.builds(Segment, awg=st.sampled_from(AWG_SIZES), **shared)
    | st.builds(Segment, sae=st.sampled_from(list(SAE_CMIL)), **shared)
)
levels = st.lists(above_0, max_size=3).map(lambda ws: tuple(Level(name=f"level {n}", watts=w) for n, w in enumerate(ws)))
loads = st.builds(
    Load,
    kind=st.sampled_from(LOAD_KINDS),
    levels=levels,
    maker_fuse_a=maybe(above_0),
    always_draws_w=maybe(above_0),
    standby_max_w=maybe(from_0),
    longest_run_s=maybe(st.integers(1, 366 * 86400).map(float)),
)


@st.composite
def schedules(draw: st.DrawFn) -> Schedule:
    supplies = draw(
        st.lists(
            st.builds(Supply, id=ids, kind=st.sampled_from(["dc", "ac"]), nominal_v=st.floats(0.001, 1500)),
            min_size=1,
            max_size=3,
            unique_by=lambda s: s.id,
        )
    )
    names = [supply.id for supply in supplies]
    feeders = draw(st.dictionaries(ids.filter(lambda name: name not in BEHIND), st.sampled_from(names), max_size=3))
    circuits = []
    for circuit_id in draw(st.lists(ids | st.sampled_from(["Total", "sum", "No"]), min_size=1, max_size=6, unique=True)):
        role = draw(st.sampled_from(["load", "load", "charger", "meter"]))
        feeder = draw(maybe(st.sampled_from(sorted(feeders)))) if feeders else None
        supply = feeders[feeder] if feeder else draw(st.sampled_from(names))
        passable = [*BEHIND, *(name for name, of in feeders.items() if of == supply)]
        circuits.append(
            Circuit(
                id=circuit_id,
                label=draw(texts),
                monitor=None,
                supply=supply,
                sense=Sense(),
                feeder=feeder,
                behind=tuple(draw(st.lists(st.sampled_from(passable), max_size=3))),
                role=role,
                feed=draw(st.sampled_from(["always-on", "switched"])) if role == "load" else None,
                always_on_reason=draw(maybe(texts)),
                importance=draw(st.sampled_from(["life", "property", "comfort"])),
                protection=draw(protections if role == "load" else maybe(protections)),
                conductor=tuple(draw(st.lists(segments, max_size=3))),
                loads=tuple(draw(st.lists(loads, max_size=3))),
            )
        )
    taken = [circuit.id for circuit in circuits]
    spares = draw(st.lists((ids | texts).filter(lambda name: name not in taken), max_size=3, unique=True))
    vehicle = Vehicle(name="Van", id="van", spares=tuple(spares))
    return Schedule(vehicle=vehicle, supplies=tuple(supplies), circuits=tuple(circuits))


def in_columns(schedule: Schedule) -> list[tuple[object, ...]]:
    """What the sheet's columns say of each circuit."""
    supply = {s.id: (s.id, s.kind, s.nominal_v) for s in schedule.supplies}
    return [
        (
            (c.id, c.label, supply[c.supply], c.feeder, c.role, c.feed, c.always_on_reason, c.importance, c.behind),
            c.protection,
            c.conductor,
            [
                (d.kind, [v.watts for v in d.levels], d.maker_fuse_a, d.always_draws_w, d.standby_max_w, d.longest_run_s)
                for d in c.loads
            ],
        )
        for c in schedule.circuits
    ]


@settings(deadline=None)
@given(schedules())
def test_out_and_back_gives_the_same_circuits(schedule: Schedule) -> None:
    text = sheet(schedule)
    again = parse(draft(text, file="panel.csv").toml, "draft.toml")
    assert in_columns(again) == in_columns(schedule)
    assert again.vehicle.spares == schedule.vehicle.spares
    assert sheet(again) == text


@settings(deadline=None, max_examples=300)
@given(st.text(max_size=200) | st.text("=+-@'\",;\t\r\n0123456789.VAC ", max_size=200), st.text(max_size=20))
def test_nothing_but_a_schedule_error_is_raised(rows: str, vehicle: str) -> None:
    for head in ("", f"{HEAD},supply,feeder,behind,load,device,type,longest_run\r\n"):
        told = None
        try:
            found = draft(head + rows, file="panel.csv", vehicle=vehicle)
        except ScheduleError as error:
            told = error
        if told is not None:
            assert told.faults
            assert all(str(fault).isprintable() for fault in told.faults)
        else:
            tomllib.loads(found.toml)


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_the_demo_goes_out_and_back(name: str) -> None:
    schedule, _ = load(CONFIG / name)
    text = sheet(schedule)
    again = loaded(text)
    assert in_columns(again) == in_columns(schedule)
    assert again.vehicle.spares == schedule.vehicle.spares
    assert text.splitlines()[0] == ",".join(COLUMNS)
    assert text.endswith("\r\n")


def test_a_complete_sheet_is_a_schedule_as_it_is_without_remarks() -> None:
    text = (
        "position,purpose,supply,feed,device,type,rating_a,area_mm2,length_m,load,watts,longest_run\n"
        "D1,Sump pump,house 12 V DC,switched,blade-fuse,C,7.5,2.5,6,pump,40,5 min\n"
        "D2,Mast lights,house,always-on,blade fuse,F,5,1.5,4,lights,20,\n"
    )
    found = drafted(text)
    assert found.remarks == ()
    assert "assumed:" not in found.toml
    one, two = parse(found.toml, "draft.toml").circuits
    assert one.protection == Protection(kind="blade-fuse", type="C", rating_a=7.5)
    assert one.conductor == (Segment(area_mm2=2.5, length_m=6),)
    assert one.loads == (Load(kind="pump", levels=(Level(name="on", watts=40),), longest_run_s=300.0),)
    assert (two.feed, two.supply, two.loads[0].kind) == ("always-on", "house", "light")


@pytest.mark.parametrize("label", ["=1+2", "+cmd", "-5 light", "@SUM(A1)", "'quoted", "#REF!", " spaced "])
def test_a_label_that_a_spreadsheet_would_run_is_written_with_an_apostrophe(label: str) -> None:
    one = loaded("position,purpose,rating_a\nD1,Pump,5\n")
    changed = Schedule(vehicle=one.vehicle, supplies=one.supplies, circuits=(_labelled(one.circuits[0], label),))
    text = sheet(changed)
    assert next(csv.DictReader(StringIO(text)))["purpose"] == f"'{label}"
    assert only(text).label == label


def _labelled(circuit: Circuit, label: str) -> Circuit:
    return Circuit(
        id="D1", label=label, monitor=None, supply="house", sense=Sense(), feed="switched", protection=circuit.protection
    )


# Headers.


@pytest.mark.parametrize(
    "head",
    [
        "Way,Label,Fuse (A),Cable (mm²),Length (m),Load (W)",
        "NO.;DESCRIPTION;BREAKER;CSA;RUN;POWER",
        "pos\tname\tAmps\tmm2\tLENGTH [m]\tW",
        "Position , Purpose , Rating A , Size (mm2) , Cable length , Watts",
        "\ufeffposition,purpose,rating_a,area_mm2,length_m,watts",
        "#,Circuit,Fuse\u00a0(A),Cable size,Length m,Power (W)",
        "Circuit,Label,fuse size,wire size (mm²),wire_length,wattage",
        "Nr.;Bezeichnung;Sicherung (A);Querschnitt;Länge;Leistung",
        "Position;Verbraucher;Sicherung;Kabel (mm²);LÄNGE (m);Leistung (W)",
        "Kreis;Verbraucher;Absicherung;Kabelquerschnitt [mm²];Leitungslänge m;Leistung W",
        "Kurs;Beskrivelse;Sikring;Tverrsnitt;Lengde;Effekt",
        "Nr;Kurs;Sikring (A);Kabel;Kabellengde;Effekt (W)",
    ],
)
def test_headers_as_people_write_them(head: str) -> None:
    mark = next(c for c in ",;\t" if c in head)
    cells = ["D1", "Sump pump", "15", "2.5", "4.5", "35", "pump"]
    one = only(f"{head}{mark}load\r\n{mark.join(cells)}\r\n")
    assert (one.id, one.label) == ("D1", "Sump pump")
    assert one.protection == Protection(kind="blade-fuse", rating_a=15)
    assert one.conductor == (Segment(area_mm2=2.5, length_m=4.5),)
    assert one.loads == (Load(kind="pump", levels=(Level(name="on", watts=35),)),)


def test_a_unit_in_the_header_is_reckoned_with() -> None:
    one = only("way,label,fuse (A),length (ft),power (kW),load\nD1,Heater,20,10,0.24,heater-element\n")
    assert one.conductor == (Segment(length_m=3.048),)
    assert one.loads[0].levels == (Level(name="on", watts=240),)


@pytest.mark.parametrize("head", ["length (round trip)", "length (A)", "fuse (V)"])
def test_a_unit_in_the_header_that_does_not_fit_is_a_fault(head: str) -> None:
    found = fault(f"way,label,load,{head}\nD1,Pump,pump,5\n")
    assert found.line == 1
    assert found.found == f'"{head}"'
    assert found.wanted.startswith("a unit of ")


def test_two_columns_for_one_thing_are_a_fault() -> None:
    found = fault("way,label,fuse,breaker\nD1,Pump,5,\n")
    assert (found.line, found.found) == (1, '"fuse" and "breaker"')


def test_a_column_circuit_beside_a_number_is_the_purpose() -> None:
    found = drafted("No,Circuit,Fuse\n1,Pump,5\n")
    assert has_remark(found, "line 1", '"Circuit" is read as the purpose')
    assert parse(found.toml, "x").circuits[0].label == "Pump"


def test_titles_above_the_header_are_skipped_with_a_remark() -> None:
    found = drafted('Panel of the van,,\n"Drawn up, 2026",,\n,,\nway,label,fuse\nD1,Pump,5\n')
    assert has_remark(found, "lines 1-2", "title")
    assert "D1" in found.toml
    assert "D1" in drafted("title\n" * 20 + "way,label,fuse\nD1,Pump,5\n").toml
    assert "header" in fault("title\n" * 21 + "way,label,fuse\nD1,Pump,5\n").key


@pytest.mark.parametrize("text", ["", "\n\n", "a,b,c\n1,2,3\n", "position\nD1\n"])
def test_no_header_is_a_fault(text: str) -> None:
    found = fault(text)
    assert (found.line, found.key) == (1, "the header")
    assert "area_mm2" in found.remedy
    assert len(found.remedy) < 140


def test_the_line_most_like_a_header_is_named_with_the_words_not_known() -> None:
    found = fault("Panel,,,\nToken;Ding;Länge;Kabel\nD1;Pump;4;2,5\n")
    assert (found.line, found.key) == (2, "the header")
    assert found.found == '"Token, Ding, Länge, Kabel", of which not known: "Token", "Ding"'
    assert fault("a,b,c\n1,2,3\n").found == '"a, b, c", of which not known: "b", "c"'  # a: ampere
    assert fault("x,b,c\n1,2,3\n").found == '"x, b, c": none of it is known'


def test_a_word_for_the_main_panel_or_a_sub_panel_is_the_feeder_only_where_one_header_means_it() -> None:
    found = drafted("Nr;Bezeichnung;Sicherung;Verteiler\nD1;Pump;5;rear\n")
    assert parse(found.toml, "x").circuits[0].feeder == "rear"
    assert has_remark(found, "line 1", '"Verteiler" is read as the feeder')
    for heads in ("Verteiler;Unterverteilung", "Verteiler;Feeder"):
        found = drafted(f"Nr;Bezeichnung;Sicherung;{heads}\nD1;Pump;5;main;rear\n")
        assert parse(found.toml, "x").circuits[0].feeder == (None if "Unter" in heads else "rear")
        assert has_remark(found, "line 1", '"Verteiler" is not known and was left out')


def test_a_doubtful_header_beside_plainer_ones_is_left_out() -> None:
    found = drafted("Nr;Bezeichnung;Verbraucher;Kreis;Sicherung\n1;Pump;x;y;5\n")
    assert parse(found.toml, "x").circuits[0].label == "Pump"
    assert has_remark(found, "line 1", '"Verbraucher" is not known')
    assert has_remark(found, "line 1", '"Kreis" is not known')


@pytest.mark.parametrize(("head", "name"), [("position,rating_a", "purpose"), ("label,fuse", "position")])
def test_a_missing_column_is_a_fault(head: str, name: str) -> None:
    assert (fault(f"{head}\nD1,5\n").line, name in fault(f"{head}\nD1,5\n").key) == (1, True)


def test_an_unknown_column_is_a_remark() -> None:
    found = drafted("position,purpose,rating_a,Colour,,\nD1,Pump,5,red,,x\nD2,Fan,5,red,,\n")
    assert has_remark(found, "line 1", '"Colour"')
    assert has_remark(found, "line 1", "column 6, which has no name")
    assert not has_remark(found, "column 5")
    assert "red" not in found.toml


def test_empty_lines_and_columns_at_the_end_are_nothing() -> None:
    assert only("position,purpose,rating_a,,\r\nD1,Pump,5,,\r\n,,,,\r\n\r\n;;\r\n").id == "D1"
    assert only("position,purpose,rating_a\nD1,Pump,5,,,\n" + ",,\n" * 30_000).id == "D1"


# Cells.


@pytest.mark.parametrize(
    ("fuse", "cable", "length", "watts"),
    [
        ("15 A", "2.5 mm²", "4.5 m", "35W"),
        ("15A", "2.5mm2", "450 cm", "0.035 kW"),
        ("15\u00a0amps", " 2.5\u202fmm² ", "4.5 metres", "35 watts"),
        ("15,0", "2,5", "4,5 m", "35"),
        ("15", "2,5", "4.50", "+35"),
    ],
)
def test_units_spaces_and_decimal_commas_in_cells(fuse: str, cable: str, length: str, watts: str) -> None:
    text = f"{HEAD},load\nD1,Pump,".replace(",", ";") + ";".join([fuse, cable, length, watts, "pump"])
    one = only(text)
    assert one.protection is not None
    assert (one.protection.rating_a, one.conductor[0].area_mm2, one.conductor[0].length_m) == (15, 2.5, 4.5)
    assert one.loads[0].levels[0].watts == 35


@pytest.mark.parametrize(
    ("other", "number", "means"),
    [
        ("2,5", "1.234,5", 1234.5),
        ("2,5", "1,234", 1.234),
        ("2.5", "1,234.5", 1234.5),
        ("2.5", "1.234", 1.234),
        ("2", "1.234", 1.234),
        ("2", "0,125", 0.125),
        ("2", "1.234,5", None),
        ("2", "1,234", None),
        ("2.5", "1,234", None),
        ("2.5", "1.234,5", None),
        ("2,5", "1.234", None),
        ("2", "1.234.567", None),
        ("2", "1,2,3", None),
    ],
)
def test_a_decimal_mark_is_read_only_where_it_is_clear(other: str, number: str, means: float | None) -> None:
    text = f"position;purpose;area_mm2;watts;load;rating_a\nD1;Pump;{other};{number};pump;5\n"
    if means is not None:
        assert only(text).loads[0].levels[0].watts == means
        return
    found = fault(text)
    assert (found.line, found.key, found.found) == (2, "watts", f'"{number}"')
    assert "decimal" in found.wanted


BAD = (
    ("purpose", ""),
    ("rating_a", "12V"),
    ("rating_a", "15 A blade"),
    ("rating_a", "0"),
    ("rating_a", "-5"),
    ("rating_a", "NaN"),
    ("rating_a", "inf"),
    ("rating_a", "1e999"),
    ("rating_a", "9" * 400),
    ("rating_a", "ten"),
    ("supply", "(" * 50_000),
    ("rating_a", "=B2*2"),
    ("rating_a", "#REF!"),
    ("purpose", "=A1"),
    ("purpose", "a\x1bb"),
    ("purpose", "x" * 81),
    ("always_on_reason", "x" * 201),
    ("area_mm2", "2.5 m"),
    ("area_mm2", "0"),
    ("length_m", "0"),
    ("length_m", "-2"),
    ("length_m", "4.5 mm2"),
    ("watts", "0 W"),
    ("watts", "3 A"),
    ("awg", "11"),
    ("awg", "SAE 12 AWG"),
    ("area_mm2", "SAE 12 AWG"),
    ("area_mm2", "SAE 2.5"),
    ("sae", "11"),
    ("sae", "3"),
    ("sae", "12 AWG"),
    ("sae", "2.5 mm2"),
    ("bundled", "2.5"),
    ("insulation_c", "40"),
    ("ambient_c", "200"),
    ("thermal_insulation_m", "-0.1"),
    ("importance", "high"),
    ("type", "Z"),
    ("return", "sea"),
    ("longest_run", "long"),
    ("longest_run", "0h"),
    ("behind", "disconect"),
    ("supply", "???"),
    ("supply", "house 0 V"),
    ("supply", "house 9999 V"),
    ("feeder", "ignition"),
    ("feeder", "¿"),
    ("position", "¿"),
)


@pytest.mark.parametrize(("column", "cell"), BAD)
def test_a_cell_that_can_t_be_is_a_fault_with_its_line_and_column(column: str, cell: str) -> None:
    row = {"position": "D2", "purpose": "Fan", "rating_a": "5", column: cell}
    names = list(dict.fromkeys(["position", "purpose", "rating_a", column]))
    out = StringIO()
    rows = csv.DictWriter(out, names)
    rows.writerows([dict(zip(names, names, strict=True)), {"position": "D1", "purpose": "Pump"}, row])
    text = out.getvalue()
    found = fault(text)
    assert (found.line, found.key) == (3, column)
    assert found.wanted
    assert found.found
    assert str(found).isprintable()
    if cell.startswith(("=", "#")):
        assert "Export the values" in found.remedy


def test_a_fault_names_the_column_as_the_sheet_calls_it() -> None:
    found = fault("way,label,Fuse (A)\nD1,Pump,ten\n")
    assert (found.line, found.key) == (2, 'rating_a, column "Fuse (A)"')
    assert found.wanted == "a number above 0, in A"


def test_every_fault_is_told_at_once() -> None:
    found = faults(f"{HEAD}\nD1,Pump,0,x,1,1\nD2,,5,1,1,1\nD1,Fan,5,1,1,1\n")
    assert [(f.line, f.key) for f in found] == [(2, "rating_a"), (2, "area_mm2"), (3, "purpose"), (4, "position")]


@pytest.mark.parametrize(("cell", "awg"), [("12 AWG", "12"), ("AWG 12", "12"), ("#12", "12"), ("0", "1/0"), ("2/0 awg", "2/0")])
def test_awg_as_people_write_it(cell: str, awg: str) -> None:
    assert only(f"way,label,fuse,gauge\nD1,Pump,5,{cell}\n").conductor == (Segment(awg=awg),)
    assert only(f"way,label,fuse,cable (AWG)\nD1,Pump,5,{cell}\n").conductor == (Segment(awg=awg),)


def test_awg_in_a_column_of_cables_is_awg() -> None:
    one, two = loaded("way,label,fuse,cable\nD1,Pump,5,12 AWG\nD2,Fan,5,2.5\n").circuits
    assert (one.conductor[0].awg, two.conductor[0].area_mm2) == ("12", 2.5)


def test_area_and_awg_at_once_are_a_fault() -> None:
    found = fault("way,label,fuse,cable,awg\nD1,Pump,5,2.5,12\n")
    assert (found.line, found.key, found.found) == (2, "awg", "both")
    assert found.wanted == "area_mm2, awg or sae: one of them"


@pytest.mark.parametrize(("cell", "sae"), [("12", "12"), ("SAE 12", "12"), ("12 sae", "12"), ("#8", "8"), ("00", "2/0")])
def test_sae_as_people_write_it(cell: str, sae: str) -> None:
    for head in (
        "sae",
        "SAE size",
        "Cable (SAE)",
        "wire [sae]",
        "cable SAE",
        "Wire size (SAE)",
        "gauge (SAE)",
        "wire gauge SAE",
    ):
        assert only(f"way,label,fuse,{head}\nD1,Pump,5,{cell}\n").conductor == (Segment(sae=sae),)


@pytest.mark.parametrize("head", ["cable", "CSA", "area_mm2", "gauge", "awg", "cable (AWG)"])
@pytest.mark.parametrize("cell", ["SAE 12", "12 SAE", "sae-12", "SAE #12"])
def test_sae_in_a_column_of_cables_or_awg_is_sae(head: str, cell: str) -> None:
    one, two = loaded(f"way,label,fuse,{head}\nD1,Pump,5,{cell}\nD2,Fan,5,10\n").circuits
    assert one.conductor == (Segment(sae="12"),)
    assert two.conductor[0].sae is None


@pytest.mark.parametrize("head", ["awg (sae)", "sae (awg)", "AWG SAE"])
def test_a_header_of_two_series_is_left_out_with_a_remark(head: str) -> None:
    found = drafted(f"way,label,fuse,{head}\nD1,Pump,5,12\n")
    assert has_remark(found, "line 1", head, "left out")
    assert parse(found.toml, "x").circuits[0].conductor == ()


@pytest.mark.parametrize(
    ("heads", "cells", "key", "told"),
    [
        ("area_mm2,sae", "2.5,12", "sae", "both"),
        ("awg,sae", "12,12", "sae", "both"),
        ("area_mm2,awg", "2.5,SAE 12", "sae", "both"),
        ("area_mm2,awg", "SAE 12,12", "sae", "both"),
        ("area_mm2,awg,sae", "2.5,12,12", "awg", "all three"),
    ],
)
def test_two_series_at_once_are_a_fault(heads: str, cells: str, key: str, told: str) -> None:
    found = fault(f"way,label,fuse,{heads}\nD1,Pump,5,{cells}\n")
    assert (found.line, found.key, found.found) == (2, key, told)
    assert found.wanted == "area_mm2, awg or sae: one of them"


@pytest.mark.parametrize(
    ("heads", "cells"), [("area_mm2,awg", "12 AWG,10"), ("area_mm2,sae", "SAE 12,10"), ("awg,area_mm2", "SAE 12,SAE 10")]
)
def test_two_sizes_of_one_series_are_a_fault(heads: str, cells: str) -> None:
    found = fault(f"way,label,fuse,{heads}\nD1,Pump,5,{cells}\n")
    assert (found.line, found.key, found.wanted) == (2, heads.split(",")[1], "one size for a stretch of conductor")
    same = cells.replace("10", "12")
    assert len(only(f"way,label,fuse,{heads}\nD1,Pump,5,{same}\n").conductor) == 1


def test_a_row_wider_than_the_header_is_a_fault() -> None:
    found = fault("position,purpose,rating_a\nD1,Pump,7,5\n")
    assert (found.line, found.found) == (2, "4")
    assert "decimal comma" in found.remedy


@pytest.mark.parametrize("row", ['D2,"Pump,5\nD3,Fan,5\n', 'D2,"Pump"x,5\n'])
def test_a_quotation_mark_astray_is_a_fault(row: str) -> None:
    assert fault(f"position,purpose,rating_a\nD1,Fan,5\n{row}").line == 3


def test_a_cell_of_several_lines_counts_its_lines() -> None:
    text = 'position,purpose,rating_a\r\nD1,"Pump\r\nof the sump",5\r\nD2,Fan,x\r\n'
    assert fault(text).line == 4
    assert loaded(text.replace("x", "5")).circuits[0].label == "Pump  of the sump"


# Lines.


def test_further_lines_are_stretches_loads_and_levels() -> None:
    text = (
        "position,purpose,rating_a,area_mm2,length_m,load,watts,maker_fuse_a\n"
        "D1,Lights and fan,5,2.5,4,light,10,\n"
        "D1,,,1.5,2,,20,\n"
        ",,,,,fan,15,3\n"
        "D2,Pump,5,,,pump,40,\n"
        "D1,Lights and fan,,1,1,,,\n"
    )
    one, two = loaded(text).circuits
    assert [(s.area_mm2, s.length_m) for s in one.conductor] == [(2.5, 4), (1.5, 2), (1, 1)]
    assert [(d.kind, [v.watts for v in d.levels], d.maker_fuse_a) for d in one.loads] == [
        ("light", [10, 20], None),
        ("fan", [15], 3),
    ]
    assert two.label == "Pump"


def test_a_first_line_without_a_position_is_a_fault() -> None:
    found = fault(f"{HEAD}\n,,5,,,\nD1,Pump,5,,,\n")
    assert (found.line, found.key) == (2, "position")
    assert "no way above" in found.wanted
    assert fault(f"{HEAD}\nD1,Pump,5,,,\nD2,Spare,,,,\n,,5,,,\n").line == 4


def test_a_purpose_without_a_position_is_a_fault_told_once() -> None:
    assert fault(f"{HEAD}\nD1,=A1,5,,,\n,,,2.5,,\n,,,1.5,,\n").line == 2
    found = fault(f"{HEAD}\nD1,Pump,5,,,\n,Fan,5,,,\n,,,2.5,,\n")
    assert (found.line, found.key, found.found) == (3, "position", "nothing")


def test_a_position_used_twice_is_a_fault_that_names_both_lines() -> None:
    found = fault(f"{HEAD}\nD1,Pump,5,,,\nD2,Fan,5,,,\nD1,Light,5,,,\n")
    assert (found.line, found.key) == (4, "position")
    assert "on line 2" in found.found
    assert '"Light"' in found.found
    assert '"Pump"' in found.found


def test_two_positions_that_make_one_id_are_a_fault_that_names_both_lines() -> None:
    found = fault(f"{HEAD}\nD 1,Pump,5,,,\nD-1,Fan,5,,,\n")
    assert (found.line, "line 2" in found.found) == (3, True)


def test_another_value_on_a_further_line_is_a_fault_that_names_both_lines() -> None:
    found = fault(f"{HEAD}\nD1,Pump,5,,,\nD1,,10,,,\n")
    assert (found.line, found.key) == (3, "rating_a")
    assert "line 2" in found.found


def test_the_same_conductor_again_is_a_remark() -> None:
    found = drafted(f"{HEAD}\nD1,Pump,5,2.5,4,\nD1,Pump,5,2.5,4,\n")
    assert has_remark(found, "line 3", "another stretch")


def test_a_position_is_made_into_an_id_with_a_remark() -> None:
    found = drafted(f"{HEAD}\nFusé 1 (left),Pump,5,,,\nD_2-a,Fan,5,,,\n")
    assert [c.id for c in parse(found.toml, "x").circuits] == ["Fuse-1-left", "D_2-a"]
    assert has_remark(found, "line 2", "Fuse-1-left")
    assert not has_remark(found, "D_2-a")


@pytest.mark.parametrize("row", [
        "Total,,20", ",Total,20", "TOTALS:,,20", "Grand total,,20", "sum,,20", ",Summe:,20", "Gesamt,,20", ",Sum,20",
        ",Totalt,20", ",,Summe", "Zwischensumme,,20",
    ],
)  # fmt: skip
def test_a_line_of_totals_is_left_out_with_a_remark(row: str) -> None:
    found = drafted(f"position,purpose,rating_a\nD1,Pump,5\n\n{row}\n")
    assert has_remark(found, "line 4", "totals")
    assert len(parse(found.toml, "x").circuits) == 1


def test_a_position_and_nothing_else_is_left_out_with_a_remark() -> None:
    found = drafted(f"{HEAD}\nDC circuits,,,,,\nD1,Pump,5,,,\nD2,,,,,\n")
    assert has_remark(found, "lines 2, 4", "left out")
    assert len(parse(found.toml, "x").circuits) == 1


@pytest.mark.parametrize(
    "row", [",Lights,,,,,", ",,AC circuits,,,,", ",,,Rear,,,", ",,,,,,Kitchen", ",,,,,,,Cabin", ",,,,Aft,,"]
)
def test_one_cell_without_a_position_is_a_heading_left_out_with_a_remark(row: str) -> None:
    text = (
        f"position,purpose,supply,rating_a,area_mm2,feed,load,Remarks\nD1,Pump,house,5,,,pump,\n{row}\nD2,Fan,house,5,,,fan,\n"
    )
    found = drafted(text)
    assert has_remark(found, "line 3", "heading", "left out")
    first, second = parse(found.toml, "x").circuits
    assert (first.id, second.id, first.loads) == ("D1", "D2", (Load(kind="pump"),))
    assert [s.id for s in parse(found.toml, "x").supplies] == ["house"]


def test_one_cell_that_is_a_value_still_continues_the_way_above() -> None:
    text = "position,purpose,rating_a,area_mm2,load\nD1,Pump,5,2.5,pump\n,,,1.5,\n,,,,fan\n"
    one = only(text)
    assert ([s.area_mm2 for s in one.conductor], [d.kind for d in one.loads]) == ([2.5, 1.5], ["pump", "fan"])


@pytest.mark.parametrize("word", ["Spare", "RESERVE", "Reserva", "Ledig", "frei", "unused"])
def test_a_spare_way_goes_into_the_vehicles_spares_with_a_remark(word: str) -> None:
    found = drafted(f"{HEAD}\nD1,Pump,5,,,\nD 2,{word},,,,\nD3,{word},,,,\n")
    schedule = parse(found.toml, "x")
    assert (schedule.vehicle.spares, len(schedule.circuits)) == (("D 2", "D3"), 1)
    assert 'spares = ["D 2", "D3"]\n' in found.toml
    assert has_remark(found, "lines 3-4", "spare")


def test_a_spare_way_with_more_in_its_line_is_a_way() -> None:
    assert only(f"{HEAD}\nD1,Spare,5,,,\n").label == "Spare"


def test_a_spare_whose_position_is_used_is_a_fault() -> None:
    found = fault(f"{HEAD}\nD1,Spare,,,,\nD1,Pump,5,,,\n")
    assert (found.line, "spare on line 2" in found.found) == (3, True)
    assert fault(f"{HEAD}\nD1,Pump,5,,,\nD1,Spare,,,,\n").line == 3
    assert fault(f"{HEAD}\n{'x' * 81},Spare,,,,\n").key == "position"


def test_a_panel_of_spares_alone_is_a_draft() -> None:
    assert loaded(f"{HEAD}\nD1,Spare,,,,\nD1,frei,,,,\n").vehicle.spares == ("D1",)


def test_a_sheet_without_ways_is_a_fault() -> None:
    assert fault("position,purpose,rating_a\n").wanted == "at least one way"


def test_5000_ways_and_no_more() -> None:
    rows = [f"D{n},Way {n},5" for n in range(1, 5002)]
    head = "position,purpose,rating_a"
    found = drafted("\n".join([head, *rows[:5000]]))
    assert len(parse(found.toml, "x").circuits) == 5000
    assert len(found.remarks) < 10  # those of many lines are told once
    assert has_remark(found, "lines 2-5001")
    assert (fault("\n".join([head, *rows])).line, "5000 ways" in fault("\n".join([head, *rows])).wanted) == (5002, True)


def test_20000_lines_and_no_more() -> None:
    text = "position,purpose,area_mm2,rating_a\nD1,Pump,2.5,5\n" + "D1,,1.5,\n" * 19_998
    assert len(only(text).conductor) == 19_999
    assert fault(text + "D1,,1.5,\n").line == 20_001


# What the sheet does not say.


def test_what_is_assumed_stands_in_a_comment_and_a_remark() -> None:
    found = drafted("position,purpose,rating_a\nD1,Pump,5\n")
    for comment in (
        'kind = "dc"  # assumed: not in the sheet',
        "nominal_v = 12.8  # assumed: not in the sheet",
        'supply = "house"  # assumed: not in the sheet',
        'feed = "switched"  # assumed: not in the sheet',
        'protection = { kind = "blade-fuse", rating_a = 5 }  # assumed: not in the sheet: the kind',
    ):
        assert comment in found.toml
    for word in ("house", "12.8 V", "switched", "blade-fuse"):
        assert has_remark(found, "line 2", word)
    assert parse(found.toml, "x").circuits[0].feed == "switched"


def test_a_reason_to_be_always_on_without_a_feed_is_always_on() -> None:
    found = drafted("position,purpose,rating_a,reason\nD1,Freezer,5,samples spoil\n")
    assert parse(found.toml, "x").circuits[0].feed == "always-on"
    assert has_remark(found, "line 2", "always-on is assumed")


def test_without_a_rating_the_protection_is_left_to_fill_in() -> None:
    found = drafted("position,purpose,device,area_mm2\nD1,Pump,blade-fuse,2.5\n")
    assert '# protection = { kind = "blade-fuse", rating_a = ... }  # fill in' in found.toml
    assert has_remark(found, "line 2", "must be filled in")
    with pytest.raises(ScheduleError) as caught:
        parse(found.toml, "x")
    assert [f.key for f in caught.value.faults] == ["circuit D1 protection"]
    filled = found.toml.replace("# protection", "protection").replace("= ... }  # fill in", "= 5 }")
    assert parse(filled, "x").circuits[0].protection == Protection(kind="blade-fuse", rating_a=5)


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ("Blade fuse,", "blade-fuse"), ("glass,", "glass-fuse"), ("breaker,C", "breaker-c"), ("MCB,type b", "breaker-b"),
        ("C breaker,", "breaker-c"), ("breaker-d,D", "breaker-d"), ("self-resetting breaker,", "breaker-self-resetting"),
    ],
)  # fmt: skip
def test_devices_as_people_write_them(cells: str, kind: str) -> None:
    assert only(f"position,purpose,rating_a,device,type\nD1,Pump,5,{cells}\n").protection == Protection(kind=kind, rating_a=5)


@pytest.mark.parametrize("device", ["breaker", "fuse", "fuze"])
def test_a_device_of_an_unknown_kind_is_left_to_fill_in(device: str) -> None:
    found = drafted(f"position,purpose,rating_a,device\nD1,Pump,5,{device}\n")
    assert f'# protection = {{ kind = "...", rating_a = 5 }}  # fill in: the sheet says "{device}"' in found.toml
    assert has_remark(found, "line 2", device, "breaker-thermal")
    assert not has_remark(found, "did you mean")


@pytest.mark.parametrize(
    ("device", "meant"),
    [
        ("balde fuse", "blade-fuse"), ("Glas fuse", "glass-fuse"), ("brekaer", "breaker-b, breaker-c or breaker-d"),
        ("self reseting", "breaker-self-resetting"),
    ],
)  # fmt: skip
def test_a_device_misspelt_is_asked_for(device: str, meant: str) -> None:
    found = drafted(f"position,purpose,rating_a,device\nD1,Pump,,{device}\nD2,Fan,5,{device}\n")
    assert has_remark(found, "lines 2-3", f"did you mean {meant}?")
    assert f'rating_a = ... }}  # fill in: the sheet says "{device}"' in found.toml


@pytest.mark.parametrize(
    ("word", "feed"),
    [
        ("always", "always-on"), ("fest", "always-on"), ("Dauerplus", "always-on"), ("geschaltet", "switched"),
        ("Bryter", "switched"), ("Always on", "always-on"),
    ],
)  # fmt: skip
def test_feeds_as_people_write_them(word: str, feed: str) -> None:
    found = drafted(f"position,purpose,rating_a,feed\nD1,Pump,5,{word}\n")
    assert parse(found.toml, "x").circuits[0].feed == feed
    assert not has_remark(found, "feed")


@pytest.mark.parametrize("word", ["ja", "nein", "yes", "no", "x", "maybe", "allways"])
def test_an_unknown_feed_is_left_to_fill_in(word: str) -> None:
    found = drafted(f"position,purpose,rating_a,feed\nD1,Pump,5,{word}\n")
    assert f'feed = "switched"  # fill in: the sheet says "{word}"\n' in found.toml
    assert has_remark(found, "line 2", f'"{word}"', "switched")
    assert has_remark(found, "did you mean always-on?") == (word == "allways")
    assert parse(found.toml, "x").circuits[0].feed == "switched"


@pytest.mark.parametrize("cells", ["bolt-fuse,C", "blade-fuse,B", ",D"])
def test_a_type_that_does_not_fit_its_device_is_a_fault(cells: str) -> None:
    found = fault(f"position,purpose,rating_a,device,type\nD1,Pump,5,{cells}\n")
    assert (found.line, found.key) == (2, "type")


@pytest.mark.parametrize("word", ["heater", "toaster", ""])
def test_a_load_of_an_unknown_kind_is_left_out_with_a_remark(word: str) -> None:
    found = drafted(f"position,purpose,rating_a,load,watts\nD1,Warmth,5,{word},120\n")
    assert parse(found.toml, "x").circuits[0].loads == ()
    said = f': the sheet says "{word}"' if word else " the kind"
    assert f'# load = {{ kind = "...", levels = [{{ name = "on", watts = 120 }}] }}  # fill in{said}\n' in found.toml
    assert has_remark(found, "line 2", word, "compressor", "detector")
    assert has_remark(found, "heater-element or air-heater?") == (word == "heater")


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("Fridge", "compressor"),
        ("LAMP", "light"),
        ("outlet", "socket"),
        ("Air heater", "air-heater"),
        ("heater element", "heater-element"),
    ],
)
def test_loads_as_people_write_them(word: str, kind: str) -> None:
    assert only(f"position,purpose,rating_a,load\nD1,Thing,5,{word}\n").loads == (Load(kind=kind),)


def test_watts_in_the_column_of_loads_are_watts() -> None:
    found = drafted("position,purpose,rating_a,load\nD1,Thing,5,35 W\n")
    assert "watts = 35 }" in found.toml
    assert has_remark(found, "line 2", "no kind of load")


@pytest.mark.parametrize(
    ("cell", "name", "kind", "volts"),
    [
        ("house", "house", "dc", 12.8), ("starter bank", "starter-bank", "dc", 12.8), ("house 24 V", "house", "dc", 24),
        ("shore 230 V", "shore", "ac", 230), ("120 V AC", "ac-120v", "ac", 120), ("230V shore", "shore", "ac", 230),
        ("inverter (230 V AC)", "inverter", "ac", 230), ("12V", "dc-12v", "dc", 12), ("12V (12.8 V DC)", "12V", "dc", 12.8),
        ("house 12,8 VDC", "house", "dc", 12.8),
    ],
)  # fmt: skip
def test_supplies_as_people_write_them(cell: str, name: str, kind: str, volts: float) -> None:
    (supply,) = loaded(f'position,purpose,rating_a,supply\nD1,Thing,5,"{cell}"\n').supplies
    assert (supply.id, supply.kind, supply.nominal_v) == (name, kind, volts)


@pytest.mark.parametrize("cell", ["ac", "230", "shore", "Inverter", "shore-power", "AC1"])
def test_a_supply_that_sounds_like_ac_is_not_guessed(cell: str) -> None:
    found = drafted(f"position,purpose,rating_a,supply\nD1,Thing,5,{cell}\n")
    assert f'[supply.{cell}]\n# kind = "..."  # fill in: dc or ac\n# nominal_v = ...  # fill in\n' in found.toml
    assert has_remark(found, "line 2", "kind (dc or ac)", "must be filled in")


def test_two_voltages_of_one_supply_are_a_fault_that_names_both_lines() -> None:
    found = fault("position,purpose,rating_a,supply\nD1,Fan,5,house 12 V\nD2,Pump,5,house\nD3,Light,5,house 24 V\n")
    assert (found.line, found.key) == (4, "supply")
    assert "line 2" in found.found


def test_two_supplies_that_differ_in_case_are_a_remark() -> None:
    assert has_remark(drafted("position,purpose,rating_a,supply\nD1,Fan,5,house\nD2,Pump,5,House\n"), "line 3", "House")


def test_a_feeder_takes_its_supply_from_any_of_its_lines() -> None:
    text = "position,purpose,rating_a,supply,feeder\nD1,Fan,5,,rear\nD2,Pump,5,main 12 V DC,rear\n"
    found = drafted(text)
    schedule = parse(found.toml, "x")
    assert [(c.feeder, c.supply) for c in schedule.circuits] == [("rear", "main"), ("rear", "main")]
    assert [s.id for s in schedule.supplies] == ["main"]
    assert has_remark(found, "line 3", "protection of the feeder rear")
    conflict = fault(text + "D3,Light,5,house,rear\n")
    assert (conflict.line, "line 3" in conflict.found) == (4, True)


def test_what_a_way_is_behind() -> None:
    text = 'position,purpose,rating_a,behind,feeder\nD1,Fan,5,"LVD, ignition; user switch",\n'
    text += "D2,Pump,5,rear + feeder front,\nD3,L,5,,rear\n"
    one, two, _ = loaded(text).circuits
    assert one.behind == ("disconnect", "ignition", "user-switch")
    assert two.behind == ("rear", "front")
    assert fault(text.replace("ignition", "ignitoin")).remedy == "Did you mean ignition?"


def test_a_charger_and_a_meter_need_no_protection() -> None:
    one, two = loaded("position,purpose,feed\nSH,Bank meter,meter\nD1,Sun,charger\n").circuits
    assert (one.role, two.role, one.feed) == ("meter", "charger", None)


# The TOML.


@pytest.mark.parametrize("name", ['a "b"', "back\\slash", "Фургон", "🚐", "'s"])
def test_texts_are_escaped_in_the_toml(name: str) -> None:
    quoted = name.replace('"', '""')
    text = f'position,purpose,rating_a\nD1,"x{quoted}",5\n'
    schedule = parse(draft(text, file="panel.csv", vehicle=name).toml, "x")
    assert (schedule.vehicle.name, schedule.circuits[0].label) == (name, f"x{name}")


@pytest.mark.parametrize("name", ["", " ", "a\nb", "x" * 81])
def test_a_vehicle_without_a_fit_name_is_a_fault(name: str) -> None:
    with pytest.raises(ScheduleError) as caught:
        draft("position,purpose,rating_a\nD1,Pump,5\n", file="panel.csv", vehicle=name)
    assert [f.key for f in caught.value.faults] == ["vehicle.name"]
