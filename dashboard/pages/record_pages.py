"""Which page of Record an address asks for."""

from __future__ import annotations

from datetime import UTC, datetime

from dash import dcc

from dashboard.address import Address, href
from dashboard.components import notices
from dashboard.pages.page import Shown
from dashboard.pages.record import record_page, signed_page
from dashboard.pages.record_begin import begin_page, correct_page, record_lines
from dashboard.pages.record_forms import TITLES, form_page
from dashboard.record_sources import RecordSources
from fleet.errors import NotFoundError


def record(recording: RecordSources, codes: tuple[str, ...], address: Address) -> Shown:
    """Return the page of Record that an address asks for.

    Parameters
    ----------
    recording
        The services behind Record.
    codes
        Codes of all lines.
    address
        `draft` opens a visit, `signed` says what it became, `corrects` begins a correction, `what` one of the small
        forms; else the form with which a visit begins, or the lines to choose from.

    Raises
    ------
    FleetError
        There is no such line, or the visit cannot be shown.
    """
    if address.code is None:
        return record_lines(codes, recording.drafts(None), address, datetime.now(UTC))
    if (key := address.said("draft")) is not None:
        return _visit(recording, key, address)
    if (session := address.said("signed")) is not None:
        return signed_page(address.code, session, address)
    view = recording.begin(address.code)
    if (old := address.said("corrects")) is not None:
        return correct_page(view, old, address)
    what = address.said("what")
    if what in TITLES:
        return form_page(what, view, address)
    shown = begin_page(view, recording.drafts(address.code), address)
    if what is None:
        return shown
    note = f"‘{what}’ is nothing that is entered here; the form to begin a visit is shown."
    return Shown(shown.title, shown.body, (note,))


def _visit(recording: RecordSources, key: str, address: Address) -> Shown:
    begin = href(Address(page="record", code=address.code, unit=address.unit))
    try:
        view = recording.view(key)
    except NotFoundError as error:
        gone = notices.notice(
            "No such visit is open",
            str(error),
            dcc.Link("Begin a visit of this line", href=begin),
            warn=True,
            whole_page=True,
        )
        return Shown("No such visit", [gone])
    if view.signed is not None:
        return signed_page(view.line, view.signed, address)
    return record_page(view, address)
