"""`panelward listen`: hear what a broker's monitors publish, and draft a schedule from it."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from shlex import quote
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import say_faults
from panelward.errors import BadInput, EnvironmentFault, ScheduleError

if TYPE_CHECKING:
    from panelward.listen import Findings, Kept
    from panelward.records import Broker

CONNECT_S = 15.0
LONGEST_S = 86_400.0
TOLD_EVERY_S = 30.0  # progress, where stderr is no terminal
BROKER = ("username", "password_file", "ca_file", "cert_file", "key_file")


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "listen",
        help="hear what monitors publish on a broker, and draft a schedule from it",
        description="Listens to a broker, finds out which part of a topic is the circuit and which the quantity, and drafts "
        "a schedule. It publishes nothing. What nobody can read from a broker (devices, conductors, loads, feeds) is left "
        "to be filled in. Ctrl-C ends it early, with what was heard. Exit: 0 drafted, 1 nothing was understood, 2 bad "
        "input, 3 the broker can't be used.",
    )
    command.add_argument("--host", metavar="H", required=True, help="the broker's name or address")
    command.add_argument("--port", type=int, metavar="P", help="default: 1883, with TLS 8883")
    command.add_argument("--username", metavar="U", help="as in [broker]")
    command.add_argument("--password-file", metavar="F", help="a file with the password, readable by you alone")
    command.add_argument("--tls", action="store_true", help="speak TLS; implied by the three below")
    command.add_argument("--ca-file", metavar="F", help="the authority that signed the broker's certificate")
    command.add_argument("--cert-file", metavar="F", help="this client's certificate, with --key-file")
    command.add_argument("--key-file", metavar="F", help="its key")
    command.add_argument("--topic", metavar="FILTER", default="#", help="what to listen to (default: all, #)")
    command.add_argument("--seconds", "--for-s", type=float, metavar="S", default=120.0, help="how long (default: 120)")
    command.add_argument("--vehicle", metavar="NAME", default="My vehicle", help="its name in the draft")
    command.add_argument("--out", metavar="DRAFT.toml", help="write the draft here (a new file); default: on stdout")
    command.add_argument("--json", action="store_true", help="what was found as one object; without --out with the draft")


def run(args: argparse.Namespace) -> int:
    from panelward.listen import draft, find, proved, report

    try:
        broker = _broker(args)
    except ScheduleError as error:
        return say_faults(error)
    if not 1 <= args.seconds <= LONGEST_S:
        raise BadInput(f"--seconds goes from 1 to {LONGEST_S:.0f}, not {args.seconds:g}")
    if args.out is not None:
        _may_be_written(Path(args.out))
    kept, from_ms, until_ms = _hear(broker, args.topic, args.seconds)
    findings = find(
        kept.records(), from_ms=from_ms, until_ms=until_ms, not_kept=kept.not_kept, topics_not_kept=kept.topics_not_kept
    )  # fmt: skip
    text = draft(findings, broker, vehicle=args.vehicle) if findings.monitors else ""
    # The draft's own text, once more through intake: what it reads is what it is worth.
    reads = proved(text, kept.records())[0] if text else 0
    if args.out is not None and text:
        _write(Path(args.out), text)
    if args.json:
        print(json.dumps(_object(findings, broker, args.out, text, reads), ensure_ascii=False))
    else:
        # The draft goes to stdout where no file is named, so that it can be piped into one; all else to stderr then.
        if args.out is None:
            sys.stdout.write(text)
            sys.stdout.flush()
        for line in (*report(findings), *_next(findings, args, reads)):
            print(line, file=sys.stdout if args.out is not None else sys.stderr)
    return 0 if findings.monitors else 1


def _broker(args: argparse.Namespace) -> Broker:
    """The options as a schedule's [broker] would have them, held to its rules."""
    from panelward.schedule import from_tables

    given: dict[str, Any] = {key: getattr(args, key) for key in BROKER if getattr(args, key) is not None}
    tls = args.tls or any(getattr(args, key) is not None for key in ("ca_file", "cert_file", "key_file"))
    port = args.port if args.port is not None else 8883 if tls else 1883  # IANA: mqtt, secure-mqtt
    raw = {"vehicle": {"name": args.vehicle, "id": "vehicle"}, "broker": {"host": args.host, "port": port, "tls": tls, **given}}
    broker = from_tables(raw, "the command line").broker
    assert broker is not None
    return broker


def _may_be_written(path: Path) -> None:
    """Said before anybody waits for two minutes."""
    if path.exists():
        raise BadInput(f"--out: {path} is there already, and is not written over: name another file")
    if not path.parent.is_dir():
        raise BadInput(f"--out: there is no folder {path.parent}")


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        sys.stdout.write(text)  # what was heard is not thrown away
        raise BadInput(f"--out: {path} came to be meanwhile, and is not written over: the draft is on stdout") from None
    except OSError as error:
        sys.stdout.write(text)
        raise EnvironmentFault(f"--out: {path} can't be written: {error.strerror}; the draft is on stdout") from None


