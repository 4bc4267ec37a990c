"""What is printed and hung in the panel's door: a schedule in, the text of a paper out. Writes no files.

directory   the rows of the panel directory, and every word on it
remarks     what stands in red pencil, on the page and on paper
pack        the hand-over pack (what it is made of stands there), pack_pdf its pages
drawn       chips' inks and the symbols' lines, for both forms
html        the directory as one page for a browser
pdf         the same for a printer; it and `printing` import reportlab, so they are imported only where a PDF is wanted
printing    fonts, text that fits, chips, ruled tables, heading and foot: what the PDFs share
"""

from __future__ import annotations

from panelward.papers.directory import CAUTION, Directory, FeederRow, Fitted, Row, panel_directory

__all__ = ["CAUTION", "Directory", "FeederRow", "Fitted", "Row", "panel_directory"]
