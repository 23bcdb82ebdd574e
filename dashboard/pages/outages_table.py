"""The plan as a table at the desk: lines by stops, the visit where it goes, what else is open and what is not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dashboard.address import Address, href
from dashboard.components import light, marks
from dashboard.components.aria import aria
from dashboard.components.light import Element
from dashboard.pages.outages_address import OutagesAsked, kept_out, pinned, released, write
from dashboard.pages.outages_groups import Group, groups, stop_of
from fleet import words
from fleet.reports import plan_words as said
from fleet.reports.plan_content import Choice, PlanContent, PlanRow, Stop, after_skipping
from fleet.reports.sheet_words import span
from fleet.services.planning.forms import OF_A_LINE
from fleet.words import NBSP

_WIDTHS: Final = ("114px", "92px")
_STOP_WIDTH: Final = "15.4%"


def table(plan: PlanContent, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return the plan as one table a site.

    Parameters
    ----------
    plan
        The plan in view.
    shown
        The question that a pin is added to: a kept plan's with its own pins.
    address
        The reader's unit.
    """
    return [_sheet(plan, group, shown, address) for group in groups(plan, shown)]


def _sheet(plan: PlanContent, group: Group, shown: OutagesAsked, address: Address) -> Element:
    stops = [plan.stops[number] for number in group.shown]
    header = light.Tr(
        [
            light.Th("Status"),
            light.Th("Line"),
            *(_stop_head(stop, shown, address) for stop in stops),
            *([] if stops else [light.Th(f"Over before the plan’s end, {words.month(plan.end_on)}")]),
            light.Th("Window needed, and why"),
        ]
    )
    widths = [*_WIDTHS, *[_STOP_WIDTH] * max(len(stops), 1), "auto"]
    body = light.Table(
        [
            light.Colgroup([light.Col(style={"width": width}) for width in widths]),
            light.Thead(header),
            light.Tbody([_row(plan, row, group, shown, address) for row in group.rows]),
        ],
        className="tbl plan",
        **aria(label=f"The plan{f' of {group.name}' if group.name else ''}: lines by stops"),
    )
    parts: list[Any] = [light.H2(group.name, className="pl-site")] if group.name else []
    parts += [_stop_pages(group, shown, address)] if group.pages > 1 else []
    return light.Section([*parts, light.Div(body, className="sheet")], className="pl-desk stay")


def _stop_pages(group: Group, shown: OutagesAsked, address: Address) -> Element:
    first = group.stops.index(group.shown[0]) + 1
    last = group.stops.index(group.shown[-1]) + 1
    parts: list[Any] = [light.Span(f"Stops {first}–{last} of {len(group.stops)}")]
    for number, text in ((group.page - 1, "Earlier stops"), (group.page + 1, "Later stops")):
        if 1 <= number <= group.pages:
            parts.append(light.Link(text, href=write(address, replace(shown, stops=number)), className="btn"))
    return light.Nav(parts, className="pages pl-stops", **aria(label=f"Stops {group.name}".strip()))


