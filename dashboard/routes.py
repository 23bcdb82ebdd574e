"""Plain addresses beside the pages: the job sheet on paper and the fleet's table as a file."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import date, datetime
from typing import Any, Final
from urllib.parse import quote

from flask import Flask, Response, request

from dashboard.address import parse
from dashboard.sources import Sources
from fleet.errors import FleetError, NotFoundError
from fleet.services.backtest import BacktestRow
from fleet.services.cold_offset_groups import ComparisonRow
from fleet.services.fleet_page import FleetRow

_COLUMNS: Final[tuple[tuple[str, str], ...]] = (
    ("line", "line"),
    ("site", "site"),
    ("description", "description"),
    ("screw_diameter_mm", "screw_diameter_mm"),
    ("foundation", "foundation"),
    ("right_hand_side", "right_hand_side"),
    ("status", "status"),
    ("why", "why"),
    ("station", "station"),
    ("axis", "axis"),
    ("deviation_um", "deviation_um"),
    ("u95_deviation_um", "u95_deviation_um"),
    ("measured_deviation_um", "measured_deviation_um"),
    ("measured_on", "measured_on"),
    ("watch_um", "watch_um"),
    ("limit_um", "limit_um"),
    ("next_outage", "next_outage"),
    ("chance_before_next_outage", "chance_next"),
    ("following_outage", "following_outage"),
    ("chance_before_following_outage", "chance_following"),
    ("over_10_percent_by", "over_p10"),
    ("over_50_percent_by", "over_p50"),
    ("over_90_percent_by", "over_p90"),
)
_PRINT_HANDLER: Final = "window.print()"
PAPER_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; base-uri 'none'; "
    "frame-ancestors 'none'; script-src 'unsafe-hashes' "
    f"'sha256-{base64.b64encode(hashlib.sha256(_PRINT_HANDLER.encode()).digest()).decode()}'"
)
"""The paper form stands alone and runs one thing: its own print button."""
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def add(server: Flask, sources: Sources) -> None:
    """Add the plain addresses to a server; they ask the same sources as the pages."""

    @server.get("/job-sheet/<path:code>/print")
    def job_sheet_on_paper(code: str) -> Response:
        address = parse("/job-sheet", request.query_string.decode("ascii", "replace"))
        response = Response(sources.paper(sources.job_sheet(code), address.unit), mimetype="text/html")
        response.headers["Content-Security-Policy"] = PAPER_POLICY
        return response

    @server.get("/fleet.csv")
    def fleet_as_csv() -> Response:
        address = parse("/", request.query_string.decode("ascii", "replace"))
        text, as_of = fleet_csv(sources, address.filters)
        response = Response(text, mimetype="text/csv")
        response.headers["Content-Disposition"] = f'attachment; filename="fleet-{as_of.isoformat()}.csv"'
        return response

    @server.get("/backtest.csv")
    def backtest_as_csv() -> Response:
        address = parse("/", request.query_string.decode("ascii", "replace"))
        response = Response(backtest_csv(sources, address.filters.site), mimetype="text/csv")
        response.headers["Content-Disposition"] = 'attachment; filename="backtest.csv"'
        return response

    @server.get("/cold-offsets.csv")
    def cold_offsets_as_csv() -> Response:
        line, site = request.args.get("line"), request.args.get("site")
        response = Response(cold_offsets_csv(sources, line, site), mimetype="text/csv")
        name = f"cold-offsets-{quote(line, safe='')}" if line else "cold-offsets"
        response.headers["Content-Disposition"] = f'attachment; filename="{name}.csv"'
        return response

    @server.errorhandler(FleetError)
    def sentence(error: FleetError) -> Response:
        status = 404 if isinstance(error, NotFoundError) else 400
        return Response(f"{error}\n", status=status, mimetype="text/plain")


def fleet_csv(sources: Sources, filters: Any) -> tuple[str, date]:
    """Return the whole selection, every page of it, as CSV, and the day it speaks of.

    Lengths are micrometres at full precision, deviations signed (v: + above target, h: + right of target), days ISO
    8601. Text that a spreadsheet would take for a formula begins with an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*(name for name, _ in _COLUMNS), "as_of"])
    view = sources.fleet(replace(filters, page=1))
    for row in _rows(sources, filters, view.pages, view.rows):
        writer.writerow([*(_cell(getattr(row, field)) for _, field in _COLUMNS), view.as_of.isoformat()])
    return out.getvalue(), view.as_of


def backtest_csv(sources: Sources, site: str | None) -> str:
    """Return every as-found beside what was expected of it, as CSV; columns and units as `asleft backtest --json`."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    names = [field.name for field in fields(BacktestRow)]
    writer.writerow(names)
    for row in sources.backtest(site).rows:
        writer.writerow([_cell(getattr(row, name)) for name in names])
    return out.getvalue()


def cold_offsets_csv(sources: Sources, line: str | None, site: str | None) -> str:
    """Return every way of choosing at every station, of one line or all, as CSV.

    Lengths are micrometres at full precision, signed (v: + high of the gearbox axis, h: + right of it), uncertainties
    expanded (95 %), shares 0 to 1, days ISO 8601. An empty cell is a figure that is not known.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    names = [field.name for field in fields(ComparisonRow)]
    writer.writerow(names)
    for row in sources.comparison(line, site):
        writer.writerow([_cell(getattr(row, name)) for name in names])
    return out.getvalue()


def _rows(sources: Sources, filters: Any, pages: int, first: tuple[FleetRow, ...]) -> Iterator[FleetRow]:
    yield from first
    for page in range(2, pages + 1):
        yield from sources.fleet(replace(filters, page=page)).rows


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, float):
        return repr(float(value))
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
