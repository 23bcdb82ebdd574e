"""Papers: job sheets, session reports and labels, for the print button and as PDF; one rendering each."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Final
from urllib.parse import quote

from flask import Flask, Response, request

from dashboard.address import parse
from dashboard.sources import Sources
from fleet.reports import labels_html, session_html
from fleet.reports.pdf import PdfUnavailableError, as_pdf
from fleet.words import ReaderUnit

FACE: Final = Path(__file__).parent / "assets" / "fonts" / "atkinson-hyperlegible-next-latin-wght-normal.woff2"
"""The face of every page and paper, put into PDFs."""
_FACE_RULE: Final = (
    '<style>@font-face{font-family:"Atkinson Hyperlegible Next";font-weight:200 800;'
    f'src:url("/assets/fonts/{FACE.name}") format("woff2")}}</style>'
)
_PRINT_HANDLER: Final = "window.print()"
PAPER_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; base-uri 'none'; "
    "frame-ancestors 'none'; script-src 'unsafe-hashes' "
    f"'sha256-{base64.b64encode(hashlib.sha256(_PRINT_HANDLER.encode()).digest()).decode()}'"
)
"""The paper form stands alone and runs one thing: its own print button."""


def add(server: Flask, sources: Sources) -> None:
    """Add the papers to a server; they ask the same sources as the pages."""

    @server.get("/job-sheet/<path:code>/print")
    def job_sheet_on_paper(code: str) -> Response:
        return as_paper(sources.paper(sources.job_sheet(code), _unit()))

    @server.get("/job-sheet/<path:code>/pdf")
    def job_sheet_as_pdf(code: str) -> Response:
        sheet = sources.job_sheet(code)
        return _pdf(sources.paper(sheet, _unit()), f"job-sheet-{sheet.line}-{sheet.as_of.isoformat()}")

    @server.get("/session/<path:code>/print")
    def session_on_paper(code: str) -> Response:
        return as_paper(session_html.render(sources.session(code), _unit()))

    @server.get("/session/<path:code>/pdf")
    def session_as_pdf(code: str) -> Response:
        record = sources.session(code)
        name = f"session-{record.session}-{record.started_at.date().isoformat()}"
        return _pdf(session_html.render(record, _unit()), name)

    @server.get("/labels/print")
    def labels_on_paper() -> Response:
        return as_paper(labels_html.render(sources.labels(*_chosen())))

    @server.get("/labels/pdf")
    def labels_as_pdf() -> Response:
        return _pdf(labels_html.render(sources.labels(*_chosen())), "labels")

    @server.errorhandler(PdfUnavailableError)
    def no_pdf(error: PdfUnavailableError) -> Response:
        return Response(f"{error}\n", status=501, mimetype="text/plain")


def _unit() -> ReaderUnit:
    return parse("/", request.query_string.decode("ascii", "replace")).unit


def _chosen() -> tuple[str | None, tuple[str, ...]]:
    """Return the site and the lines an address asks labels for; none: all."""
    return request.args.get("site") or None, tuple(line for line in request.args.getlist("line") if line)


def as_paper(html: str) -> Response:
    """Return a paper for the print button: it stands alone and runs nothing but that."""
    response = Response(html.replace("</head>", f"{_FACE_RULE}</head>", 1), mimetype="text/html")
    response.headers["Content-Security-Policy"] = PAPER_POLICY
    return response


def pdf_file(content: bytes, name: str) -> Response:
    """Return a PDF that is shown in the browser and saved under a name."""
    response = Response(content, mimetype="application/pdf")
    response.headers["Content-Disposition"] = f"inline; filename*=UTF-8''{quote(name, safe='')}.pdf"
    return response


def _pdf(html: str, name: str) -> Response:
    return pdf_file(as_pdf(html, face=FACE), name)
