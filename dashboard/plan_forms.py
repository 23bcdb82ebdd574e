"""What a planner may do with a plan: save it, sign it off, reopen it. Each writes once and says so."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from dash import Dash, Input, Output, State, dcc, no_update

from dashboard.address import Address, parse
from dashboard.answering import Render, answered
from dashboard.pages import outages_kept as kept
from dashboard.pages.outages_address import OutagesAsked, read, write
from dashboard.plan_sources import PlanSources
from dashboard.sources import Sources
from fleet.errors import FleetError


def saved(
    sources: PlanSources, address: Address, seen: Mapping[str, Any], by: str | None, code: str | None, note: str | None
) -> tuple[bool, str, str]:
    """Save the plan an address asks for; return whether it was done, what to say, and its code.

    Parameters
    ----------
    sources
        The planning services.
    address
        What is asked, pins included.
    seen
        `version` of the facts the person looked at, and `saved`: versions of the saved plans by code.
    by, code, note
        As typed; the code of a saved plan puts this one in its place.
    """
    if address.page != "outages":
        return False, "Open the outages page and save the plan there.", ""
    asked, _ = read(address)
    name = (code or "").strip()
    stands = seen["saved"].get(name)
    over = None if stands is None else (name, int(stands))
    try:
        done = sources.keep(asked.asked, by or "", note or "", None if over else name, over, int(seen["version"]))
    except FleetError as error:
        return False, str(error), ""
    return True, done.said, done.code


def signed(sources: PlanSources, seen: Mapping[str, Any], by: str | None) -> tuple[bool, str]:
    """Sign off the plan in view; return whether it was done, and what to say."""
    try:
        return True, sources.sign_off(str(seen["code"]), by or "", int(seen["version"]))
    except FleetError as error:
        return False, str(error)


def reopened(sources: PlanSources, seen: Mapping[str, Any], by: str | None, why: str | None) -> tuple[bool, str]:
    """Reopen the plan in view; return whether it was done, and what to say."""
    try:
        return True, sources.reopen(str(seen["code"]), by or "", why or "", int(seen["version"]))
    except FleetError as error:
        return False, str(error)


def add(app: Dash, sources: Sources, render: Render) -> None:
    """Add what the forms of kept plans do to the application.

    Parameters
    ----------
    render
        Makes a page anew: after something was written the page is shown as it then is.
    """

    answer = partial(answered, render, sources)

    @app.callback(
        Output(kept.KEEP_SAID, "children"),
        Input(kept.KEEP, "n_clicks"),
        State(kept.KEEP_SEEN, "data"),
        State(kept.KEEP_BY, "value"),
        State(kept.KEEP_CODE, "value"),
        State(kept.KEEP_NOTE, "value"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def keep(
        clicks: int | None, seen: Mapping[str, Any], by: str | None, code: str | None, note: str | None, pathname: str,
        search: str,
    ) -> Any:  # fmt: skip
        if not clicks:
            return no_update
        address = parse(pathname, search)
        done, said, name = saved(sources.plans, address, seen, by, code, note)
        to = write(address, OutagesAsked(plan=name))
        return answer(address, done, said, " ", dcc.Link("Open it, to sign it off or hand it over", href=to), ".")

    @app.callback(
        Output(kept.SIGN_SAID, "children"),
        Input(kept.SIGN, "n_clicks"),
        State(kept.SIGN_SEEN, "data"),
        State(kept.SIGN_BY, "value"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def sign(clicks: int | None, seen: Mapping[str, Any], by: str | None, pathname: str, search: str) -> Any:
        if not clicks:
            return no_update
        return answer(parse(pathname, search), *signed(sources.plans, seen, by))

    @app.callback(
        Output(kept.REOPEN_SAID, "children"),
        Input(kept.REOPEN, "n_clicks"),
        State(kept.REOPEN_SEEN, "data"),
        State(kept.REOPEN_BY, "value"),
        State(kept.REOPEN_WHY, "value"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def reopen(
        clicks: int | None, seen: Mapping[str, Any], by: str | None, why: str | None, pathname: str, search: str
    ) -> Any:
        if not clicks:
            return no_update
        return answer(parse(pathname, search), *reopened(sources.plans, seen, by, why))
