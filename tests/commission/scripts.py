"""What a fitter types at the rig's van, a line an answer, held back until the hand has done what was asked."""

from __future__ import annotations

START = "2026-05-04T12:00Z"


def at(minutes: float) -> str:
    seconds = round(minutes * 60)
    return f"at 2026-05-04T12:{seconds // 60:02d}:{seconds % 60:02d}Z"


WHO = ["Kari Lund", "clamp no. 3, calibrated in March", "", at(0.5), "yes"]
FUSES = [
    "",
    "",
    "",
    "",
    "20",
    "",
    "",
    "",
    "",
    "",
    "",
    "",
    "",
    "",
    "",
]  # D5 holds 20 A; the empty line after it: changed to 10 A
START_UP = [at(4.2), "", at(5.2), "", at(6.7)]
SWAPPED = ["don't know", at(7.4), "Mast lights"]  # the clamp stays in its bag; D4's question comes when the lights are switched
END = [at(18), "done", at(18.2), "", "not by us", at(21.6), "", "no"]
WHOLE = [*WHO, *FUSES, *START_UP, *SWAPPED, *END]
