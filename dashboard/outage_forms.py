"""What a planner may do on the Outages page: change an outage or a line's figures. It writes once and says so."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, html, no_update, set_props

from dashboard.address import Address, parse
from dashboard.pages import outages_edit
from dashboard.pages.page import Shown
from dashboard.plan_sources import PlanSources
from dashboard.sources import Sources
from fleet.errors import FleetError
from fleet.services.planning.editing import EditingError
from fleet.services.planning.forms import NEW, OF_A_LINE

Render = Callable[[Sources, Address], Shown]


def stored(sources: PlanSources, what: str, typed: Mapping[str, str], by: str | None) -> tuple[bool, tuple[str, ...]]:
    """Store what was typed; return whether it was done, and what to say, a sentence each.

    Parameters
    ----------
    sources
        The planning services.
    what
        Code of an outage, 'new', or 'line:' and the code of a line.
    typed
        Texts by column.
    by
        Typed name of the person.
    """
    try:
        if what.startswith(OF_A_LINE) and not {"starts_at"} & set(typed):
            return True, sources.edit_line(what.removeprefix(OF_A_LINE), typed, by or "")
        whole = typed if what == NEW else {**typed, "outage": what}
        return True, sources.edit_outage(whole, by or "", what == NEW)
    except EditingError as error:
        return False, error.problems
    except FleetError as error:
        return False, (str(error),)


def add(app: Dash, sources: Sources, render: Render) -> None:
    """Add what the Outages page's form does to the application.

    Parameters
    ----------
    render
        Makes a page anew: after something was written the page is shown as it then is.
    """

    @app.callback(
        Output(outages_edit.SAID, "children"),
        Input(outages_edit.STORE, "n_clicks"),
        State(outages_edit.WHAT, "data"),
        State(outages_edit.typed(ALL), "value"),
        State(outages_edit.BY, "value"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def store(
        clicks: int | None, what: str, values: list[str | None], by: str | None, pathname: str, search: str
    ) -> Any:
        if not clicks:
            return no_update
        boxes = callback_context.states_list[1]
        typed = {box["id"]["column"]: value or "" for box, value in zip(boxes, values, strict=True)}
        done, sentences = stored(sources.plans, what, typed, by)
        if not done:
            return [html.P(sentence, className="refused") for sentence in sentences]
        shown = render(sources, parse(pathname, search))
        # What was stored is said beside the button, which is where the reader looks; the form is there again.
        set_props("content", {"children": shown.body})
        return [html.P(sentence, className="done") for sentence in sentences]
