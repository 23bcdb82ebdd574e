"""Plain addresses beside the pages: papers, and tables as files."""

from __future__ import annotations

from flask import Flask, Response

from dashboard import downloads, drafts, paper, plan_papers, uploads
from dashboard.sources import Sources
from fleet.errors import FleetError, NotFoundError


def add(server: Flask, sources: Sources) -> None:
    """Add the plain addresses to a server; they ask the same sources as the pages."""

    paper.add(server, sources)
    plan_papers.add(server, sources)
    downloads.add(server, sources)
    drafts.add(server, sources.recording)
    uploads.add(server, sources.records)

    @server.errorhandler(FleetError)
    def sentence(error: FleetError) -> Response:
        status = 404 if isinstance(error, NotFoundError) else 400
        return Response(f"{error}\n", status=status, mimetype="text/plain")
