"""What stands around every page: the document, the bar with its navigation, the place the page is shown in."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, Page, href
from dashboard.components.aria import aria
from dashboard.pages.chooser import NAMES, OF_A_LINE
from fleet.words import READER_UNITS

PAGES: Final[tuple[Page, ...]] = (
    "fleet",
    "line",
    "job-sheet",
    "record",
    "outages",
    "compare",
    "cold-offsets",
    "records",
)

_ICON: Final = (
    "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 30 30'%3E"
    "%3Crect width='30' height='30' fill='%23fff'/%3E"
    "%3Cpath d='M12 15h7M21.5 15h2M26 15h4' stroke='%23171a24' stroke-width='2'/%3E"
    "%3Ccircle cx='6' cy='15' r='5' fill='%23171a24'/%3E%3C/svg%3E"
)
INDEX: Final = f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
{{%metas%}}
<title>{{%title%}}</title>
<link rel="icon" href="{_ICON}">
{{%css%}}
</head>
<body>
<noscript><p class="say warn notice">These pages need JavaScript; the printed job sheet does not.</p></noscript>
{{%app_entry%}}
{{%config%}}
{{%scripts%}}
{{%renderer%}}
</body>
</html>
"""


def layout() -> html.Div:
    """Return the shell; the one location component lives here and nowhere else."""
    return html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            html.A("Skip to the page", href="#content", className="skip"),
            html.Header(id="bar", className="bar"),
            html.Main(html.P("Reading the record …", className="dim"), id="content", className="page", tabIndex="-1"),
            dcc.Store(id="window-title"),
            html.Div(id="window-titled", hidden=True),
        ]
    )


def bar(address: Address) -> list[Any]:
    """Return the bar of a page: the word, the pages that work, the unit."""
    return [
        dcc.Link([html.I(className="wordmark"), "Asleft"], href=href(Address(unit=address.unit)), className="word"),
        html.Nav(_links(address), **aria(label="Pages")),
        html.Div(
            [
                _units(address),
                html.Details(
                    [
                        html.Summary("Menu", className="btn menu"),
                        html.Nav(_links(address), className="menu-list", **aria(label="Pages, menu")),
                    ],
                    className="pop menu-pop",
                ),
            ],
            className="end",
        ),
    ]


def _links(address: Address) -> list[Any]:
    links: list[Any] = []
    for page in PAGES:
        code = address.code if {page, address.page} <= set(OF_A_LINE) else None
        to = Address(page=page, code=code, unit=address.unit, station=address.station, axis=address.axis)
        if page == address.page:
            links.append(html.A(NAMES[page], href=href(to), **aria(current="page")))
        else:
            links.append(dcc.Link(NAMES[page], href=href(to)))
    return links


def _units(address: Address) -> html.Span:
    choices: list[Any] = []
    for unit in READER_UNITS:
        if unit == address.unit:
            choices.append(html.Span(unit, className="on", **aria(current="true")))
        else:
            choices.append(dcc.Link(unit, href=href(replace(address, unit=unit)), title=f"show {unit}"))
    return html.Span(choices, className="pick stay", role="group", **aria(label="Unit"))
