"""`panelward door`: the page behind the panel's door."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from pathlib import Path
from typing import Any

from panelward.commands import add_journal, add_schedule
from panelward.errors import BadInput, EnvironmentFault

PORT = 8460


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "door",
        help="the page: what asks for you, and your answer",
        description="Serves the page behind the panel's door: reads the journal, asks the running watch over MQTT. Bound to "
        "this computer only unless --listen says otherwise; then changes need the password of --password-file. It switches "
        "nothing. Keep it inside the vehicle's own network.",
    )
    add_schedule(command)
    add_journal(command)
    command.add_argument(
        "--listen",
        metavar="HOST:PORT",
        default=f"127.0.0.1:{PORT}",
        help="where (default: %(default)s; port 0: any that is free)",
    )
    command.add_argument(
        "--password-file",
        metavar="F",
        default=os.environ.get("PANELWARD_DOOR_PASSWORD"),
        help="the line that --set-password wrote",
    )
    command.add_argument("--set-password", action="store_true", help="ask for a password, write --password-file, end")
    command.add_argument(
        "--name", action="append", default=[], metavar="NAME", help="a host name by which phones reach it; several"
    )
    command.add_argument("--tls-cert", metavar="F", help="certificate: the page is served over HTTPS")
    command.add_argument("--tls-key", metavar="F", help="its key")


def run(args: argparse.Namespace) -> int:
    if args.set_password:
        return _set_password(args.password_file)
    host, _, port = args.listen.rpartition(":")
    if not host or not port.isdigit() or int(port) > 65535:
        raise BadInput(f"--listen: wanted HOST:PORT like 127.0.0.1:{PORT}, found {args.listen[:60]!r}")
    if bool(args.tls_cert) != bool(args.tls_key):
        raise BadInput("--tls-cert and --tls-key go together")
    from panelward.door import Options, serve

    return serve(
        Options(
            schedule=args.schedule,
            journal=args.journal,
            host=host.strip("[]"),
            port=int(port),
            password_file=args.password_file,
            names=tuple(args.name),
            cert=args.tls_cert,
            key=args.tls_key,
        )
    )


def _set_password(path: str | None) -> int:
    from panelward.door.guard import hashed

    if not path:
        raise BadInput("--set-password needs --password-file: where to write it")
    first = getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
    if sys.stdin.isatty() and getpass.getpass("Once more: ") != first:
        raise BadInput("the two are not the same; nothing was written")
    line = hashed(first)
    try:
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(fd, "w", encoding="ascii") as out:
            out.write(line + "\n")
        Path(path).chmod(0o600)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be written: {error.strerror}") from None
    print(f"Written: {path}. Who was logged in is logged out.")
    return 0
