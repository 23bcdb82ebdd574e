"""On the Line page: where its next visit is planned, and by which plan."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address
from dashboard.pages.outages_address import read, write
from fleet import words
from fleet.services.line_page import LineView


def visit(view: LineView, address: Address) -> list[Any]:
    """Return the line's planned visit with the plan that has it; nothing where none is signed off.

    Parameters
    ----------
    view
        The line.
    address
        The reader's unit.
    """
    planned = view.planned
    if planned is None:
        return []
    outages = Address(page="outages", unit=address.unit)
    plan = write(outages, replace(read(outages)[0], plan=planned.plan))
    kind = f" ({planned.kind})" if planned.kind else ""
    return [
        html.P(
            [
                "Next visit planned into ",
                html.B(planned.outage),
                f"{kind}, {words.day(planned.starts_at)}, by ",
                dcc.Link(planned.plan, href=plan),
                f", signed off by {planned.signed_by}, {words.day(planned.signed_at)}.",
            ],
            className="note remark",
        )
    ]
