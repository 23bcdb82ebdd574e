"""What is handed over of a plan at plain addresses: on paper, as PDF, its job sheets, its calendar, and the feeds.

`/outages/print`, `pdf`, `calendar.ics` and `job-sheets.pdf` take the query of the page; `/calendar/TOKEN.ics` is what
calendars subscribe to and needs nothing but its secret.
"""

from __future__ import annotations

from typing import Final
from urllib.parse import quote

from flask import Flask, Response, request

from dashboard.address import Address, page_number, parse
from dashboard.paper import FACE, as_paper, pdf_file
from dashboard.plan_view import plan_name, plan_of
from dashboard.sources import Sources
from fleet.errors import InputError
from fleet.reports import job_sheet_html, plan_html
from fleet.reports.pdf import as_one_pdf, as_pdf
from fleet.reports.plan_calendar import MEDIA_TYPE

MOST_LINES: Final = 500
"""A PDF of so many lines takes about as long as a server lets a page wait, on a busy machine."""
_FRESH_S: Final = 900
_LONGEST_TOKEN: Final = 128


def add(server: Flask, sources: Sources) -> None:
    """Add the addresses to a server; they ask the same sources as the page."""

    @server.get("/outages/print")
    def plan_on_paper() -> Response:
        address = _view()
        return as_paper(plan_html.render(plan_of(sources.plans, address), address.unit))

    @server.get("/outages/pdf")
    def plan_as_pdf() -> Response:
        address = _view()
        plan = plan_of(sources.plans, address)
        if len(plan.rows) > MOST_LINES:
            raise InputError(
                f"The plan has {len(plan.rows)} lines; a PDF of more than {MOST_LINES} takes too long here. Choose a "
                "site, or print it and choose PDF there: it is the same paper."
            )
        return pdf_file(as_pdf(plan_html.render(plan, address.unit), face=FACE), plan_name(plan))

    @server.get("/outages/job-sheets.pdf")
    def job_sheets_as_pdf() -> Response:
        address = _view()
        stop = request.args.get("stop", "").strip()
        if not stop:
            raise InputError("Which stop are the job sheets for? Write stop=CODE, or take them from the Outages page.")
        part = page_number(request.args.get("part"), [])
        sheets = sources.plans.hand_over.job_sheets(plan_of(sources.plans, address), stop, part)
        papers = (job_sheet_html.render(sheet, address.unit) for sheet in sheets)
        name = f"job-sheets-{stop}" + (f"-part-{part}" if part > 1 else "")
        return pdf_file(as_one_pdf(papers, face=FACE, title=f"Job sheets for {stop}"), name)

    @server.get("/outages/calendar.ics")
    def plan_as_calendar() -> Response:
        plan = plan_of(sources.plans, _view())
        response = Response(sources.plans.hand_over.calendar(plan), content_type=MEDIA_TYPE)
        response.headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(plan_name(plan), safe='')}.ics"
        response.headers["Cache-Control"] = "no-store"
        return response

    @server.get("/calendar/<token>.ics")
    def feed(token: str) -> Response:
        content = sources.plans.hand_over.feed_calendar(token[:_LONGEST_TOKEN])
        response = Response(content, content_type=MEDIA_TYPE)
        response.headers["Cache-Control"] = f"private, max-age={_FRESH_S}"
        # A subscriber that has it already is told so by the tag alone: a stop may move without a plan being signed.
        response.add_etag()
        response.make_conditional(request)
        return response


def _view() -> Address:
    return parse("/outages", request.query_string.decode("ascii", "replace"))
