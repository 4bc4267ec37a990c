"""Dialects and the CSV of readings: topic and bytes in; Readings, Presence or a named refusal out. Pure.

One message gives at most one Reading a circuit (a SenML pack with several times: one a time). Nothing is joined and
nothing is held back. Values are quantised here, once: volts and amps to 0.0001, watts and celsius to 0.001.
"""

from panelward.intake.dialects import Intake
from panelward.intake.head import Head, head_of
from panelward.intake.lines import LineReader, write_lines
from panelward.intake.refusals import Refusals
from panelward.intake.table import TableReader, write_table

__all__ = ["Head", "Intake", "LineReader", "Refusals", "TableReader", "head_of", "write_lines", "write_table"]
