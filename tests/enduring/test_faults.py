"""A small share of `endure.py`: the same faults, fewer of them, with the real daemon, broker, disks and phone's service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from enduring import clocks, disks, kills, links
from enduring.lives import Nursery
from enduring.tally import Count


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with Nursery() as warm:
        yield warm


def _held(count: Count, *, alarms: int = 1) -> None:
    if count.skipped:
        pytest.skip(count.skipped)
    # At 300 times the speed a machine that is busy with other tests is silent for minutes: that an alarm says so is right
    # there, and only endure.py, alone on its machine, holds it against the daemon.
    false = count.false - sum(why.startswith("false: readings-overdue") for why in count.why)
    assert (count.lost, count.unmarked, false) == (0, 0, 0), "\n".join(count.why)
    assert count.cases
    assert count.alarms >= alarms  # else nothing could have been lost


def test_kills_at_any_instant_lose_no_alarm(tmp_path: Path, nursery: Nursery) -> None:
    _held(kills.kills(tmp_path, nursery, 100, houses=4), alarms=50)


def test_the_files_of_one_instant_can_be_gone_on_with(tmp_path: Path, nursery: Nursery) -> None:
    _held(kills.copies(tmp_path, nursery, 4))


def test_a_power_cut_denies_nothing_that_was_said(tmp_path: Path, nursery: Nursery) -> None:
    _held(kills.power_cuts(tmp_path, nursery, 3))


def test_steps_of_the_wall_clock_change_no_alarm_and_no_energy(tmp_path: Path, nursery: Nursery) -> None:
    _held(clocks.clock_steps(tmp_path, nursery, 3))


@pytest.mark.parametrize("kind", sorted(disks.KINDS))
def test_a_disk_that_fails_loses_no_alarm(kind: str, tmp_path: Path, nursery: Nursery) -> None:
    _held(disks.disks(tmp_path, nursery, 1, kinds=(kind,)))


def test_a_broker_that_is_killed_loses_no_alarm(tmp_path: Path, nursery: Nursery) -> None:
    _held(links.broker_restarts(tmp_path, nursery, 4))
