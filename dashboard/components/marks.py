"""Status marks and the pieces of a figure's key; drawn by the style sheet, each beside its word."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.components.aria import aria
from fleet.values import Status

_CLASSES: Final[dict[Status, str]] = {
    "over": "over",
    "due": "due",
    "watch": "watch",
    "within": "within",
    "no record": "none",
}


def status_class(status: Status) -> str:
    """Return the class a status carries in the style sheet."""
    return _CLASSES[status]


def status(value: Status) -> html.Span:
    """Return a status as its word with its shape before it."""
    return html.Span(value, className=f"st {_CLASSES[value]}")


def key(*entries: tuple[str, Any]) -> html.Div:
    """Return a figure's key: pairs of a mark's class and its words."""
    return html.Div(
        [html.Span([html.I(className=f"km {mark}", **aria(hidden="true")), text]) for mark, text in entries],
        className="key",
    )
