"""The command line: a file a command, each importing its room when it is called.

Exit codes: 0 good, 1 something was found, 2 bad input, 3 the environment. rehearse and log give 0 whatever was found.
"""

from __future__ import annotations

import argparse
import errno
import io
import os
import sys
from importlib import import_module
from pathlib import Path
from textwrap import fill

from panelward import __version__
from panelward.errors import EnvironmentFault, PanelwardError, ScheduleError

SCHEDULE = "/etc/panelward/schedule.toml"
JOURNAL = "/var/lib/panelward/journal.sqlite"
PEOPLE = "/etc/panelward/people.toml"

# In the order in which a person meets them.
COMMANDS = (
    "listen",
    "check",
    "directory",
    "commission",
    "handover",
    "watch",
    "now",
    "alarms",
    "acknowledge",
    "shelve",
    "working",
    "presence",
    "replaced",
    "timezone",
    "note",
    "drill",
    "door",
    "rehearse",
    "review",
    "learn",
    "log",
    "rig",
)

_ABOUT = """\
Watches the branch circuits of a vehicle's distribution panel over MQTT and tells
a phone in one sentence what needs looking at. It watches; it does not protect:
the fuse or breaker does. Local code and licensed practice win over its figures."""

_FILES = """\
A command line beats the environment (PANELWARD_SCHEDULE, PANELWARD_JOURNAL,
PANELWARD_PEOPLE, PANELWARD_NOTIFY) beats the default. Exit: 0 good, 1 something was found,
2 bad input, 3 the environment."""


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="panelward",
        description=_ABOUT,
        epilog=_FILES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"panelward {__version__}")
    subparsers = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in COMMANDS:
        import_module(f"panelward.commands.{name}").register(subparsers)
    return top


def add_schedule(command: argparse.ArgumentParser) -> None:
    """`--schedule`, with its default."""
    default = os.environ.get("PANELWARD_SCHEDULE", SCHEDULE)
    command.add_argument("--schedule", metavar="S.toml", default=default, help="the circuit schedule (default: %(default)s)")


def add_journal(command: argparse.ArgumentParser) -> None:
    """`--journal`, with its default."""
    default = os.environ.get("PANELWARD_JOURNAL", JOURNAL)
    command.add_argument("--journal", metavar="J.sqlite", default=default, help="the journal (default: %(default)s)")


def add_from_afar(command: argparse.ArgumentParser) -> None:
    """`--from-afar`: another daemon is asked than the one aboard."""
    command.add_argument(
        "--from-afar", action="store_true", help="ask the watch from afar: with its schedule and journal, on its computer"
    )


def add_people(command: argparse.ArgumentParser, help: str) -> None:
    """`--people`; where it is not given, `people_file` says which."""
    command.add_argument("--people", metavar="P.toml", default=os.environ.get("PANELWARD_PEOPLE") or None, help=help)


def people_file(given: str | None, beside: str | None = None) -> str | None:
    """Where it is written who is told; None: nowhere. `beside`: the usual file is of no other schedule than one beside it."""
    if given is not None:
        return given
    usual = Path(PEOPLE)
    if beside is not None and Path(beside).absolute().parent != usual.parent:
        return None
    try:
        return PEOPLE if usual.exists() else None
    except OSError:  # its folder is closed to this user
        return PEOPLE


def say_faults(error: ScheduleError) -> int:
    """Every fault of a schedule, at 80 columns; the exit code."""
    for fault in error.faults:
        print(fill(str(fault), 80, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False), file=sys.stderr)
    return 2


def _say(error: PanelwardError) -> None:
    """An error for a person, at 80 columns; a long word such as a path stays whole."""
    for line in f"panelward: {error}".splitlines():
        print(fill(line, 80, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False), file=sys.stderr)


def main(argv: list[str] | None = None) -> int:
    """Run a command; returns its exit code."""
    args = parser().parse_args(argv)
    run = import_module(f"panelward.commands.{args.command}").run
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors == "strict":
        sys.stdout.reconfigure(errors="replace")  # half an emoji in somebody's name ends no command
    try:
        code: int = run(args)
        sys.stdout.flush()
        return code
    except EnvironmentFault as fault:
        _say(fault)
        return 3
    except PanelwardError as error:
        _say(error)
        return 2
    except BrokenPipeError:
        # The reader has seen enough (`| head`): not an error of ours. Keep the interpreter from flushing once more.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        print("panelward: the output can't be written: no space left", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 3
    except KeyboardInterrupt:
        return 130
