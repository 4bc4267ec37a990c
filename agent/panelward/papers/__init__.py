"""What is printed and hung in the panel's door: a schedule in, the text of a paper out. Writes no files.

directory   the rows of the panel directory, and every word on it
drawn       chips' inks and the symbols' lines, for both forms
html        the directory as one page for a browser
pdf         the same for a printer; alone imports reportlab, so it is imported only where a PDF is wanted
"""

from __future__ import annotations

from panelward.papers.directory import CAUTION, Directory, FeederRow, Fitted, Row, panel_directory

__all__ = ["CAUTION", "Directory", "FeederRow", "Fitted", "Row", "panel_directory"]
