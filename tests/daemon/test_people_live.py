"""People on a live daemon: real broker, real sinks, a clock that runs faster than theirs."""

from __future__ import annotations

import signal

import pytest

from brokers import wait_for
from houses import House, Phone
from panelward.journal import Journal, OutboxRow


def with_people(house: House, text: str) -> None:
    path = house.folder / "people.toml"
    path.write_text(text, encoding="utf-8")
    path.chmod(0o600)
    house.people = path


def outbox(house: House) -> list[OutboxRow]:
    journal = Journal.read(house.journal)
    try:
        return journal.outbox_rows()
    finally:
        journal.close()


def test_who_sleeps_hears_high_only_and_the_next_person_waits_for_an_answer(house: House) -> None:
    """06:00 UTC on the watch's clock: Ada sleeps until 12:00; Bo is asked after a quarter of an hour."""
    second = Phone()
    with_people(
        house,
        f'[[person]]\nname = "Ada"\naddresses = ["{house.phone.address}"]\nsleeping = "22:00-12:00"\n'
        f'[[person]]\nname = "Bo"\naddresses = ["{second.address}"]\npriorities = ["high"]\nafter_s = 900\n',
    )
    house.start(notify="")
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    with house.living(D1=4.0, D7=17.6, D8=1.0):  # medium: it waits for the morning
        assert wait_for(lambda: any(t["kind"] == "overcurrent-approach" for t in house.transitions())), house.said()
    with house.living(D1=0.0, D7=5.0, D8=1.0):  # high: the freezer
        assert wait_for(lambda: house.phone.got), house.said()
        assert "Sample freezer" in house.phone.sentences[0]
        lost = next(t for t in house.transitions() if t["circuit"] == "D1")
        mine = [row for row in outbox(house) if row.alarm_id == lost["id"]]
        assert {(row.address_ref, row.step) for row in mine} == {
            ("Ada", "begun"), ("Ada", "again-1"), ("Ada", "again-2"), ("Bo", "begun"), ("Bo", "again-1"), ("Bo", "again-2")
        }  # fmt: skip
        done = house.run("acknowledge", lost["id"], "--who", "Ada", "--schedule", str(house.schedule), journal=False)
        assert done.returncode == 0, done.stderr
        assert wait_for(lambda: [r.status for r in outbox(house) if r.alarm_id == lost["id"]].count("expired") == 5)
    assert all(
        "answered: acknowledge by Ada" in r.last_why for r in outbox(house) if r.status == "expired" and r.priority == "high"
    )
    assert second.got == []
    assert not any("Bench sockets" in sentence for sentence in house.phone.sentences)
    assert house.stop_daemon() == 0
    second.stop()


def test_after_a_time_without_network_one_message_leads_with_what_matters(house: House) -> None:
    house.phone.status = 503
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    with house.living(D1=4.0, D7=17.6, D8=1.0):
        assert wait_for(lambda: len(house.transitions()) >= 1), house.said()
    with house.living(D1=0.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: any(t["circuit"] == "D1" for t in house.transitions()), 20), house.said()
        assert wait_for(lambda: sum(bool(r.last_why) for r in outbox(house)) >= 2, 30)
        house.phone.status = 200
        assert wait_for(lambda: house.phone.got, 60), house.said()
    text = house.phone.got[0]["message"].splitlines()
    assert "Sample freezer" in text[0]
    assert any(line.startswith("Also, from") for line in text), text
    assert any(line.startswith("- ") and "Bench sockets" in line for line in text)
    assert house.stop_daemon() == 0


def test_a_bad_people_file_is_refused_at_the_start(house: House) -> None:
    with_people(house, '[[person]]\nname = "Ada"\naddresses = ["json://x"]\n')
    house.people.chmod(0o644)
    house.start()
    assert house.daemon is not None
    assert house.daemon.wait(timeout=20) == 2
    assert "chmod 640" in house.said()


@pytest.mark.parametrize(("later_s", "watches"), [(0, True), (300, False)])
def test_a_gap_in_who_hears_is_said_at_a_start_and_ends_no_watch_unless_nobody_hears_at_once(
    house: House, later_s: int, watches: bool
) -> None:
    """A version that demands more must not leave a vehicle unwatched at its next power-up."""
    only = f'[[person]]\nname = "Ada"\naddresses = ["{house.phone.address}"]\ncircuits = ["D1"]\nafter_s = {later_s}\n'
    with_people(house, f'{only}[[person]]\nname = "Kari"\naddresses = ["{house.phone.address}/k"]\nafter_s = 300\n')
    house.start(notify="")
    assert house.daemon is not None
    if watches:
        assert wait_for(house.connected), house.said()
        assert "A reload refuses that." in house.said()
    else:
        assert house.daemon.wait(timeout=20) == 2


def test_a_second_address_while_nothing_goes_out_loses_no_message(house: House) -> None:
    """The one that waited has another name now; the new one hears what nobody was handed."""
    second = Phone()
    with_people(house, f'[[person]]\nname = "Kari"\naddresses = ["{house.phone.address}"]\n')
    house.phone.status = 503
    house.start(notify="")
    assert wait_for(house.connected), house.said()
    with house.living(D1=4.0, D7=17.6, D8=1.0):
        assert wait_for(lambda: any("503" in row.last_why for row in outbox(house)), 30), house.said()
        with_people(house, f'[[person]]\nname = "Kari"\naddresses = ["{house.phone.address}", "{second.address}"]\n')
        house.phone.status = 200
        assert house.daemon is not None
        house.daemon.send_signal(signal.SIGHUP)
        assert wait_for(lambda: bool(house.phone.got and second.got), 60), house.said()
    assert wait_for(lambda: {r.status for r in outbox(house) if r.kind == "overcurrent-approach"} == {"handed-over"}, 30)
    assert house.stop_daemon() == 0
    second.stop()


def test_one_that_cannot_be_read_is_told_to_the_others_until_it_can(house: House) -> None:
    """A folder in its place is as unreadable as a file of root's is to the user that watches."""
    house.people = house.folder / "people.toml"
    house.people.mkdir(mode=0o700)
    house.start()
    assert wait_for(house.connected), house.said()
    assert wait_for(lambda: house.phone.got), house.said()
    assert house.phone.sentences[0].startswith("Give people.toml to the watch's user")
    assert "can't be read" in house.said()
    assert house.stop_daemon() == 0
    house.people.rmdir()
    with_people(house, f'[[person]]\nname = "Ada"\naddresses = ["{house.phone.address}/ada"]\n')
    house.start()
    assert wait_for(lambda: any(t["event"] == "ends" for t in house.transitions()), 30), house.said()
    assert house.daemon is not None
    house.people.chmod(0o644)
    house.daemon.send_signal(signal.SIGHUP)
    assert wait_for(lambda: "reload refused" in house.said()), house.said()
    assert house.stop_daemon() == 0
    assert "Traceback" not in house.said()


@pytest.mark.parametrize("there", [True, False])
def test_where_nobody_could_be_told_it_is_tried_again(house: House, there: bool) -> None:
    """Exit 3: systemd starts it anew; after 2 it would not."""
    house.people = house.folder / "people.toml"
    if there:
        house.people.mkdir(mode=0o700)
    house.start(notify="")
    assert house.daemon is not None
    assert house.daemon.wait(timeout=20) == 3
    assert "people.toml" in house.said()