def _hear(broker: Broker, topic: str, seconds: float) -> tuple[Kept, int, int]:
    """Listen; what was kept, when that began and when it ended. EnvironmentFault where the broker can't be used."""
    from panelward.link import Link, Message
    from panelward.listen import Heard, Kept
    from panelward.records.topics import filter_is_valid

    if not filter_is_valid(topic):
        raise BadInput(f"--topic: wanted an MQTT topic filter like van/#, found {topic[:60]!r}")
    kept = Kept()
    wall_s = time.time() - time.monotonic()
    trouble: list[str] = []

    def took(message: Message) -> None:
        received_ms = round((wall_s + message.monotonic_s) * 1000)
        kept.add(Heard(received_ms, message.topic, message.payload, message.retained))

    def state(connected: bool, why: str) -> None:
        if not connected and why:
            trouble.append(why)

    said: list[str] = []
    link = Link(
        broker,
        client_id=f"panelward-listen-{os.getpid()}-{os.urandom(4).hex()}",
        on_message=took,
        on_state=state,
        log=said.append,
        persistent=False,
    )
    # QoS 0: nothing is queued for a listener on the broker.
    link.subscribe(((topic, 0),))
    link.start()
    show = _progress()
    try:
        begun = time.monotonic()
        while not link.connected:
            # Only a broker that closes without a word may take us with the next try: it may want 3.1.1.
            if time.monotonic() - begun > CONNECT_S or (trouble and not link.worth_waiting):
                raise EnvironmentFault(trouble[-1] if trouble else f"no answer from the broker at {broker.host}:{broker.port}")
            time.sleep(0.05)
        trouble.clear()
        begun = time.monotonic()
        print(
            f"Listening at {broker.host}:{broker.port} for {seconds:g} s. Ctrl-C ends it early, with what was heard.",
            file=sys.stderr,
            flush=True,
        )
        try:
            while (passed := time.monotonic() - begun) < seconds:
                if topic in link.refused_filters:
                    raise EnvironmentFault(said[-1])
                show(passed, seconds, kept)
                time.sleep(min(0.2, max(0.0, seconds - passed)))
        except KeyboardInterrupt:
            print("\nEnded early.", file=sys.stderr)
    finally:
        link.stop()
    for why in dict.fromkeys(trouble):
        print(fill(f"While listening: {why}", 80, break_on_hyphens=False), file=sys.stderr)
    return kept, round((wall_s + begun) * 1000), round((wall_s + time.monotonic()) * 1000)


def _progress() -> Callable[[float, float, Kept], None]:
    """Shows how far it is: on a terminal in one line, else a line now and then."""
    terminal = sys.stderr.isatty()
    last = 0.0

    def show(passed: float, seconds: float, kept: Kept) -> None:
        nonlocal last
        if passed - last < (1.0 if terminal else TOLD_EVERY_S):
            return
        last = passed
        text = f"  {passed:.0f} of {seconds:g} s: {kept.messages:,} messages on {kept.topics:,} topics"
        print(text, end="\r" if terminal else "\n", file=sys.stderr, flush=True)

    return show


def _next(findings: Findings, args: argparse.Namespace, reads: int) -> list[str]:
    if not findings.monitors:
        if not findings.messages:
            hint = (
                "Nothing was heard. Does the monitor publish to this broker, under this filter? A broker's access list may "
                "let this client read nothing, without a word: see --username."
            )
        else:
            hint = (
                "Nothing was understood, so nothing is drafted. panelward reads a number on a topic with the circuit and the "
                "quantity in it, a JSON object for each circuit, or SenML (RFC 8428)."
            )
        return ["", fill(hint, 80)]
    file = args.out or "DRAFT.toml"
    first = [] if args.out else [f"  panelward listen --host {args.host} … > {file}"]
    return [
        "",
        f"Read back, the draft understands {reads:,} of these messages.",
        "Next: fill in what the draft asks for, then let it be vetted:",
        *first,
        f"  panelward check --schedule {quote(file)}",
    ]


def _object(findings: Findings, broker: Broker, out: str | None, text: str, reads: int) -> dict[str, Any]:
    """Findings as plain values, of a monitor what would be written of it; without a file the draft too."""
    found = asdict(findings)
    for each, one in zip(found["monitors"], findings.monitors, strict=True):
        monitor = one.monitor
        each["monitor"] = {
            "name": monitor.name,
            "dialect": monitor.dialect,
            "topic": monitor.topic,
            "record_name": monitor.record_name,
            "fields": {quantity: asdict(where) for quantity, where in monitor.fields},
            "time": asdict(monitor.time_field) if monitor.time_field is not None else None,
        }
        each["flows_back"] = one.flows_back
    at = {"host": broker.host, "port": broker.port}
    return found | {"broker": at, "draft_reads": reads} | ({"out": out} if out else {"draft": text})
