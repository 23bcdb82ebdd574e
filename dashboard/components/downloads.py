"""The quiet line under every figure and table: take it along as it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from dash import html

from dashboard.address import Address, href
from dashboard.components.aria import aria


@dataclass(frozen=True, slots=True)
class Take:
    """What a figure needs to be taken along: its table, the view, and what a picture of it alone must say.

    Attributes
    ----------
    table : str
        Name of its numbers in `dashboard.tables.TABLES`.
    address : Address
        The view it belongs to.
    title : str
        What the picture shows, with its line, place, axis and unit: `ORR-07, station B, vertical: deviation, mm`.
    as_of : str
        The day of the data in words: `25 Nov 2026`.
    """

    table: str
    address: Address
    title: str
    as_of: str


def link(name: str, extension: str, address: Address) -> str:
    """Return the address of a table's file for a view."""
    return f"/download/{name}.{extension}?view={quote(href(address), safe='/')}"


def table_links(name: str, address: Address, what: str) -> html.Span:
    """Return CSV and XLSX of a table.

    Parameters
    ----------
    name
        Its name in `dashboard.tables.TABLES`.
    address
        The view it is shown in.
    what
        What is taken, for the hover and a screen reader: 'every selected line'.
    """
    return html.Span(
        [
            html.A(
                form,
                href=link(name, form.lower(), address),
                className="get",
                title=f"{what}, at full precision",
                **aria(label=f"{form}: {what}"),
            )
            for form in ("CSV", "XLSX")
        ],
        className="gets",
    )


def figure_links(chart: str, take: Take, caption: str) -> html.Div:
    """Return PNG, SVG and the numbers of a figure; pictures are drawn in the browser, in light colours.

    Parameters
    ----------
    chart
        The chart's id.
    take
        What it shows, and where its numbers are.
    caption
        The sentence that says in words what it shows; it stands below the picture.
    """
    data: dict[str, Any] = {
        "data-chart": chart,
        "data-title": take.title,
        "data-caption": f"{caption} As of {take.as_of}.",
        "data-name": f"{take.table} {take.title} {take.as_of}",
    }
    pictures: list[Any] = [
        html.Button(
            form,
            type="button",
            className="get",
            title=f"this figure as {form}",
            **aria(label=f"{form} of this figure: {take.title}"),
            **{"data-form": form.lower(), **data},
        )
        for form in ("PNG", "SVG")
    ]
    numbers = html.A(
        "numbers",
        href=link(take.table, "csv", take.address),
        className="get",
        title="the numbers of this figure as CSV, at full precision",
        **aria(label=f"numbers of this figure as CSV: {take.title}"),
    )
    return html.Div([html.Span("Take along", className="gets-what"), *pictures, numbers], className="gets under-chart")
