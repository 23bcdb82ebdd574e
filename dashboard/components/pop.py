"""A choice that writes the address: a list of links that opens under its label, without a script of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard.components.aria import aria


def choice(
    label: str, current: str, options: Sequence[tuple[str, str]], *, stay: bool = False, class_name: str = ""
) -> html.Details:
    """Return a choice as a labelled list of links.

    Parameters
    ----------
    label
        What is chosen ('Site'); empty where the current value says it.
    current
        The value chosen now, as it is shown.
    options
        Words and address of each value.
    stay
        Keep the page where it is scrolled to when one is chosen.
    """
    shown: list[Any] = [html.I(label), " ", current] if label else [current]
    entries = [
        html.Li(
            html.Span(text, **aria(current="true")) if text == current else dcc.Link(text, href=to),
        )
        for text, to in options
    ]
    return html.Details(
        [html.Summary(shown, className="sel"), html.Ul(entries, className="pop-list")],
        className=f"pop{' stay' if stay else ''} {class_name}".strip(),
    )
