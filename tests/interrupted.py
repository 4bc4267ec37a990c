"""The program, started so that it takes SIGINT as in a terminal.

A shell that starts the tests in the background has them, and all that they start, ignore it; Python then leaves it at that.
"""

from __future__ import annotations

import sys

_START = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "from panelward.commands import main; sys.exit(main(sys.argv[1:]))"
)


def command(*words: str) -> list[str]:
    """The command line of `panelward WORDS`."""
    return [sys.executable, "-c", _START, *words]
