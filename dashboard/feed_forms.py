"""What a planner may do with calendar feeds: make one, whose address is shown once, and end one."""

from __future__ import annotations

import os
from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, html, no_update
from flask import request

from dashboard.hand_over_sources import HandOverSources
from dashboard.pages import outages_hand_over as page
from dashboard.sources import Sources
from fleet.errors import FleetError
from fleet.reports.labels import SET_BASE_URL
from fleet.services.job_sheet import BASE_URL

_ELSEWHERE = SET_BASE_URL.partition(": ")[2].replace("phones at the machines reach it", "calendars elsewhere reach it")
NOTE = f"This address is as your browser reaches Asleft. {_ELSEWHERE[:1].upper()}{_ELSEWHERE[1:]}".replace(
    "print again", "make another"
)
"""What to set where nobody said how Asleft is reached."""


def make(
    sources: HandOverSources, name: str | None, site: str | None, by: str | None, here: str
) -> tuple[bool, list[Any]]:
    """Make a feed; return whether it was done, and what to show: its address, this once, or why not.

    Parameters
    ----------
    sources
        The services.
    name, site, by
        As typed; the site of the plan in view, None for all.
    here
        Where the browser reaches this server, for where nobody set how others do.
    """
    try:
        feed = sources.make_feed(name or "", site, by or "")
    except FleetError as error:
        return False, [html.Span(str(error), className="refused")]
    base = os.environ.get(BASE_URL)
    return True, page.made(f"{(base or here).rstrip('/')}{feed.path}", feed.said, None if base else NOTE)


def end(sources: HandOverSources, number: int, by: str | None) -> tuple[bool, list[Any]]:
    """End a feed; return whether it was done, and what to say."""
    try:
        return True, [html.P(sources.end_feed(number, by or ""), className="done", role="status")]
    except FleetError as error:
        return False, [html.Span(str(error), className="refused")]


def add(app: Dash, sources: Sources) -> None:
    """Add what the feeds' form does to the application."""
    own = sources.plans.hand_over

    @app.callback(
        Output(page.SAID, "children"),
        Output(page.LISTED, "children"),
        Input(page.MAKE, "n_clicks"),
        Input(page.part(page.END, ALL), "n_clicks"),
        State(page.NAME, "value"),
        State(page.SITE, "data"),
        State(page.BY, "value"),
        prevent_initial_call=True,
    )
    def change(
        clicks: int | None, ends: list[int | None], name: str | None, site: str | None, by: str | None
    ) -> tuple[Any, Any]:
        pressed = callback_context.triggered_id
        if pressed == page.MAKE and clicks:
            done, shown = make(own, name, site, by, request.url_root)
        elif isinstance(pressed, dict) and any(ends):
            done, shown = end(own, int(pressed["number"]), by)
        else:
            return no_update, no_update
        # The list is laid out anew only after it changed, so that a refusal leaves what was typed as it is.
        return shown, page.listed(own.feeds()) if done else no_update
