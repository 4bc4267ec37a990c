"""What invented monitors say, as records: for the shape of a test. Times in milliseconds from T0."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence

from panelward.listen import Heard

T0 = 1_780_000_000_000  # 2026-05-28, Unix milliseconds
WAYS = ("D1", "D2", "D3", "D10")


def figures(rng: random.Random) -> tuple[float, float, float]:
    """Volts to 0.01, amps to 0.01, watts to 0.1 that fit together."""
    volts, amps = round(rng.gauss(12.9, 0.05), 2), round(rng.uniform(0.2, 9.0), 2)
    return volts, amps, round(volts * amps, 1)


def plain(
    *, root: str = "van/dc", ways: Sequence[str] = WAYS, period_s: float = 2.0, seconds: float = 40.0, seed: int = 1
) -> list[Heard]:
    """A number a topic, every period, with some jitter."""
    rng, found = random.Random(seed), []
    for n in range(int(seconds / period_s)):
        at = T0 + round(n * period_s * 1000) + rng.randrange(9)
        for way in ways:
            for quantity, value in zip(("volts", "amps", "watts"), figures(rng), strict=True):
                found.append(Heard(at, f"{root}/{way}/{quantity}", f"{value:g}".encode()))
    return found


def objects(
    *, root: str = "cabin", ways: Sequence[str] = WAYS, keys: Sequence[str] = ("u", "i", "p"), thousandths: bool = False,
    whole: bool = False, period_s: float = 5.0, seconds: float = 60.0, seed: int = 2, more: dict[str, object] | None = None,
    time_key: str | None = None,
) -> list[Heard]:  # fmt: skip
    """A JSON object a circuit; `thousandths`: volts, amps and watts as whole numbers of a thousandth."""
    rng, found = random.Random(seed), []
    for n in range(int(seconds / period_s)):
        at = T0 + round(n * period_s * 1000)
        for way in ways:
            values = [round(value * 1000) if thousandths else value for value in figures(rng)]
            document: dict[str, object] = dict(zip(keys, values, strict=False)) | (more or {})
            if time_key is not None:
                document[time_key] = at - 150
            found.append(Heard(at, f"{root}/{way}", json.dumps(document).encode()))
    return found


def packs(*, topic: str = "plant/panel", ways: Sequence[str] = WAYS, words: Sequence[str] = ("voltage", "current"),
          seconds: float = 60.0, period_s: float = 5.0, seed: int = 3) -> list[Heard]:  # fmt: skip
    """One SenML pack of all circuits, the circuit in the records' names (RFC 8428)."""
    rng, found = random.Random(seed), []
    for n in range(int(seconds / period_s)):
        at = T0 + round(n * period_s * 1000)
        pack: list[dict[str, object]] = []
        for way in ways:
            volts, amps, _ = figures(rng)
            pack += [
                {"bn": f"urn:dev:{way}:", "n": words[0], "u": "V", "v": volts},
                {"n": words[1], "u": "A", "v": amps},
            ]
        found.append(Heard(at, topic, json.dumps(pack).encode()))
    return found


def on_change(*, root: str = "hut", ways: Sequence[str] = WAYS, seconds: float = 300.0, seed: int = 4) -> list[Heard]:
    """A number a topic, only where it changed: first what the broker had kept, then as things happen."""
    rng, found = random.Random(seed), []
    for way in ways:
        amps = 1.0
        found.append(Heard(T0, f"{root}/{way}/amps", f"{amps:g}".encode(), True))
        at = T0 + rng.randrange(2000)
        while at < T0 + seconds * 1000:
            amps = round(amps + rng.choice((-0.31, -0.17, 0.13, 0.29)), 2)
            found.append(Heard(at, f"{root}/{way}/amps", f"{amps:g}".encode()))
            at += round(rng.expovariate(1 / 20.0) * 1000) + 1000
    return found


def garbage() -> list[Heard]:
    """What else goes over a broker."""
    rng = random.Random(5)
    found = [
        Heard(T0, "camera/front", rng.randbytes(40_000)),
        Heard(T0 + 5, "camera/rear", b"\x89PNG\r\n\x1a\n" + rng.randbytes(200), True),
        Heard(T0 + 10, "van/notes", "Grüße – \u202e bak \x1b[2J".encode()),
        Heard(T0 + 20, "van/\x1b[31mred\x07/amps", b"3.1"),
        Heard(T0 + 30, "log", b"{" * 50_000),
        Heard(T0 + 40, "log", b'{"a": 1e999, "b": ' + b"9" * 6000 + b"}"),
        Heard(T0 + 50, "weather", b'{"humidity": 40, "pressure": 1013}'),
        Heard(T0 + 60, "weather", b"[1, 2, 3]"),
        Heard(T0 + 70, "a/" * 60 + "amps", b"1"),
        Heard(T0 + 80, "{circuit}/{quantity}", b"1"),
        Heard(T0 + 90, "x/{y}/amps", b"nan"),
        Heard(T0 + 100, "empty", b"", True),
        Heard(T0 + 110, "/", b"\xff\xfe"),
        Heard(T0 + 120, "$SYS/broker/uptime", b"100 seconds"),
        Heard(T0 + 130, "panelward/survey-van/sign-of-life", b'{"volts": 12}', True),
    ]
    return found
