"""A process that writes a journal until it is killed: `python writer.py FILE`. Says when it begins to write.

As the daemon does, it first reads back what is journalled and derives its transitions again; every 20th input begets
one, with a message to each of two addresses.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from journals import input_of, message, parse, transition

from panelward.journal import Journal


def main() -> None:
    journal = Journal.open(sys.argv[1])
    journal.recover()
    chance = random.Random(journal.last_number)
    told = [n for n, _item in journal.inputs_after(0, parse) if n % 20 == 0]
    give(journal, told)
    print("writing", flush=True)
    while True:
        number = journal.last_number + 1
        journal.append(input_of(number))
        if number % 20 == 0:
            give(journal, [number])
        elif chance.random() < 0.1:
            journal.commit(now_row={"number": number})
        if chance.random() < 0.02:
            rows = journal.due(1000.0, 4)
            journal.mark_trying([row.id for row in rows])
            for row in rows:
                journal.settle(row.id, "handed-over")
        if chance.random() < 0.01:
            journal.save_snapshot(journal.last_number, {"number": journal.last_number})


def give(journal: Journal, numbers: list[int]) -> None:
    journal.commit(
        [transition(f"a{n}", number=n) for n in numbers],
        [message(f"a{n}", ref=ref) for n in numbers for ref in ("notify-1", "notify-2")],
    )


if __name__ == "__main__":
    main()
