"""Line: what has this line done, where is it now, where is it going?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import marks, notices, numbers, sentences
from dashboard.components.foot import foot
from dashboard.components.graph import graph
from dashboard.components.pop import choice
from dashboard.components.rich import plain, rich
from dashboard.figures.history import history_figure
from dashboard.figures.profile import profile
from dashboard.pages.page import Shown, head
from fleet import words
from fleet.services.line_page import DriftRow, LineView, StationNow, SurveyView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}


def chosen_surveys(view: LineView, address: Address) -> tuple[SurveyView | None, SurveyView | None, tuple[str, ...]]:
    """Return the two surveys compared, and a sentence for each key in the address that the line does not have.

    By default the newest as-left, and the newest survey after it or else the newest other one.
    """
    by_key = {survey.key: survey for survey in view.surveys}
    notes = tuple(
        f"{view.line} has no survey ‘{key}’; the usual one is shown."
        for key in (address.a, address.b)
        if key and key not in by_key
    )
    ordered = sorted(view.surveys, key=lambda survey: (survey.on, survey.number))
    cold = [survey for survey in ordered if survey.phase != "hot"] or ordered
    lefts = [survey for survey in cold if survey.phase == "as_left"]
    first = by_key.get(address.a or "") or (lefts[-1] if lefts else (cold[-1] if cold else None))
    others = [survey for survey in cold if first is None or survey.key != first.key]
    second = by_key.get(address.b or "") or (others[-1] if others else None)
    return first, second, notes


def survey_name(survey: SurveyView) -> str:
    """Return a survey as choices and columns name it: 'as-left 14 Jun 2025'."""
    return f"{sentences.PHASE_WORDS[survey.phase]} {words.day(survey.on)}"


def line_page(view: LineView, address: Address) -> Shown:
    """Return the Line page.

    Parameters
    ----------
    view
        Everything recorded and computed of one line.
    address
        The reader's unit, the station, axis and surveys chosen.
    """
    unit = address.unit
    a, b, notes = chosen_surveys(view, address)
    job = dcc.Link("Job sheet", href=href(Address(page="job-sheet", code=view.line, unit=unit)), className="btn")
    body: list[Any] = [
        *notices.notes(notes),
        *head(
            [html.Span(view.line, className="lc"), " ", marks.status(view.status)],
            rich(sentences.line_lead(view, unit)),
            crumb=_crumb(view, unit),
            acts=[job],
        ),
    ]
    body += [html.P(remark, className="note remark") for remark in view.remarks]
    if not view.stations or not (view.surveys or view.sessions):
        body.append(notices.no_record(view.line, view.why))
    else:
        body += [
            _profile(view, address, a, b),
            _stations(view, unit, a, b),
            *_history(view, address),
            *_drift(view, unit),
        ]
    if view.sessions:
        body.append(_sessions(view))
    body.append(
        foot(
            unit,
            view.right_hand_side,
            "Expected: the position a cold survey would measure if nobody touches the line.",
            f"Times are those of {view.zone}.",
        )
    )
    return Shown(f"{view.line} {view.status}", body)


def _crumb(view: LineView, unit: ReaderUnit) -> list[Any]:
    facts: list[str] = []
    if view.description:
        facts.append(view.description)
    if view.screw_diameter_mm:
        facts.append(f"screw {numbers.diameter(view.screw_diameter_mm)}")
    if view.barrel_outside_diameter_mm:
        facts.append(f"barrel {numbers.diameter(view.barrel_outside_diameter_mm)} outside")
    if view.supports:
        codes = [support.code for support in view.supports]
        facts.append(
            f"support{'s' if len(codes) > 1 else ''} {', '.join(codes[:-1])}{' and ' if len(codes) > 1 else ''}{codes[-1]}"
        )
    if view.foundation:
        facts.append(view.foundation)
    facts.append(f"cold reference {numbers.celsius(view.cold_reference_c)}")
    site = view.site_name or view.site
    to = Address(unit=unit, filters=replace(Address().filters, site=view.site))
    lead: list[Any] = [dcc.Link(site, href=href(to)), " · "] if site else []
    return [*lead, " · ".join(facts)]


def _profile(view: LineView, address: Address, a: SurveyView | None, b: SurveyView | None) -> html.Section:
    unit = address.unit
    newest = sorted(view.surveys, key=lambda survey: (survey.on, survey.number), reverse=True)
    picks = [
        choice(
            "",
            survey_name(shown) if shown else "no survey",
            [(survey_name(survey), href(replace(address, **{name: survey.key}))) for survey in newest],
            stay=True,
        )
        for name, shown in (("a", a), ("b", b))
        if newest
    ]
    entries: list[tuple[str, Any]] = []
    for shown in (a, b):
        if shown is not None:
            largest = max((max(p.u95_v_um, p.u95_h_um) for p in shown.points), default=0.0)
            spread = f", at most {words.plus_minus(largest, unit)}" if shown.phase == "as_found" else ""
            entries.append((f"k-{shown.phase}", survey_name(shown) + spread))
    entries += [
        ("k-exp", "expected today, 95 % range"),
        ("k-corr", "limit around the cold target"),
        ("k-watch", "watch"),
    ]
    label = plain(sentences.line_lead(view, unit)) + " Profile along the barrel: elevation above, machine, plan below."
    return html.Section(
        [
            html.Div([html.H2("Where the bore lies"), html.Div(picks, className="selrow")], className="sh2"),
            marks.key(*entries),
            graph("line-profile", profile(view, a, b, unit), label=label, class_name="wide-only"),
            graph("line-profile-phone", profile(view, a, b, unit, phone=True), label=label, class_name="narrow-only"),
        ],
        className="sheet pad",
    )


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


def _stations(view: LineView, unit: ReaderUnit, a: SurveyView | None, b: SurveyView | None) -> html.Section:
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
            html.Td([html.B(station.station), *([" ", html.Small("support")] if station.support else [])]),
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
        ],
        className="tbl wide-only st2",
    )
    return html.Section(
        [wide, *(_phone_stations(view, unit, a, b, axis) for axis in AXES)],
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
            notes.append(f"{numbers.short_of(deviation, axis, unit)}{'' if deviation == 0 else f'{NBSP}target'}")
        rows.append(
            html.Tr(
                [
                    html.Td(
                        [
                            html.B(station.station),
                            html.Br(),
                            html.Small(numbers.distance(station.distance_mm, unit, with_unit=False)),
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
        [html.Thead(html.Tr([html.Th(text) for text in (title, *names, "expected today")])), html.Tbody(rows)],
        className="tbl narrow-only pt2",
    )


def _history(view: LineView, address: Address) -> list[Any]:
    history, unit = view.history, address.unit
    picks: list[Any] = []
    if view.stations:
        station = history.station if history else (address.station or view.stations[0].station)
        axis: Axis = history.axis if history else (address.axis or "v")
        here = replace(address, station=station, axis=axis)
        picks = [
            choice(
                "Station",
                station,
                [(s.station, href(replace(here, station=s.station))) for s in view.stations],
                stay=True,
            ),
            choice(
                "Axis",
                numbers.AXIS_WORDS[axis],
                [(numbers.AXIS_WORDS[other], href(replace(here, axis=other))) for other in AXES],
                stay=True,
            ),
        ]
    parts: list[Any] = [
        html.Div([html.H2("What it has done, where it is going"), html.Div(picks, className="selrow")], className="sh2")
    ]
    figure, phone = history_figure(view, unit), history_figure(view, unit, phone=True)
    if history is None or figure is None or phone is None:
        parts.append(html.P("This station was not measured yet on this axis; choose another.", className="dim"))
    else:
        label = (
            f"{plain(sentences.history_note(view, unit))} {plain(sentences.over_by(history, view.horizon, view.as_of))}"
        )
        entries = [
            ("k-drift", "drift between visits"),
            ("k-step", "realigned"),
            ("k-as_found", "as-found, 95 %"),
            ("k-as_left", "as-left"),
            ("k-exp", "forecast: 50 % and 80 % range"),
            ("k-bar", "over by, 10–90 %"),
            ("k-outage", "outage"),
            ("k-event", "event"),
            ("k-target", "target changed"),
        ]
        phases = {point.phase for point in history.points}
        if "interim" in phases:
            entries.insert(4, ("k-interim", "interim"))
        if "hot" in phases:
            entries.insert(4, ("k-hot", "hot, brought to the cold reference"))
        if any(point.joins == "across" for point in history.points):
            entries.insert(1, ("k-across", "across an event"))
        parts += [
            html.P(rich(sentences.history_note(view, unit)), className="dim hnote"),
            marks.key(*entries),
            graph("line-history", figure, label=label, class_name="wide-only"),
            graph("line-history-phone", phone, label=label, class_name="narrow-only"),
            html.P(
                [
                    html.B(plain(sentences.over_by(history, view.horizon, view.as_of))),
                    " ",
                    f"Forecast of {words.day(view.as_of)}.",
                ],
                className="dim",
            ),
            _history_table(view, unit),
        ]
    return [html.Section(parts, className="sheet pad", style={"marginTop": "24px"})]


def _history_table(view: LineView, unit: ReaderUnit) -> html.Details:
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
                        words.said(point.deviation_um, history.axis, "deviation", unit, with_unit=False),
                        *numbers.plus_minus(point.u95_um, unit),
                    ],
                    className="num",
                ),
                html.Td(words.said(point.target_um, history.axis, "offset", unit, with_unit=False), className="num"),
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
        entries.append((event.at, [html.Td(words.day(event.at), className="num"), html.Td(said, colSpan=3)]))
    entries.sort(key=lambda entry: entry[0], reverse=True)
    header = html.Tr([html.Th(text) for text in ("Day", "Seen", f"Deviation, {unit}", f"Target that day, {unit}")])
    return html.Details(
        [
            html.Summary("Show as a table"),
            html.Table([html.Thead(header), html.Tbody([html.Tr(cells) for _, cells in entries])], className="tbl"),
        ],
        className="astable",
    )


def _per(row: DriftRow) -> str:
    return f"per 1{NBSP}000 h" if row.rate_unit == "um_per_1000_h" else "per year"


def _drift(view: LineView, unit: ReaderUnit) -> list[Any]:
    history = view.history
    if history is None:
        return []
    axis = history.axis
    title = html.Div(html.H2(f"Drift at {history.station}, {numbers.AXIS_WORDS[axis]}"), className="pad0")
    if not view.drift:
        text = (
            "No interval yet: drift is what happened between two visits while nobody touched the line. "
            f"{plain(sentences.rate_note(history, unit))}"
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
                html.P(rich(sentences.rate_note(history, unit)), className="note pad0 after"),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def _sessions(view: LineView) -> html.Section:
    rows = []
    for row in sorted(view.sessions, key=lambda session: session.at, reverse=True):
        how = [part for part in (row.instrument, row.scheme) if part]
        if row.barrel_c is not None:
            how.append(numbers.celsius(row.barrel_c))
        rows.append(
            html.Tr(
                [
                    html.Td([html.B(words.day(row.at), className="num"), html.Small(row.session, className="sid")]),
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
            html.Div(html.H2("Sessions"), className="pad0"),
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl ss"),
        ],
        className="sheet",
        style={"marginTop": "24px"},
    )
