"""Plain addresses beside the pages: the job sheet on paper, and tables as files."""

from __future__ import annotations

import base64
import hashlib
from typing import Final

from flask import Flask, Response, request

from dashboard import downloads
from dashboard.address import parse
from dashboard.sources import Sources
from fleet.errors import FleetError, NotFoundError

_PRINT_HANDLER: Final = "window.print()"
PAPER_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; font-src 'self' data:; base-uri 'none'; "
    "frame-ancestors 'none'; script-src 'unsafe-hashes' "
    f"'sha256-{base64.b64encode(hashlib.sha256(_PRINT_HANDLER.encode()).digest()).decode()}'"
)
"""The paper form stands alone and runs one thing: its own print button."""


def add(server: Flask, sources: Sources) -> None:
    """Add the plain addresses to a server; they ask the same sources as the pages."""

    @server.get("/job-sheet/<path:code>/print")
    def job_sheet_on_paper(code: str) -> Response:
        address = parse("/job-sheet", request.query_string.decode("ascii", "replace"))
        response = Response(sources.paper(sources.job_sheet(code), address.unit), mimetype="text/html")
        response.headers["Content-Security-Policy"] = PAPER_POLICY
        return response

    downloads.add(server, sources)

    @server.errorhandler(FleetError)
    def sentence(error: FleetError) -> Response:
        status = 404 if isinstance(error, NotFoundError) else 400
        return Response(f"{error}\n", status=status, mimetype="text/plain")
