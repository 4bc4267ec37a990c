"""The circuit schedule as a spreadsheet: a CSV export read into a draft of the TOML, and the circuits written as CSV.

    draft(text, file=..., vehicle=...) -> Draft      sheet(schedule) -> str

The columns, with the unit in the name:

    position               the way's place on the panel; made into the circuit's id
    purpose                its label
    supply                 a supply's id, perhaps with its voltage: "house (12.8 V DC)"
    feeder                 the sub-panel's feeder, if any
    feed                   always-on | switched; or charger | meter for a way that is no load
    always_on_reason
    importance             life | property | comfort
    behind                 switches before it, with "+" between: "disconnect + ignition + feeder rear"
    device, type           its protection's kind (blade-fuse, breaker-c ...); a blade fuse's type (C, E, F)
    rating_a, as_found_a, as_left_a, way_max_a
    area_mm2, awg or sae   its conductor: one of the three. SAE sizes of vehicle cable are a series of their own
    length_m               one way
    insulation_c, bundled, ambient_c, thermal_insulation_m, return (wire | chassis)
    load                   its kind (compressor, fan, pump ...)
    watts                  a level at which it draws
    maker_fuse_a, always_draws_w, standby_max_w
    longest_run            like "3h", "10min" or "1h30min"

More stretches of conductor, loads or levels stand on further lines: with the same position, or with position and
purpose empty. A line with watts and no load is another level of the load above.

A position with the purpose "Spare" (Reserve, Ledig, frei ...) and nothing else is one of the vehicle's spares.

A text that begins with = + - @ # or an apostrophe, or has a space at an end, is written with an apostrophe before it,
so that no spreadsheet runs it; the reader takes that apostrophe away. Numbers stay numbers, a negative one too.
"""

from __future__ import annotations

from panelward.schedule.sheet.columns import COLUMNS, MOST_LINES, MOST_WAYS
from panelward.schedule.sheet.toml import Draft, draft
from panelward.schedule.sheet.writing import sheet

__all__ = ["COLUMNS", "MOST_LINES", "MOST_WAYS", "Draft", "draft", "sheet"]
