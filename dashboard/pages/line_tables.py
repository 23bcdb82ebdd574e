"""The tables of the Line page: stations, visits, drift, sessions."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers, sentences
from dashboard.components.downloads import table_links
from dashboard.components.rich import plain, rich
from dashboard.pages import line_shape
from fleet import words
from fleet.services.limits import Band
from fleet.services.line_history import DriftRow
from fleet.services.line_page import LineView, StationNow, SurveyView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}


def survey_name(survey: SurveyView) -> str:
    """Return a survey as choices and columns name it: 'as-left 14 Jun 2025'."""
    return f"{sentences.PHASE_WORDS[survey.phase]} {words.day(survey.on)}"


def _survey_cell(survey: SurveyView | None, station: StationNow, axis: Axis, unit: ReaderUnit) -> html.Td:
    point = next((p for p in survey.points if p.station == station.station), None) if survey else None
    um = None if point is None else (point.v_um if axis == "v" else point.h_um)
    return html.Td(numbers.offset(um, axis, unit), className="num")


def _deviation_cell(station: StationNow, axis: Axis, unit: ReaderUnit) -> html.Td:
    deviation = station.deviation_um[_INDEX[axis]]
    if deviation is None:
        return html.Td(numbers.offset(None, axis, unit), className="num")
    over = station.status[_INDEX[axis]] == "over"
    return html.Td(
        [numbers.short_of(deviation, axis, unit), *([html.Span(" over", className="vh")] if over else [])],
        className="num hotc" if over else "num",
    )


def _station(station: StationNow) -> list[Any]:
    if station.support is None:
        return [html.B(station.station)]
    named = "support" if station.support == station.station else f"support {station.support}"
    return [html.B(station.station), " ", html.Small(named)]


def stations(view: LineView, address: Address, a: SurveyView | None, b: SurveyView | None) -> html.Section:
    unit = address.unit
    names = [survey_name(survey) if survey else "–" for survey in (a, b)]
    side = f" ({view.right_hand_side})" if view.right_hand_side else ""
    headers: dict[Axis, str] = {
        "v": f"Vertical, {unit}: bore centre high or low of the gearbox axis",
        "h": f"Horizontal, {unit}: right{side} or left, looking from the gearbox",
    }
    under = [html.Th(text) for text in (*names, "expected today", "of target")]
    rows = []
    for station in view.stations:
        cells: list[Any] = [
            html.Td(_station(station)),
            html.Td(numbers.distance(station.distance_mm, unit, with_unit=False), className="r num"),
        ]
        for axis in AXES:
            at = _INDEX[axis]
            cells += [
                _survey_cell(a, station, axis, unit),
                _survey_cell(b, station, axis, unit),
                html.Td(
                    numbers.offset(station.position_um[at], axis, unit, station.u95_position_um[at]), className="num"
                ),
                _deviation_cell(station, axis, unit),
            ]
        rows.append(html.Tr(cells))
    wide = html.Table(
        [
            html.Thead(
                [
                    html.Tr(
                        [
                            html.Th("Station", rowSpan=2),
                            html.Th(f"Distance, {numbers.distance_unit(unit)}", rowSpan=2, className="r"),
                            *(html.Th(headers[axis], colSpan=4, className="gh") for axis in AXES),
                        ]
                    ),
                    html.Tr([*under, *under]),
                ]
            ),
            html.Tbody(rows),
            *line_shape.foot(view, unit),
        ],
        className="tbl wide-only st2",
    )
    return html.Section(
        [
            wide,
            *(_phone_stations(view, unit, a, b, axis) for axis in AXES),
            html.Div(table_links("line-profile", address, "every station of both surveys"), className="under-table"),
        ],
        className="sheet",
        style={"marginTop": "24px"},
    )


def _phone_stations(
    view: LineView, unit: ReaderUnit, a: SurveyView | None, b: SurveyView | None, axis: Axis
) -> html.Table:
    at = _INDEX[axis]
    rows = []
    for station in view.stations:
        over = station.status[at] == "over"
        spread = station.u95_position_um[at]
        deviation = station.deviation_um[at]
        notes = [words.plus_minus(spread, unit)] if spread is not None else []
        if deviation is not None:
            notes.append(numbers.short_of(deviation, axis, unit))
        if over:
            notes.append("over")
        rows.append(
            html.Tr(
                [
                    html.Td(
                        [
                            html.B(station.station),
                            html.Br(),
                            html.Small(numbers.distance(station.distance_mm, unit)),
                        ]
                    ),
                    _survey_cell(a, station, axis, unit),
                    _survey_cell(b, station, axis, unit),
                    html.Td(
                        [*numbers.offset(station.position_um[at], axis, unit), html.Br(), html.Small(", ".join(notes))],
                        className="hotc" if over else "",
                    ),
                ]
            )
        )
    names = [survey_name(survey) if survey else "–" for survey in (a, b)]
    title = {"v": f"Vertical, {unit}", "h": f"Horizontal, {unit}"}[axis]
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(text) for text in (title, *names, "expected today; of target")])),
            html.Tbody(rows),
            *line_shape.phone_foot(view, unit, axis),
        ],
        className="tbl narrow-only pt2",
    )


def visits(view: LineView, unit: ReaderUnit) -> html.Details:
    """Return every visit and event of the figure as a table, newest first."""
    history = view.history
    if history is None:
        return html.Details()
    entries = [
        (
            point.at,
            [
                html.Td(words.day(point.at), className="num"),
                html.Td(sentences.PHASE_WORDS[point.phase]),
                html.Td(
                    [
                        numbers.short_of(point.deviation_um, history.axis, unit),
                        *numbers.plus_minus(point.u95_um, unit),
                    ],
                    className="num",
                ),
                html.Td(words.said(point.target_um, history.axis, "offset", unit, with_unit=False), className="num"),
                html.Td(
                    "no limit then" if point.verdict == "no limit" else point.verdict,
                    className="hotc" if point.verdict == "over" else "",
                ),
            ],
        )
        for point in history.points
    ]
    for event in history.events:
        said = (
            event.kind
            + (f": {event.note}" if event.note else "")
            + (", the trend starts anew" if event.resets_trend else "")
        )
        entries.append((event.at, [html.Td(words.day(event.at), className="num"), html.Td(said, colSpan=4)]))
    for band in history.bands:
        if band.from_on is not None and history.points:
            begun = datetime.combine(band.from_on, time(), history.points[0].at.tzinfo)
            entries.append((begun, [html.Td(words.day(begun), className="num"), html.Td(_band(band, unit), colSpan=4)]))
    entries.sort(key=lambda entry: entry[0], reverse=True)
    heads = ("Day", "Seen", f"Of target, {unit}", f"Target that day, {unit}", "By that day’s limit")
    header = html.Tr([html.Th(text) for text in heads])
    return html.Details(
        [
            html.Summary("Show as a table"),
            html.Table([html.Thead(header), html.Tbody([html.Tr(cells) for _, cells in entries])], className="tbl"),
        ],
        className="astable",
    )


def _band(band: Band, unit: ReaderUnit) -> str:
    if band.limit_um is None:
        return "no limit from here on"
    said = f"limit {words.figure(band.limit_um, unit, fine=True)}{NBSP}{unit} either side from here on"
    return (
        said if band.watch_um is None else f"{said}, watch {words.figure(band.watch_um, unit, fine=True)}{NBSP}{unit}"
    )


def _per(row: DriftRow) -> str:
    return f"per 1{NBSP}000 h" if row.rate_unit == "um_per_1000_h" else "per year"


def drift(view: LineView, address: Address) -> list[Any]:
    unit = address.unit
    history = view.history
    if history is None:
        return []
    axis = history.axis
    title = html.Div(html.H2(f"Drift at {history.station}, {numbers.AXIS_WORDS[axis]}"), className="pad0")
    if not view.drift:
        text = (
            "No interval yet: drift is what happened between two visits while nobody touched the line. "
            f"{plain(sentences.rate_note(history, unit))} {plain(sentences.habits_note(history, unit))}"
        )
        return [
            html.Section(
                [title, html.P(text, className="note pad0 after")], className="sheet", style={"marginTop": "24px"}
            )
        ]
    per = {_per(row) for row in view.drift}
    header = per.pop() if len(per) == 1 else "Rate"
    rows, cards = [], []
    for row in view.drift:
        between = f"{words.day(row.from_at)} – {words.day(row.to_at)}"
        hours = f"{numbers.grouped(row.running_hours)}{NBSP}h" if row.running_hours is not None else "–"
        rate = "–" if row.rate is None else numbers.rate(row.rate, axis, unit, with_unit=False)
        if header == "Rate" and row.rate is not None:
            rate += f" {_per(row)}"
        moved = words.said(row.moved_um, axis, "movement", unit, with_unit=False)
        rows.append(
            html.Tr(
                [
                    html.Td(between, className="num"),
                    html.Td(hours, className="r num"),
                    html.Td([moved, *numbers.plus_minus(row.u95_um, unit)], className="num"),
                    html.Td(rate, className="num"),
                    html.Td("yes" if row.beyond_measurement else "no"),
                    html.Td(html.B("yes") if row.unusual else "no"),
                ]
            )
        )
        small = [between, *([hours] if row.running_hours is not None else [])]
        if row.rate is not None:
            small.append(f"{numbers.rate(row.rate, axis, unit)} {_per(row)}")
        if not row.beyond_measurement:
            small.append("within what the measurement cannot see")
        if row.unusual:
            small.append("unusual")
        cards.append(
            html.Li(
                [
                    html.B(words.said(row.moved_um, axis, "movement", unit), className="num"),
                    *numbers.plus_minus(row.u95_um, unit),
                    html.Small(" · ".join(small)),
                ]
            )
        )
    heads = [html.Th("Between visits"), html.Th("Running", className="r"), html.Th(f"Moved, {unit}"), html.Th(header)]
    heads += [html.Th("Beyond measurement"), html.Th("Unusual")]
    return [
        html.Section(
            [
                title,
                html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], className="tbl wide-only"),
                html.Ul(cards, className="narrow-only ivp"),
                html.Div(table_links("line-drift", address, "every interval of this station"), className="under-table"),
                html.P(
                    [*rich(sentences.rate_note(history, unit)), " ", *rich(sentences.habits_note(history, unit))],
                    className="note pad0 after",
                ),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def sessions(view: LineView, address: Address) -> html.Section:
    rows = []
    for row in sorted(view.sessions, key=lambda session: session.at, reverse=True):
        how = [part for part in (row.instrument, row.scheme) if part]
        if row.barrel_c is not None:
            how.append(numbers.celsius(row.barrel_c))
        rows.append(
            html.Tr(
                [
                    html.Td(
                        [
                            dcc.Link(
                                html.B(words.day(row.at), className="num"),
                                href=href(Address(page="session", code=row.session, unit=address.unit)),
                                title=f"everything recorded of {row.session}",
                            ),
                            html.Small(row.session, className="sid"),
                        ]
                    ),
                    html.Td(
                        [
                            sentences.session_what(row),
                            *([html.Small(row.remarks, className="sid")] if row.remarks else []),
                        ]
                    ),
                    html.Td(row.technician or "–", className="wide-only"),
                    html.Td(", ".join(how) or "–", className="wide-only"),
                    html.Td(sentences.session_signed(row), className="wide-only dim"),
                ]
            )
        )
    header = html.Tr(
        [
            html.Th("Visit"),
            html.Th("Done"),
            *(html.Th(text, className="wide-only") for text in ("Technician", "Instrument, scheme, barrel", "Record")),
        ]
    )
    return html.Section(
        [
            html.Div(
                [html.H2("Sessions"), table_links("line-sessions", address, "every session of this line")],
                className="pad0 sh2",
            ),
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl ss"),
        ],
        className="sheet",
        style={"marginTop": "24px"},
    )
