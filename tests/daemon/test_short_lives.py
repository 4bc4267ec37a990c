"""A watch whose lives are shorter than the time between two saved states: what each start reads again stays bounded."""

from __future__ import annotations

from contextlib import closing

from brokers import wait_for
from houses import House
from panelward.daemon import REPLAYED
from panelward.journal import Journal


def saved(house: House) -> int:
    """The input up to which a state is saved, or 0."""
    with closing(Journal.read(house.journal)) as journal:
        kept = journal.newest_snapshot()
    return kept[0] if kept is not None else 0


def written(house: House) -> int:
    with closing(Journal.read(house.journal)) as journal:
        return journal.last_number


def test_lives_that_end_early_do_not_add_up_to_ever_longer_starts(house: House) -> None:
    for life in (1, 2):
        house.start()
        assert wait_for(lambda n=life: house.said().count("broker: connected") == n), house.said()
        before = written(house)
        for n in range(REPLAYED // 6):  # volts and amps of two circuits
            house.publish("D7", 1.0 + n % 7)
            house.publish("D8", 0.5 + n % 3 * 0.1)
        assert wait_for(lambda n=before: written(house) >= n + REPLAYED * 3 // 5, 60.0), house.said()
        house.kill()
        assert saved(house) == 0, "so little is read again as it is"
    house.start()
    assert wait_for(lambda: saved(house) > REPLAYED, 30.0), "what two lives left is saved at the start that read it"
