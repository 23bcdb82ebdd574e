"""The cautions of a running check: the line is live and hot, so they are not those of a visit with energy off."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components.aria import aria
from fleet.reports import cautions as texts

HEADING: Final = "Before a running check"
CAUTIONS: Final[tuple[tuple[str, str], ...]] = (
    ("The line is live and hot;", "guards stay on."),
    (
        "Fix indicators before start-up",
        "and read them from outside; never reach over the barrel or the coupling.",
    ),
    ("No beam in the bore", "while the line runs."),
    ("Heaters live with the screw out", "only under the plant’s own procedure for that."),
)
LAST: Final = texts.LAST.replace("This sheet", "This page")
"""The last caution of a visit holds here too; bold, on a line of its own."""


def panels() -> list[html.Section | html.Details]:
    """Return both forms, in full for the desk and folded for the phone; the style sheet shows the one that fits."""
    entries = [html.Li([html.B(lead), f" {rest}"]) for lead, rest in CAUTIONS]
    full: list[Any] = [html.H3(HEADING, className="say-head"), html.Ul(entries), html.P(html.B(LAST))]
    more = html.Span(
        [html.B("Read all five cautions"), html.I(className="chev", **aria(hidden="true"))], className="more"
    )
    lead, rest = CAUTIONS[0]
    tap: list[Any] = [
        html.Summary([html.Span([html.B(lead), f" {rest}"], className="c0"), more]),
        html.Ul([html.Li([html.B(lead), f" {rest}"]) for lead, rest in CAUTIONS[1:]]),
        html.P(html.B(LAST)),
    ]
    return [
        html.Section(full, className="say caut full", **aria(label="Cautions of a running check")),
        html.Details(tap, className="say caut tap"),
    ]