def stop_words(stop: Stop, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return what heads a stop: its code, dates, kind and hours, and what the plan takes of its crew hours."""
    edit = write(address, replace(shown, edit=stop.code))
    return [
        light.Link(stop.code, href=edit, className="pl-code go", title=f"change {stop.code}"),
        light.Span(_days(stop), className="dim", title=said.stop_dates(stop)),
        light.Span(said.stop_kind(stop), className="dim"),
        _bar(stop),
        light.Span([light.B(said.rounded(stop.hours_used)), f" {_of_room(stop)}"], className="dim"),
    ]


def _days(stop: Stop) -> str:
    """Return the days of a stop; its times and their zone stand in the calendar and in the hover."""
    if stop.ends_at is None:
        return f"from {words.day(stop.starts_at)}"
    last = said.last_day(stop.starts_at, stop.ends_at) if stop.whole_days else stop.ends_at.date()
    return span(stop.starts_at.date(), last)


def _of_room(stop: Stop) -> str:
    if stop.crew_hours is None:
        return f"crew{NBSP}h, no limit recorded"
    return f"of {said.crew_hours(stop.crew_hours)}"


def _bar(stop: Stop) -> Element:
    taken = f"{said.stop_room(stop)} taken in {stop.code}".replace(NBSP, " ")
    share = min(stop.hours_used / stop.crew_hours, 1.0) if stop.crew_hours else 0.0
    filled = light.I(style={"width": f"{100 * share:.1f}%"})
    kind = "pl-bar" if stop.crew_hours else "pl-bar none"
    return light.Div(filled, className=kind, role="img", **aria(label=taken))


def _stop_head(stop: Stop, shown: OutagesAsked, address: Address) -> Element:
    return light.Th(stop_words(stop, shown, address), className="pl-head")


def _row(plan: PlanContent, row: PlanRow, group: Group, shown: OutagesAsked, address: Address) -> Element:
    line = href(Address(page="line", code=row.line, unit=address.unit, station=row.station, axis=row.axis))
    cells = [_cell(plan, row, number, shown, address) for number in group.shown] or [_by_the_end(plan, row)]
    return light.Tr(
        [
            light.Td(light.Span(row.status, className=f"st {marks.status_class(row.status)}")),
            light.Td(light.Link(row.line, href=line, className="ln", title=row.description or row.line)),
            *cells,
            light.Td(_notes(plan, row, group, shown, address), className="pl-notes"),
        ],
        className="visited" if row.chosen else "",
    )


def _by_the_end(plan: PlanContent, row: PlanRow) -> Element:
    """Return the chance that a line for which there is no stop runs to the plan's end."""
    chance = row.chance_if_skipped
    if chance is None:
        return light.Td("–", className="dim3")
    return light.Td(words.chance(chance), className="pl-before hot" if chance > plan.cap else "pl-before")


def _cell(plan: PlanContent, row: PlanRow, number: int, shown: OutagesAsked, address: Address) -> Element:
    stop, choice = plan.stops[number], row.choices[number]
    key = {"data-cell": f"{row.line} {stop.code}"}
    if stop.code == row.chosen:
        return light.Td(_visit(plan, row, stop, choice, shown, address), className="pl-visit", **key)
    figure = _figure(plan, row, stop, choice)
    if choice.closed == "open":
        return light.Td(
            light.Link(
                [
                    *figure,
                    light.Span(f"{', ' if figure else ''}pin {row.line} into {stop.code}", className="vh"),
                ],
                href=write(address, pinned(shown, row.line, stop.code)),
                className="pl-open",
                title=f"pin {row.line} into {stop.code}",
            ),
            className="pl-drop",
            **key,
        )
    why: list[Any] = [light.Small(said.closed_short(choice, row, stop), className="pl-why")]
    if choice.closed == "pinned_out":
        why.append(_act("let it in", released(shown, row.line, stop.code), f"{row.line} into {stop.code}", address))
    if choice.closed == "serves_others":
        figure = []
    return light.Td([*figure, *why], className="pl-closed", title=said.closed(choice, row, stop), **key)


def _figure(plan: PlanContent, row: PlanRow, stop: Stop, choice: Choice) -> list[Any]:
    """Return the chance in a cell beside the visit: before that stop, or what skipping the visit risks."""
    if choice.chance_before is None:
        return []
    visit = stop_of(plan, row)
    if visit is None or stop.starts_at <= visit[0].starts_at:
        return [light.Span(words.chance(choice.chance_before), className=_strong("pl-before", choice, plan))]
    following, risk = after_skipping(plan, row)
    if following is not None and following.code == stop.code and risk is not None:
        return [light.Span(f"{words.chance(risk)} if skipped", className="pl-skip")]
    return []


def _strong(name: str, choice: Choice, plan: PlanContent) -> str:
    return f"{name} hot" if choice.chance_before is not None and choice.chance_before > plan.cap else name


def _visit(
    plan: PlanContent, row: PlanRow, stop: Stop, choice: Choice, shown: OutagesAsked, address: Address
) -> Element:
    above = row.chance_before is not None and row.chance_before > plan.cap
    hand = row.pin == "into"
    first: list[Any] = [light.I(className="pinm", **aria(hidden="true"))] if hand else []
    first += [
        *([light.Span("pinned: ", className="vh")] if hand else []),
        light.B("Visit"),
        " ",
        light.Span(said.before(row), className="hi" if above else ""),
    ]
    hours = f"{said.crew_hours(row.visit_hours)} · {said.fits(choice, stop)}"
    return light.Div(
        [
            light.Span(first, className="pl-v1"),
            light.Small(hours, title=f"{said.window(row, stop)}; crew hours {said.hours_from(row)}", className="pl-v2"),
            light.Span(acts(row, stop, shown, address), className="pl-acts"),
        ],
        className="pl-block",
        draggable="true",
    )


def acts(row: PlanRow, stop: Stop, shown: OutagesAsked, address: Address) -> list[Any]:
    """Return what can be done with a visit: hold it here or let it go, or keep the line out of this stop."""
    where = f"{row.line} in {stop.code}"
    hold = (
        _act("unpin", released(shown, row.line, stop.code), where, address)
        if row.pin == "into"
        else _act("pin", pinned(shown, row.line, stop.code), where, address)
    )
    out = _act("keep out", kept_out(shown, row.line, stop.code), f"{row.line} of {stop.code}", address)
    return [hold, out]


def _act(text: str, to: OutagesAsked, what: str, address: Address) -> Element:
    return light.Link(
        [text, light.Span(f" {what}", className="vh")],
        href=write(address, to),
        className="pl-act",
        title=f"{text} {what}",
    )


def _notes(plan: PlanContent, row: PlanRow, group: Group, shown: OutagesAsked, address: Address) -> list[Any]:
    visit = stop_of(plan, row)
    lines: list[Any] = []
    if visit is not None:
        if plan.stops.index(visit[0]) not in group.shown:
            away = "earlier" if visit[0].starts_at < plan.stops[group.shown[0]].starts_at else "later"
            lines.append(light.B(f"Visit in {visit[0].code}, {away} stops"))
        lines.append(said.window(row, visit[0]))
    lines += reasons(plan, row)
    return [*(light.Span(line, className="pl-note") for line in lines if line), more(row, shown, address)]


def reasons(plan: PlanContent, row: PlanRow) -> list[str]:
    """Return why a line is where it is, what is above the cap about it, and what its visit needs; a phrase each."""
    unkept = said.unkept(row, plan)
    found = [unkept] if unkept else []
    if not (unkept and row.reason in ("above_cap_anyway", "not_worth_it")):
        found.append(said.reason(row, plan))
    # A line for which an earlier stop has no room is said to be above the cap by its reason already.
    if row.above_cap and row.reason != "late_for_lack_of_room":
        found.append(said.above_cap(row, plan))
    if row.chosen is not None and row.hours_from == "assumed":
        found.append(f"{said.crew_hours(row.visit_hours)} assumed")
    return found


def more(row: PlanRow, shown: OutagesAsked, address: Address) -> Element:
    """Return what a visit needs beside people and where its hours come from, folded, with the way to change these."""
    hours = f"{said.crew_hours(row.visit_hours)} a visit, {said.hours_from(row)}. "
    edit = write(address, replace(shown, edit=f"{OF_A_LINE}{row.line}"))
    change = light.Link(
        ["Change", light.Span(f" what a visit to {row.line} takes", className="vh")], href=edit, className="pl-act go"
    )
    needed = row.needs if row.chosen is not None else ()
    return light.Details(
        [
            light.Summary(
                ["Needs and hours" if needed else "Hours", light.Span(f" of a visit to {row.line}", className="vh")]
            ),
            light.Ul([*(light.Li(need) for need in needed), light.Li([hours, change])]),
        ],
        className="pl-needs",
    )
