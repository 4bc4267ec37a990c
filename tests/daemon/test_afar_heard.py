"""Which signs prove that the vehicle lives, and which were kept somewhere on their way."""

from __future__ import annotations

import pytest

from panelward.daemon.afar import Heard


def proofs(*signs: tuple[str, float, float]) -> list[bool]:
    """Signs as (run, seconds that it has run, when heard here)."""
    heard = Heard()
    return [heard.take({"run": run, "up_s": up_s}, at_s)[1] for run, up_s, at_s in signs]


def test_signs_that_come_as_they_were_sent_prove_life() -> None:
    assert proofs(*(("a", 30.0 * n, 1000.0 + 30.0 * n) for n in range(5))) == [False, True, True, True, True]
    late = [0.0, 4.0, 12.0, 1.0, 14.0]  # a link that takes its time
    assert proofs(*(("a", 30.0 * n, 1000.0 + 30.0 * n + late[n]) for n in range(5))) == [False, True, True, True, True]


def test_one_that_is_told_again_proves_nothing_however_often() -> None:
    assert proofs(("a", 0, 0), ("a", 30, 30), ("a", 30, 45), ("a", 30, 4000), ("a", 30, 9000)) == [
        False,
        True,
        False,
        False,
        False,
    ]


def test_one_that_was_sent_while_the_link_was_away_and_was_kept_proves_nothing() -> None:
    """The vehicle's broker kept the last sign; the watch aboard ended meanwhile. Its twin goes on."""
    before = [("a", 0.0, 0.0), ("a", 30.0, 30.0)]
    assert proofs(*before, ("a", 3000.0, 12_000.0))[2:] == [False]
    assert proofs(*before, ("a", 3000.0, 12_000.0), ("a", 3030.0, 12_030.0))[2:] == [False, True]
    assert proofs(*before, ("a", 3000.0, 3000.0))[2:] == [True]  # the link alone was away: this one is new


def test_what_waited_for_the_link_and_comes_all_at_once_proves_nothing() -> None:
    burst = [("a", 30.0 * n, 12_000.0 + 0.01 * n) for n in range(2, 100)]
    assert not any(proofs(("a", 0.0, 0.0), ("a", 30.0, 30.0), *burst)[2:])
    assert not any(proofs(*burst))  # of a run never heard before, too
    near = [("b", 0.05 * n, 12_000.0 + 0.05 * n) for n in range(50)]  # signs that something aboard asked for at once
    assert not any(proofs(*near))


def test_an_older_one_from_a_broker_that_starts_anew_proves_nothing_and_stops_nothing() -> None:
    signs = [("a", 0.0, 0.0), ("a", 300.0, 300.0), ("a", 30.0, 310.0), ("a", 330.0, 330.0)]
    assert proofs(*signs) == [False, True, False, True]
    assert proofs(("b", 0.0, 0.0), ("b", 30.0, 30.0), ("a", 90.0, 40.0), ("b", 60.0, 60.0), ("b", 90.0, 90.0))[2:] == [
        False, False, True,
    ]  # fmt: skip


def test_a_watch_that_starts_anew_proves_life_by_its_second_sign() -> None:
    assert proofs(("a", 9000.0, 0.0), ("a", 9030.0, 30.0), ("b", 0.0, 50.0), ("b", 30.0, 80.0)) == [False, True, False, True]


def test_a_vehicle_or_a_watcher_that_slept_proves_life_by_the_second_sign_after() -> None:
    aboard = [("a", 0.0, 0.0), ("a", 30.0, 7200.0), ("a", 60.0, 7230.0)]
    here = [("a", 0.0, 0.0), ("a", 7200.0, 30.0), ("a", 7230.0, 60.0)]
    assert proofs(*aboard) == proofs(*here) == [False, False, True]


@pytest.mark.parametrize(
    "told", [{}, {"run": "a"}, {"run": 3, "up_s": 1.0}, {"run": "a", "up_s": "x"}, {"run": "a", "up_s": float("inf")}]
)
def test_a_version_aboard_that_says_neither_is_believed_as_ever(told: dict[str, object]) -> None:
    assert Heard().take(told, 0.0) == (True, True)


def test_an_older_sign_is_known_as_such_so_that_it_erases_no_last_words() -> None:
    heard = Heard()
    newest = [
        heard.take({"run": "a", "up_s": up_s}, at_s)[0] for up_s, at_s in ((0, 0), (30, 30), (32, 32), (30, 40), (32, 41))
    ]
    assert newest == [True, True, True, False, True]


@pytest.mark.parametrize("phase_s", [5, 10, 14])
def test_what_its_own_broker_kept_measures_nothing_and_live_signs_prove_life_on_a_link_that_flaps(phase_s: int) -> None:
    """A sign each 30 s; the link is up for 20 s of each minute, and the last sign is told again at each return."""
    heard, live, proved = Heard(), 0, 0
    for minute in range(60):
        back_s = minute * 60 + 30 - phase_s
        sent = [(back_s, back_s // 30 * 30, True)]
        sent += [(at, at, False) for at in range(minute * 60, minute * 60 + 90, 30) if back_s <= at < back_s + 20]
        for at_s, up_s, kept in sent:
            proves = heard.take({"run": "a", "up_s": float(up_s)}, 1000.0 + at_s, kept=kept)[1]
            live += not kept
            proved += proves and not kept
            assert not (proves and kept)
    assert live > 50
    assert proved >= live - 1
