"""What a plan is made from, on the Outages page: a new outage, and line by line what a visit takes, open to change."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import dcc, html

from dashboard.address import Address
from dashboard.components import light
from dashboard.components.aria import aria
from dashboard.pages.outages_address import OutagesAsked, write
from dashboard.pages.outages_groups import groups
from dashboard.plan_sources import PlanSources
from fleet.reports import plan_words as said
from fleet.reports.plan_content import PlanContent, PlanRow
from fleet.reports.plan_figures import days, hours, rounded
from fleet.services.planning.forms import NEW, OF_A_LINE


def below(_: PlanSources, plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the ways to change what the plan is made from: outages, and what a visit to each line takes.

    Parameters
    ----------
    plan
        The plan in view.
    shown
        The question it was worked out from.
    address
        The reader's unit.
    """
    if plan.kept is not None:
        return []  # a kept plan stands as it was made, whatever is typed now
    rows = sorted((row for group in groups(plan, shown) for row in group.rows), key=lambda row: row.line)
    enter = dcc.Link("Enter an outage", href=write(address, replace(shown, edit=NEW)), className="btn")
    return [
        html.Section(
            [
                html.H2("What the plan is made from", id="figures"),
                html.P(
                    "An outage is changed by its code above. What is typed for a line takes the place of what past "
                    "visits say.",
                    className="dim",
                ),
                html.Div(enter, className="wi-ask"),
                html.Details(
                    [
                        html.Summary("What a visit takes, line by line"),
                        _table(rows, shown, address),
                        _list(rows, shown, address),
                    ],
                    className="astable",
                ),
            ],
            className="sheet pad noprint ol-figures",
            style={"marginTop": "24px"},
        )
    ]


def _table(rows: list[PlanRow], shown: OutagesAsked, address: Address) -> Any:
    heads = (
        "Line", "Crew hours", "which are", "Cool-down", "Screw pull", "Heat-up", "Weight of a day over",
        "Cost of a visit", "Change",
    )  # fmt: skip
    body = [
        light.Tr(
            [
                light.Td(light.B(row.line)),
                light.Td(said.crew_hours(row.visit_hours), className="num"),
                light.Td(said.hours_from(row)),
                *(light.Td(_hours(value), className="num") for value in (row.cool_down_h, row.screw_pull_h)),
                light.Td(_hours(row.heat_up_h), className="num"),
                light.Td(rounded(row.weight, 2), className="num"),
                light.Td(f"{days(row.visit_cost_days)} over", className="num"),
                light.Td(_change(row, shown, address)),
            ]
        )
        for row in rows
    ]
    return light.Table(
        [light.Thead(light.Tr([light.Th(head) for head in heads])), light.Tbody(body)],
        className="tbl wide-only wi-tbl",
        **aria(label="What a visit takes, line by line"),
    )


def _list(rows: list[PlanRow], shown: OutagesAsked, address: Address) -> Any:
    entries = [
        light.Li(
            [
                light.B(row.line),
                f" {said.crew_hours(row.visit_hours)}, {said.hours_from(row)} ",
                _change(row, shown, address),
                light.Small(
                    f"cool-down {_hours(row.cool_down_h)} · pull {_hours(row.screw_pull_h)} · heat-up "
                    f"{_hours(row.heat_up_h)} · weight {rounded(row.weight, 2)} · a visit costs "
                    f"{days(row.visit_cost_days)} over"
                ),
            ]
        )
        for row in rows
    ]
    return light.Ul(entries, className="narrow-only ivp flat wi-tbl")


def _hours(value: float | None) -> str:
    return "not recorded" if value is None else hours(value)


def _change(row: PlanRow, shown: OutagesAsked, address: Address) -> Any:
    to = write(address, replace(shown, edit=f"{OF_A_LINE}{row.line}"))
    return light.Link(["change", light.Span(f" what a visit to {row.line} takes", className="vh")], href=to,
                      className="pl-act")  # fmt: skip
