"""The nine cautions: in full at the desk, folded to the first one on the phone."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components.aria import aria
from fleet.reports import cautions as texts
from fleet.words import ReaderUnit


def _entry(lead: str, rest: str) -> list[Any]:
    return [html.B(lead), f" {rest}"]


def panels(length_growth_mm: float | None, unit: ReaderUnit) -> list[html.Section | html.Details]:
    """Return both forms; the style sheet shows the one that fits the screen."""
    first, *others = texts.cautions(length_growth_mm, unit)
    last = html.P(html.B(texts.LAST))
    full = html.Section(
        [
            html.H2(texts.HEADING, className="say-head"),
            html.Ul([html.Li(_entry(*entry)) for entry in (first, *others)]),
            last,
        ],
        className="say caut full",
        **aria(label="Cautions"),
    )
    tap = html.Details(
        [
            html.Summary(
                [
                    html.Span(_entry(*first), className="c0"),
                    html.Span(
                        [html.B(texts.OPEN_WORDS), html.I(className="chev", **aria(hidden="true"))],
                        className="more",
                    ),
                ]
            ),
            html.Ul([html.Li(_entry(*entry)) for entry in others]),
            last,
        ],
        className="say caut tap",
    )
    return [full, tap]
