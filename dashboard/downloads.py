"""The one address of every table that can be taken along: `/download/NAME.csv?view=...` and `.xlsx`."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlsplit

from flask import Flask, Response, request

from dashboard.address import Address, href, parse
from dashboard.sources import Sources
from dashboard.tables import TABLES
from fleet.errors import InputError, NotFoundError
from fleet.reports.table_file import EXTENSIONS, MEDIA_TYPES, Extension, as_file, file_name, in_unit

_MOST_VIEW: Final = 5_000
"""Characters of a view's address: escaped, it still fits into the line a server reads."""


def add(server: Flask, sources: Sources) -> None:
    """Add the address to a server; the tables ask the same sources as the pages."""

    @server.get("/download/<name>.<extension>")
    def download(name: str, extension: str) -> Response:
        if name not in TABLES or extension not in EXTENSIONS:
            raise NotFoundError(f"there is no table '{name}.{extension}' here; take it from the page that shows it")
        return taken(sources, name, extension, view_of(request.args.get("view", "/")))


def view_of(text: str) -> Address:
    """Return the view an address names; what cannot be read falls back as on the page.

    Raises
    ------
    InputError
        The address is too long to be a page's: cut short it would be another view.
    """
    if len(text) > _MOST_VIEW:
        raise InputError(
            f"This view's address has {len(text)} characters; at most {_MOST_VIEW} can be taken along. Hold fewer "
            "lines by hand, or save the plan and take it from there."
        )
    parts = urlsplit(text)
    return parse(parts.path, parts.query)


def taken(sources: Sources, name: str, extension: Extension, address: Address) -> Response:
    """Return a table of a view as a file that is saved under its own name."""
    table = in_unit(TABLES[name](sources, address), address.unit)
    response = Response(as_file(table, extension), mimetype=None, content_type=MEDIA_TYPES[extension])
    saved_as = file_name(table, f"{name} {href(address)}", extension)
    response.headers["Content-Disposition"] = f'attachment; filename="{saved_as}"'
    # Another state of the record is another file.
    response.headers["Cache-Control"] = "no-store"
    return response
