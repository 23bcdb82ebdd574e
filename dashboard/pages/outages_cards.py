"""The plan on a phone: a list for each stop with the lines that go into it, and for each line where else it can go."""

from __future__ import annotations

from typing import Any

from dashboard.address import Address, href
from dashboard.components import light, marks
from dashboard.components.light import Element
from dashboard.pages.outages_address import OutagesAsked, pinned, released, write
from dashboard.pages.outages_groups import Group, groups
from dashboard.pages.outages_table import acts, more, reasons, stop_words
from fleet import words
from fleet.reports import plan_words as said
from fleet.reports.plan_content import Choice, PlanContent, PlanRow, Stop


def cards(plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the plan as lists by stop, one group a site.

    Parameters
    ----------
    plan
        The plan in view.
    shown
        The question that a pin is added to: a kept plan's with its own pins.
    address
        The reader's unit.
    """
    found: list[Any] = []
    for group in groups(plan, shown):
        if group.name:
            found.append(light.H2(group.name, className="pl-site"))
        found += _stops(plan, group, shown, address)
    return [light.Div(found, className="pl-phone stay")]


def _stops(plan: PlanContent, group: Group, shown: OutagesAsked, address: Address) -> list[Element]:
    found = []
    for number in group.stops:
        stop = plan.stops[number]
        rows = [row for row in group.rows if row.chosen == stop.code]
        entries: list[Any] = [_card(plan, row, (stop, row.choices[number]), shown, address) for row in rows]
        if not entries:
            of_site = sum(row.chosen == stop.code and row.site == group.site for row in plan.rows)
            entries = [
                light.Li("Its visits stand on another page." if of_site else "No visit planned.", className="dim")
            ]
        head = light.Header(stop_words(stop, shown, address), className="pl-head")
        found.append(light.Section([head, light.Ul(entries)], className="pl-list"))
    rest = [row for row in group.rows if row.chosen is None]
    if rest:
        head = light.Header(light.H3("No visit planned"), className="pl-head")
        entries = [_card(plan, row, None, shown, address) for row in rest]
        found.append(light.Section([head, light.Ul(entries)], className="pl-list"))
    return found


def _card(
    plan: PlanContent, row: PlanRow, visit: tuple[Stop, Choice] | None, shown: OutagesAsked, address: Address
) -> Element:
    line = href(Address(page="line", code=row.line, unit=address.unit, station=row.station, axis=row.axis))
    first: list[Any] = [
        light.Link(row.line, href=line, className="ln"),
        light.Span(row.status, className=f"st {marks.status_class(row.status)}"),
    ]
    risk = said.risk(row, plan)
    told: list[Any] = [f"{risk[:1].upper()}{risk[1:]}."]
    if visit is not None:
        first.append(light.Span(said.crew_hours(row.visit_hours), className="pl-hours"))
        told = [_before(row, plan), *([] if row.chance_before is None else [f" {risk}."])]
    why = "; ".join(reasons(plan, row))
    parts: list[Any] = [
        light.Div(first, className="pl-l1"),
        light.P(told, className="dim"),
        light.P([*_hand(row), f"{why[:1].upper()}{why[1:]}."], className="dim pl-whyp"),
    ]
    if visit is not None:
        stop, choice = visit
        fits = said.fits(choice, stop)
        parts.append(light.Small(f"{fits[:1].upper()}{fits[1:]}: {said.window(row, stop)}", className="pl-fits"))
    return light.Li([*parts, more(row, shown, address), _move(plan, row, shown, address)])


def _hand(row: PlanRow) -> list[Any]:
    if row.pin == "into":
        return [light.I(className="pinm"), " "]
    return []


def _before(row: PlanRow, plan: PlanContent) -> Element:
    if row.chance_before is None:
        return light.Span("No chance can be given.")
    strong = "hot" if row.chance_before > plan.cap else ""
    return light.Span([light.B(words.chance(row.chance_before), className=strong), " over before its visit;"])


def _move(plan: PlanContent, row: PlanRow, shown: OutagesAsked, address: Address) -> Element:
    """Return where a line can go, as links; what is closed to it says why.

    One element an entry, because with many lines and stops these are most of what the page holds.
    """
    entries: list[Any] = []
    for stop, choice in zip(plan.stops, row.choices, strict=True):
        if choice.closed == "serves_others":
            continue
        when = f"{stop.code}, {said.stop_dates(stop)}"
        if stop.code == row.chosen:
            entries.append(light.Div([f"{when}: it goes here", *_acts(row, stop, shown, address)]))
        elif choice.closed == "open":
            risk = "" if choice.chance_before is None else f": {words.chance(choice.chance_before)} before it"
            to = write(address, pinned(shown, row.line, stop.code))
            entries.append(light.Link(f"{when}{risk}", href=to, title=f"pin {row.line} into {stop.code}"))
        elif choice.closed == "pinned_out":
            back = light.Link(
                "let it in", href=write(address, released(shown, row.line, stop.code)), className="pl-act"
            )
            entries.append(light.Div([f"{when}: kept out by hand", light.Span(back, className="pl-acts")]))
        else:
            entries.append(light.Div(f"{when}. {said.closed(choice, row, stop)}"))
    if not entries:
        return light.P("No stop ahead serves it.", className="note")
    return light.Details(
        [
            light.Summary(["Move", light.Span(f" {row.line}", className="vh")]),
            light.Div(entries, className="pl-moves"),
        ],
        className="pl-move",
    )


def _acts(row: PlanRow, stop: Stop, shown: OutagesAsked, address: Address) -> list[Element]:
    return [light.Span(acts(row, stop, shown, address), className="pl-acts")]
