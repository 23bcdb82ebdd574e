"""What a page is to the shell: its title for the window and its body."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dash import html


@dataclass(frozen=True, slots=True)
class Shown:
    """A page ready to be shown: the window's title, the children of its main region, and what it has to own up to."""

    title: str
    body: list[Any]
    notes: tuple[str, ...] = ()


def head(title: Any, lead: Any, *, crumb: Any = None, acts: list[Any] | None = None) -> list[Any]:
    """Return the head of a page: a crumb, the question, the sentence that answers it, and what can be done here."""
    parts: list[Any] = [html.Div(crumb, className="crumb")] if crumb else []
    left: list[Any] = [html.H1(title)]
    if lead:
        left.append(html.P(lead, className="lead"))
    parts.append(html.Div([html.Div(left), *([html.Div(acts, className="hacts")] if acts else [])], className="head"))
    return parts
