"""What a reader may do on the Line page: decide on a change of drift, set a limit. Each writes once and says so."""

from __future__ import annotations

from functools import partial
from typing import Any

from dash import MATCH, Dash, Input, Output, State, callback_context, no_update

from dashboard.address import Address, parse
from dashboard.answering import Render, answered
from dashboard.pages import line_limit, line_regime
from dashboard.sources import Sources
from fleet.errors import FleetError
from fleet.services.limits import LimitAsked
from fleet.services.line_regime import Decision


def decided(
    sources: Sources, address: Address, handle: str, decision: Decision, why: str | None, by: str | None
) -> tuple[bool, str]:
    """Decide on a proposed change; return whether it was done, and what to say."""
    if address.page != "line" or address.code is None:
        return False, "Open the line's page and decide there."
    try:
        return True, sources.decide(address.code, handle, decision, by or "", why or "")
    except FleetError as error:
        return False, str(error)


def limited(sources: Sources, address: Address, typed: dict[str, str | None]) -> tuple[bool, str]:
    """Set a limit from what was typed, by the ids of the form; return whether it was done, and what to say."""
    if address.page != "line" or address.code is None:
        return False, "Open the line's page and set its limit there."
    axis = (typed.get(line_limit.AXIS) or "").strip()
    axes = line_limit.AXES_TYPED.get(axis.lower())
    if axes is None:
        return False, f"‘{axis}’ is not an axis; write vertical, horizontal or both."
    asked = LimitAsked(
        station=(typed.get(line_limit.WHERE) or "").strip() or None,
        axes=axes,
        limit=typed.get(line_limit.LIMIT) or "",
        watch=typed.get(line_limit.WATCH) or "",
        set_within=typed.get(line_limit.WITHIN) or "",
        unit=address.unit,
        from_on=typed.get(line_limit.FROM) or "",
        basis=typed.get(line_limit.BASIS) or "",
        by=typed.get(line_limit.BY) or "",
    )
    try:
        return True, sources.set_limit(address.code, asked)
    except FleetError as error:
        return False, str(error)


def add(app: Dash, sources: Sources, render: Render) -> None:
    """Add what the Line page's forms do to the application.

    Parameters
    ----------
    render
        Makes a page anew: after something was written the page is shown as it then is.
    """

    answer = partial(answered, render, sources)

    @app.callback(
        Output(line_regime.part(line_regime.SAID, MATCH), "children"),  # type: ignore[arg-type]
        Input(line_regime.part(line_regime.ACCEPT, MATCH), "n_clicks"),  # type: ignore[arg-type]
        Input(line_regime.part(line_regime.REFUSE, MATCH), "n_clicks"),  # type: ignore[arg-type]
        State(line_regime.part(line_regime.WHY, MATCH), "value"),  # type: ignore[arg-type]
        State(line_regime.part(line_regime.BY, MATCH), "value"),  # type: ignore[arg-type]
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def decide(
        accepted: int | None, refused: int | None, why: str | None, by: str | None, pathname: str, search: str
    ) -> Any:
        pressed = callback_context.triggered_id
        if not (accepted or refused) or not pressed:
            return no_update
        decision: Decision = "accept" if pressed["type"] == line_regime.ACCEPT else "refuse"
        address = parse(pathname, search)
        return answer(address, *decided(sources, address, pressed["handle"], decision, why, by))

    names = (
        line_limit.WHERE, line_limit.AXIS, line_limit.LIMIT, line_limit.WATCH, line_limit.WITHIN, line_limit.FROM,
        line_limit.BASIS, line_limit.BY,
    )  # fmt: skip

    @app.callback(
        Output(line_limit.SAID, "children"),
        Input(line_limit.SET, "n_clicks"),
        *(State(name, "value") for name in names),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def limit(clicks: int | None, *told: Any) -> Any:
        if not clicks:
            return no_update
        *typed, pathname, search = told
        address = parse(pathname, search)
        return answer(address, *limited(sources, address, dict(zip(names, typed, strict=True))))

    @app.callback(
        Output(line_limit.LIMIT, "value"),
        Output(line_limit.BASIS, "value"),
        Input(line_limit.SHARE, "value"),
        State("url", "pathname"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def work_out(share: str | None, pathname: str, search: str) -> Any:
        address = parse(pathname, search)
        if not share or address.page != "line" or address.code is None:
            return no_update, no_update
        limits = sources.line(address.code, None, None, None, None).limits
        width, grounds = line_limit.worked_out(share, limits.screw_diameter_mm if limits else None, address.unit)
        return (width, grounds) if width else (no_update, no_update)
