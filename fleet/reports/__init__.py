"""What is handed out: the job sheet as content, as a page for paper and phone, and as text for the terminal.

One rendering serves the print button, the commands and the PDF. The words of the sheet stand in `sheet_words` and
`sheet_facts`, the cautions in `cautions`, so that screens say the same in the same words. Nothing here computes or
reads a store: a service fills in a `JobSheet`.
"""

from __future__ import annotations

from fleet.reports.job_sheet import JobSheet, PastSurvey, RunningResult, SheetStation
from fleet.reports.job_sheet_html import render
from fleet.reports.job_sheet_text import render_text
from fleet.reports.marks import axis_sketch, status_mark, status_svg
from fleet.reports.sheet_facts import Fact, facts

__all__ = [
    "Fact",
    "JobSheet",
    "PastSurvey",
    "RunningResult",
    "SheetStation",
    "axis_sketch",
    "facts",
    "render",
    "render_text",
    "status_mark",
    "status_svg",
]
