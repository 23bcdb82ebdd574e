"""What a page answers once a form was sent: why nothing was done, beside the form, or the page as it then is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dash import html, no_update, set_props

from dashboard.address import Address
from dashboard.pages.page import Shown
from dashboard.sources import Sources

Render = Callable[[Sources, Address], Shown]


def answered(render: Render, sources: Sources, address: Address, done: bool, said: str, *more: Any) -> Any:
    """Answer a form from within its callback.

    Parameters
    ----------
    render, sources, address
        Make the page anew: after something was written it is shown as it then is.
    done, said
        Whether it was done, and what to say.
    more
        What follows that sentence where it was done.

    Returns
    -------
    Any
        What the place beside the form shows.
    """
    if not done:
        return html.Span(said, className="refused")
    shown = render(sources, address)
    set_props("content", {"children": [html.P([said, *more], className="done", role="status"), *shown.body]})
    return no_update
