"""After the outage, below a plan: what became of a kept one, or what the chances of all signed plans were worth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dash import html

from dashboard.address import Address, href
from dashboard.components import light
from dashboard.components.downloads import table_links
from dashboard.pages.outages_address import OutagesAsked
from dashboard.plan_sources import PlanSources
from fleet import words
from fleet.reports import became_words as said
from fleet.reports.became_content import Became, BecameLine, BecameStop, Looked, ScoreContent
from fleet.reports.plan_content import PlanContent
from fleet.words import NBSP

MOST: Final = 60
"""So many lines are listed on the page; the table taken along has all."""
_HOW: Final = (
    "above / below / right of / left of target: cold offset minus cold target, right as seen from the gearbox toward "
    "the discharge end."
)


def section(sources: PlanSources, plan: PlanContent, base: OutagesAsked, address: Address) -> list[Any]:
    """Return what stands below a plan about stops that are past.

    Parameters
    ----------
    sources
        The planning services.
    plan
        The plan in view; a kept one is looked back on, else all that were signed off are.
    base
        What is asked with the plan's own pins.
    address
        The view, with the reader's unit.
    """
    del base
    if plan.kept is not None:
        return [became_part(sources.became(plan.kept.code), address)]
    return [score_part(sources.score(plan.site), plan, address)]


def became_part(looked: Became, address: Address) -> html.Section:
    """Return what became of one plan: stops, chances, line by line."""
    parts: list[Any] = [html.H2("What became of this plan"), html.P(said.lead(looked), className="lead")]
    if not looked.stops:
        return html.Section(parts, className="pb")
    parts.append(html.Div(_stops(looked.stops), className="sheet"))
    shown = [line for line in looked.lines if line.deed != "left_as_planned"]
    rows = [_became(line, address) for line in shown[:MOST]]
    counted = f"Line by line: {said.lines(len(looked.lines))}"
    parts.append(_opened(counted, looked.score, rows, len(looked.lines), address))
    return html.Section(parts, className="pb")


def score_part(score: ScoreContent, plan: PlanContent, address: Address) -> html.Section:
    """Return what the chances of all plans that were signed off were worth."""
    where = f" at {plan.site_names.get(plan.site, plan.site)}" if plan.site else ""
    parts: list[Any] = [html.H2(f"What stated chances were worth{where}")]
    if not score.plans:
        parts.append(
            html.P(
                f"{said.heading(score)} Sign a plan off: once its stops are past, its visits and its chances are set "
                "beside what was done and found.",
                className="dim",
            )
        )
        return html.Section(parts, className="pb")
    parts += [
        html.P(" ".join(said.score_sentences(score)), className="lead"),
        html.P(said.heading(score), className="dim"),
        _opened(
            said.by_line(score.lines), score, [_looked(look, address) for look in score.lines[:MOST]],
            len(score.lines), address,
        ),
    ]  # fmt: skip
    return html.Section(parts, className="pb")


def _stops(stops: Sequence[BecameStop]) -> Any:
    header = light.Tr([light.Th("Stop"), light.Th("Visits"), light.Th("Crew hours")])
    rows = [
        light.Tr(
            [
                light.Td([light.B(stop.code), light.Small(said.stop_dates(stop))]),
                light.Td(said.stop_deeds(stop)),
                light.Td(said.stop_hours(stop) or "–"),
            ]
        )
        for stop in stops
    ]
    return light.Table([light.Thead(header), light.Tbody(rows)], className="tbl pb-stops")


def _opened(title: str, score: ScoreContent, rows: list[Any], every: int, address: Address) -> html.Details:
    """Return the closed part: how many were found over of how many stated, by chance, then line by line."""
    parts: list[Any] = []
    if score.looked_at:
        parts += [
            html.Div(
                [_bands(score), table_links("plan-score", address, "the stated chances, by how high they were")],
                className="sheet",
            ),
            html.P(f"{said.brier(score)} {said.CAME_BACK}", className="note"),
        ]
    more = "" if len(rows) == every else f" {len(rows)} of {every} stand here; the table taken along has all."
    parts += [
        light.Ul(rows, className="pb-list"),
        html.P(
            [f"{said.STATED} {_HOW}{more} ", table_links("plan-became", address, "every line")],
            className="note",
        ),
    ]
    return html.Details([html.Summary(title), *parts], className="pb-more")


def _bands(score: ScoreContent) -> Any:
    header = light.Tr(
        [
            light.Th("Stated"),
            light.Th("Lines looked at", className="r"),
            light.Th("Expected over", className="r"),
            light.Th("Lines found over", className="r"),
        ]
    )
    rows = [
        light.Tr(
            [
                light.Td(said.band(one)),
                light.Td(str(one.looked_at), className="r num"),
                light.Td(said.expected(one.expected) if one.looked_at else "–", className="r num"),
                light.Td(str(one.found) if one.looked_at else "–", className="r num"),
            ]
        )
        for one in score.bands
    ]
    return light.Table([light.Thead(header), light.Tbody(rows)], className="tbl")


def _became(line: BecameLine, address: Address) -> Any:
    parts: list[Any] = [light.B(said.deed(line))]
    if line.planned is not None and line.deed != "as_planned":
        parts.append(f", planned into {line.planned}")
    elif line.done is not None and line.deed == "as_planned":
        parts.append(f" in {line.done}")
    if line.session is not None and line.on is not None:
        parts += [", ", _visit(line.session, words.day(line.on), address)]
    parts.append(".")
    if hours := said.hours(line):
        parts.append(f" {hours[:1].upper()}{hours[1:]}.")
    if line.stated is not None or line.found is not None:
        stated = "No chance stated" if line.stated is None else f"Stated {said.stated(line.stated)}"
        parts.append(f" {stated}; found {said.found(line.found, address.unit)}.")
    return _item(line.line, parts, address)


def _looked(look: Looked, address: Address) -> Any:
    return _item(
        look.line,
        [
            f"Stated {said.stated(look.stated)} before {look.stop}; found ",
            light.B(said.found(look.found, address.unit)) if look.found.over else said.found(look.found, address.unit),
            ", ",
            _visit(look.found.session, words.day(look.found.on), address),
            f", plan{NBSP}{look.plan}.",
        ],
        address,
    )


def _item(code: str, parts: list[Any], address: Address) -> Any:
    to = href(Address(page="line", code=code, unit=address.unit))
    return light.Li([light.Link(code, href=to, className="ln"), " ", light.Span(parts)])


def _visit(session: str, on: str, address: Address) -> Any:
    to = href(Address(page="session", code=session, unit=address.unit))
    return light.Link(on, href=to, title=f"everything recorded of {session}")
