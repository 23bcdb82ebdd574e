"""A form on the Outages page: an outage with its window and crew, or a line's figures for planning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import notices
from dashboard.pages.outages_address import OutagesAsked, write
from dashboard.plan_sources import PlanSources
from fleet.reports.plan_figures import crew_hours
from fleet.reports.plan_words import HOURS_FROM
from fleet.services.planning.editing import LINE_FIELDS, OUTAGE_FIELDS, STATES
from fleet.services.planning.forms import NEW, OF_A_LINE, Form, LineForm, NoForm, OutageForm

WHAT: Final = "outage-edit-what"
BY: Final = "outage-edit-by"
STORE: Final = "outage-edit-store"
SAID: Final = "outage-edit-said"
TYPED: Final = "outage-edit-typed"
_MOST_OFFERED: Final = 200
_MOST_ZONES: Final = 6


def typed(column: Any) -> dict[str, Any]:
    """Return the id of the box of a column, or of every box."""
    return {"type": TYPED, "column": column}


def opened(sources: PlanSources, site: str | None, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the form the address opens; nothing where it opens none.

    Parameters
    ----------
    sources
        The planning services.
    site
        A new outage is at this one unless something else is typed.
    shown, address
        As of `section`.
    """
    return section(sources.form(shown.edit, site), shown, address) if shown.edit else []


def section(form: Form, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the form that the address opens, or why there is none.

    Parameters
    ----------
    form
        What it begins with.
    shown
        The question the page shows, to close the form and stay with it.
    address
        The reader's unit.
    """
    close = dcc.Link("Close without storing", href=write(address, replace(shown, edit=None)), className="btn plain")
    if isinstance(form, NoForm):
        enter = dcc.Link("Enter a new outage", href=write(address, replace(shown, edit=NEW)), className="btn")
        return [notices.notice("Nothing to change", form.said, html.Div([enter, close], className="acts"), warn=True)]
    if isinstance(form, LineForm):
        title, store, what = f"What a visit to {form.line} takes", "Store the figures", f"{OF_A_LINE}{form.line}"
        boxes: list[Any] = _line_boxes(form)
    else:
        title = "A new outage" if form.code is None else f"Change outage {form.code}"
        store, what = "Store the outage", form.code or NEW
        boxes = _outage_boxes(form)
    return [
        html.Section(
            [
                html.H2(title, id="edit"),
                dcc.Store(id=WHAT, data=what),
                *boxes,
                html.Div(
                    [box("Your name", "Kept with the change as typed, not verified.", id=BY, autoComplete="name")],
                    className="flds",
                ),
                html.Div(
                    [
                        html.Button(store, id=STORE, className="btn main", type="button"),
                        close,
                        html.Div(id=SAID, className="form-said", role="alert"),
                    ],
                    className="acts",
                ),
            ],
            className="sheet pad lform ol-grid ol-edit noprint",
        )
    ]


def _outage_boxes(form: OutageForm) -> list[Any]:
    texts = form.texts
    code = [] if form.code is not None else [_field("outage", "", "Such as its site and the day it starts; it stays.")]
    return [
        html.Div(
            [
                *code,
                _field("kind", texts["kind"], "Where the plant says so, its kind has the screw out.", form.kinds),
                _field(
                    "site",
                    texts["site"],
                    "For all lines of a site. Site and line both empty: for every line.",
                    [site for site, _ in form.sites],
                ),
                _field("line", texts["line"], "For one line only; then leave the site empty.", form.lines),
            ],
            className="flds",
        ),
        html.P(_local(form), className="fact"),
        html.Div(
            [
                _field("starts_at", texts["starts_at"], "As 2026-12-19 06:00; a day alone begins it."),
                _field("ends_at", texts["ends_at"], "As 2026-12-23 18:00; a day alone counts to its end."),
            ],
            className="flds",
        ),
        html.Div(
            [
                _field(
                    "crew_hours", texts["crew_hours"], "For alignment, of all crews together. Empty: not limited.",
                    unit="h", mode="decimal",
                ),
                _field("crews", texts["crews"], "Side by side, so that a visit is done sooner. Empty: one.",
                       mode="numeric"),
                _field("state", texts["state"] or STATES[0],
                       "planned, done or cancelled; one that will not be is cancelled, nothing is deleted.", STATES),
            ],
            className="flds",
        ),
    ]  # fmt: skip


def _local(form: OutageForm) -> str:
    """Return in which zone times are typed, a sentence."""
    if form.zone is not None:
        return f"Times are local to the outage’s site, {form.zone}."
    zones = sorted({zone for _, zone in form.sites})
    if not zones:
        return "Times are in UTC."
    told = zones[0]
    if len(zones) > 1:
        told = ", ".join(f"{site} {zone}" for site, zone in form.sites[:_MOST_ZONES])
        told += " and others" if len(form.sites) > _MOST_ZONES else ""
    return f"Times are local to the site: {told}; UTC without a site."


def _line_boxes(form: LineForm) -> list[Any]:
    texts = form.texts
    falls_back = f"{crew_hours(form.hours)}, {HOURS_FROM[form.hours_from]}"
    holds = (
        f"The crew hours typed here hold in place of {falls_back}."
        if texts["visit_hours"]
        else f"No crew hours are typed, so {falls_back} hold; a figure typed here takes their place."
    )
    return [
        html.P(holds, className="fact"),
        html.Div(
            [
                _field("visit_hours", texts["visit_hours"], f"Of all crews together. Empty: {falls_back}.", unit="h",
                       mode="decimal"),
                _field("visit_cost_days", texts["visit_cost_days"], "A visit has to save more than that. Empty: 0.",
                       unit="days over the limit", mode="decimal"),
                _field("weight", texts["weight"], "How much a day over its limit counts; 1 is usual. Empty: 1.",
                       mode="decimal"),
            ],
            className="flds",
        ),
        html.Div(
            [
                _field("cool_down_h", texts["cool_down_h"], "From heats off until it can be opened. Empty: counted 0.",
                       unit="h", mode="decimal"),
                _field("screw_pull_h", texts["screw_pull_h"], "Not counted where the screw is out anyway. Empty: 0.",
                       unit="h", mode="decimal"),
                _field("heat_up_h", texts["heat_up_h"], "Until it is ready to run again. Empty: counted 0.", unit="h",
                       mode="decimal"),
            ],
            className="flds",
        ),
    ]  # fmt: skip


def _field(
    column: str, value: str, help_: str, offered: Sequence[str] = (), *, unit: str = "", mode: str = "text"
) -> html.Div:
    label = {**OUTAGE_FIELDS, **LINE_FIELDS}[column] + (f", {unit}" if unit else "")
    at_hand = offered if len(offered) <= _MOST_OFFERED else ()
    more: dict[str, Any] = {"list": f"outage-edit-{column}-known"} if at_hand else {}
    return box(label, help_, at_hand, id=typed(column), value=value, inputMode=mode, autoComplete="off", **more)


def box(label: str, help_: str, offered: Sequence[str] = (), **more: Any) -> html.Div:
    """Return a box with its label above and its help below; usual values stand in the browser's own list."""
    box: list[Any] = [label, dcc.Input(type="text", **more)]
    if offered:
        box.append(html.Datalist([html.Option(value=each) for each in offered], id=more["list"]))
    return html.Div([html.Label(box, className="fld"), html.Small(help_, className="dim")], className="ol-fld")
