"""What a planner types on the Outages page: an outage, a line's figures, a question of one's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, callback_context, html, no_update, set_props

from dashboard.address import parse
from dashboard.answering import Render
from dashboard.pages import outages_edit, outages_what_if
from dashboard.pages.outages_address import read, write
from dashboard.plan_sources import PlanSources
from dashboard.sources import Sources
from fleet.errors import FleetError
from fleet.services.planning.editing import EditingError
from fleet.services.planning.forms import NEW, OF_A_LINE


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


def asked(base: str, typed: Mapping[str, str]) -> str:
    """Return the query of the address that asks what was typed.

    Parameters
    ----------
    base
        Address of the plan it is asked beside.
    typed
        Texts by box.

    Raises
    ------
    InputError
        It cannot be asked.
    """
    path, _, search = base.partition("?")
    address = parse(path, search)
    question = outages_what_if.asked_of(typed, address.unit)
    to = write(address, replace(read(address)[0], what_if=question))
    return f"?{to.partition('?')[2]}"


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

    @app.callback(
        Output(outages_what_if.SAID, "children"),
        Input(outages_what_if.ASK, "n_clicks"),
        State(outages_what_if.BASE, "data"),
        State(outages_what_if.typed(ALL), "value"),
        prevent_initial_call=True,
    )
    def ask(clicks: int | None, base: str, values: list[str | None]) -> Any:
        if not clicks:
            return no_update
        boxes = callback_context.states_list[1]
        texts = {box["id"]["name"]: value or "" for box, value in zip(boxes, values, strict=True)}
        try:
            set_props("url", {"search": asked(base, texts)})
        except FleetError as error:
            return html.Span(str(error), className="refused")
        return ""
