"""The application: built by a factory for one store, with no state of its own."""

from __future__ import annotations

import logging
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from dash import Dash, Input, Output, State, no_update, set_props
from flask import Response, request

from dashboard import feed_forms, line_forms, outage_forms, plan_forms, records_callbacks, routes, shell
from dashboard.address import Address, href, parse
from dashboard.components import notices
from dashboard.pages import held
from dashboard.pages.chooser import chooser_page
from dashboard.pages.cold_by_way import cold_by_way_page
from dashboard.pages.cold_offsets import cold_offsets_page
from dashboard.pages.compare import compare_page
from dashboard.pages.compare_address import read as read_compare
from dashboard.pages.fleet import fleet_page
from dashboard.pages.job_sheet import job_sheet_page
from dashboard.pages.line import line_page
from dashboard.pages.outages import outages_page
from dashboard.pages.page import Shown
from dashboard.pages.record_pages import record
from dashboard.pages.records import records_page
from dashboard.pages.records_choice import asked as asked_records
from dashboard.pages.session import no_session_page, session_page, unknown_session_page
from dashboard.same_origin import refuse_foreign
from dashboard.sources import Sources, from_store
from fleet.errors import FleetError, NotFoundError

log = logging.getLogger("asleft.dashboard")

_TITLE_SCRIPT = "function (title) { if (title) { document.title = title; } return ''; }"


def create_app(store: Any) -> Dash:
    """Build the application over a store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.

    Returns
    -------
    Dash
        The application; its `server` is an ordinary WSGI application.
    """
    return build(from_store(store))


def build(sources: Sources) -> Dash:
    """Build the application over any sources of its pages' contents."""
    app = Dash(
        "asleft",
        assets_folder=str(Path(__file__).parent / "assets"),
        pages_folder="",
        use_pages=False,
        include_pages_meta=False,
        title="Asleft",
        update_title="",
        index_string=shell.INDEX,
        add_log_handler=False,
        on_error=_on_error,
        serve_locally=True,
        enable_mcp=False,
        # A section of a page answers only while that page is shown.
        suppress_callback_exceptions=True,
    )
    app.layout = shell.layout

    @app.callback(
        Output("bar", "children"),
        Output("content", "children"),
        Output("window-title", "data"),
        Input("url", "pathname"),
        Input("url", "search"),
    )
    def show(pathname: str | None, search: str | None) -> tuple[list[Any], list[Any], str]:
        address = parse(pathname, search)
        shown = render(sources, address)
        body = [*notices.notes((*address.notes, *shown.notes)), *shown.body]
        return shell.bar(address), body, f"{shown.title} – Asleft"

    @app.callback(
        Output(held.SHOWN, "children"),
        Input(held.OPENED, "n_clicks"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def hold(clicks: int | None, pathname: str | None, search: str | None) -> Any:
        # The second click closes the section again.
        return holding(sources, parse(pathname, search)) if (clicks or 0) % 2 else no_update

    app.clientside_callback(  # type: ignore[no-untyped-call]
        _TITLE_SCRIPT, Output("window-titled", "children"), Input("window-title", "data")
    )
    line_forms.add(app, sources, render)
    outage_forms.add(app, sources, render)
    plan_forms.add(app, sources, render)
    feed_forms.add(app, sources)
    records_callbacks.add(app)
    routes.add(app.server, sources)
    _harden(app)
    return app


def render(sources: Sources, address: Address) -> Shown:
    """Return the page an address asks for; what a person can put right is said on the page.

    Raises
    ------
    Exception
        Whatever a service did not foresee; the application logs it and shows a sentence.
    """
    fleet = href(Address(unit=address.unit))
    if address.page == "unknown":
        return Shown("No such page", [notices.unknown_page(fleet)])
    try:
        if address.page == "fleet":
            return fleet_page(sources.fleet(address.filters), address)
        if address.page == "record":
            return record(sources.recording, sources.line_codes(), address)
        if address.page == "session":
            return session_page(sources.session(address.code), address) if address.code else no_session_page(address)
        if address.page == "records":
            chosen, unread = asked_records(address)
            return records_page(sources.records.view(chosen), address, unread, datetime.now(UTC))
        if address.page == "outages":
            return outages_page(sources.plans, address)
        if address.page == "compare":
            return compare_page(sources.compare(read_compare(address)[0]), address)
        if address.page == "cold-offsets" and address.code is None:
            return cold_by_way_page(sources.ways(address.axis or "v", address.filters.site, address.by), address)
        if address.code is None:
            return chooser_page(sources.line_codes(), address)
        if address.page == "line":
            view = sources.line(address.code, address.station, address.axis, address.a, address.b)
            return _noted(line_page(view, address), address, view.history.station if view.history else None)
        if address.page == "job-sheet":
            return job_sheet_page(sources.job_sheet(address.code), address)
        compared = sources.cold_offsets(address.code, address.station, address.axis)
        sheet, rises = sources.job_sheet(address.code), sources.rises(address.code)
        page = cold_offsets_page(compared, address, sources.line_codes(), sheet, rises)
        return _noted(page, address, compared.station)
    except NotFoundError:
        if address.page == "session":
            return unknown_session_page(address)
        return Shown(f"No line {address.code}", [notices.unknown_line(address.code or "", fleet)])
    except FleetError as error:
        return Shown("Cannot be shown", [notices.refused(str(error))])


def holding(sources: Sources, address: Address) -> list[Any]:
    """Return how well the forecast has held on the lines an address asks for."""
    try:
        return held.held(sources.held(address.filters.site), address)
    except FleetError as error:
        return [notices.notice("This cannot be shown", str(error), warn=True)]


def _noted(page: Shown, address: Address, station: str | None) -> Shown:
    """Say so where another station is shown than the address asks for."""
    if address.station in (None, station):
        return page
    instead = f"station {station} is shown" if station else "nothing can be shown of it"
    return replace(page, notes=(f"{address.code} has no record at a station ‘{address.station}’; {instead}.",))


def _on_error(error: Exception) -> None:
    """Log what was not foreseen under a reference, and show the sentence that carries it."""
    reference = uuid4().hex[:8]
    log.error("page failed, reference %s", reference, exc_info=error)
    set_props("content", {"children": notices.failed(reference)})


def _harden(app: Dash) -> None:
    """Let pages load from this server only, answer to this machine's names only."""
    scripts = " ".join(f"'{digest}'" if not digest.startswith("'") else digest for digest in app.csp_hashes())
    policy = (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    )

    def own_pages_only() -> None:
        # Whatever a form of a page writes, it is asked for here.
        if request.method == "POST" and request.path.endswith("/_dash-update-component"):
            refuse_foreign(request)

    app.server.before_request(own_pages_only)
    app.server.config["TRUSTED_HOSTS"] = ["localhost", "127.0.0.1", "[::1]"]

    def headers(response: Response) -> Response:
        response.headers.setdefault("Content-Security-Policy", policy)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Referrer-Policy", "same-origin")
        return response

    app.server.after_request(headers)
