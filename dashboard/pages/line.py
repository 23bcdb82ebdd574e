"""Line: what has this line done, where is it now, where is it going?"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import marks, notices, numbers, sentences
from dashboard.components.downloads import Take
from dashboard.components.foot import foot
from dashboard.components.graph import graph
from dashboard.components.pop import choice
from dashboard.components.rich import plain, rich
from dashboard.figures.history import history_figure
from dashboard.figures.profile import profile
from dashboard.pages import (
    line_empty,
    line_gauge,
    line_limit,
    line_measured,
    line_moved,
    line_moves,
    line_noticed,
    line_planned,
    line_regime,
    line_tables,
)
from dashboard.pages.page import Shown, head
from dashboard.shell import PAGES
from fleet import words
from fleet.reports.sheet_words import sentence
from fleet.services.line_history import History
from fleet.services.line_page import LineView, SurveyView
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit

_INDEX: Final[dict[Axis, int]] = {"v": 0, "h": 1}


def compared_surveys(view: LineView) -> tuple[SurveyView | None, SurveyView | None]:
    """Return the two surveys shown beside each other."""
    by_key = {survey.key: survey for survey in view.surveys}
    first, second = view.compared
    return by_key.get(first or ""), by_key.get(second or "")


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
    a, b = compared_surveys(view)
    notes = tuple(f"{view.line} has no survey ‘{key}’; the usual one is shown." for key in view.unknown)
    acts = [dcc.Link("Job sheet", href=href(Address(page="job-sheet", code=view.line, unit=unit)), className="btn")]
    if "record" in PAGES:
        to_record = href(Address(page="record", code=view.line, unit=unit))
        acts.append(dcc.Link("Record a visit", href=to_record, className="btn main"))
    body: list[Any] = [
        *notices.notes(notes),
        *head(
            [html.Span(view.line, className="lc"), " ", marks.status(view.status)],
            rich(sentences.line_lead(view, unit)),
            crumb=_crumb(view, unit),
            acts=acts,
        ),
    ]
    if view.older:
        body.append(notices.older(view.as_of, failed=view.older.failed))
    body += line_planned.visit(view, address)
    body += line_noticed.newest(view, unit)
    body += line_regime.offers(view, unit)
    body += [html.P(sentence(remark), className="note remark") for remark in view.remarks]
    nothing = line_empty.in_place_of_all(view, unit)
    if nothing is not None:
        body.append(nothing)
    else:
        body += [
            *line_limit.notice(view, unit),
            _profile(view, address, a, b),
            line_tables.stations(view, address, a, b),
            *_history(view, address),
            *_moved(view, address),
            *line_measured.how_well(view, unit),
            *line_moves.to_target(view, unit),
            *line_gauge.who(view, address),
        ]
    body += line_limit.section(view, address)
    if view.sessions:
        body.append(line_tables.sessions(view, address))
    body += line_noticed.earlier(view, unit)
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
        facts.append(f"support {codes[0]}" if len(codes) == 1 else f"supports {', '.join(codes[:-1])} and {codes[-1]}")
    if view.foundation:
        facts.append(view.foundation)
    facts.append(f"cold reference {numbers.celsius(view.cold_reference_c)}")
    site = view.site_name or view.site
    to = Address(unit=unit, filters=replace(Address().filters, site=view.site))
    lead: list[Any] = [dcc.Link(site, href=href(to)), " · "] if site else []
    return [*lead, " · ".join(facts)]


def _moved(view: LineView, address: Address) -> list[Any]:
    unit = address.unit
    moved, drift = line_moved.what_moved(view, unit), line_tables.drift(view, address)
    if not moved and (why := line_empty.no_movement(view)) is not None:
        moved = [
            html.Section(
                [html.Div(html.H2("What moved"), className="pad0"), html.P(why, className="note pad0 after")],
                className="sheet",
                style={"marginTop": "24px"},
            )
        ]
    return [html.Div([*moved, *drift], className="two")] if moved and drift else [*moved, *drift]


def _by_when(history: History, view: LineView) -> str:
    """Say by when the limit is passed; a place without a limit has none to pass."""
    if history.limit_um is None:
        return "No limit holds here today, so no date can be given."
    return plain(sentences.over_by(history, view.horizon, view.as_of))


def _by_which_limit(history: History, view: LineView) -> str:
    """Say which limit the dates go by, where another held before or is to come."""
    begun = [band for band in history.bands if band.from_on is not None and band.from_on <= view.as_of]
    to_come = [band for band in history.bands if band.from_on is not None and band.from_on > view.as_of]
    said = ""
    if len(history.bands) - len(to_come) > 1 and begun:
        said = f", by the limit that holds since {words.day(begun[-1].from_on or view.as_of)}"
    if to_come:
        comes = words.day(to_come[0].from_on or view.as_of)
        said = f"{said or ', by today’s limit'}; another is to come on {comes}"
    return said


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _with_survey(address: Address, survey: SurveyView, *, first: bool) -> str:
    return href(replace(address, a=survey.key) if first else replace(address, b=survey.key))


def _profile(view: LineView, address: Address, a: SurveyView | None, b: SurveyView | None) -> html.Section:
    unit = address.unit
    newest = sorted(view.surveys, key=lambda survey: (survey.on, survey.number), reverse=True)
    said = Counter(line_tables.survey_name(survey) for survey in newest)
    names = {
        survey.key: line_tables.survey_name(survey)
        + (f", {survey.key}" if said[line_tables.survey_name(survey)] > 1 else "")
        for survey in newest
    }
    picks = [
        choice(
            "",
            names[shown.key] if shown else "no survey",
            [(names[survey.key], _with_survey(address, survey, first=first)) for survey in newest],
            stay=True,
        )
        for first, shown in ((True, a), (False, b))
        if newest
    ]
    entries: list[tuple[str, Any]] = []
    for shown in (a, b):
        if shown is not None:
            largest = max((max(p.u95_v_um, p.u95_h_um) for p in shown.points), default=0.0)
            spread = f", at most {words.plus_minus(largest, unit)}{NBSP}{unit}" if shown.phase == "as_found" else ""
            entries.append((f"k-{shown.phase}", line_tables.survey_name(shown) + spread))
    entries.append(("k-exp", f"expected today, {words.day(view.as_of)}, 95 % range"))
    if any(um is not None for station in view.stations for um in station.limit_um):
        entries.append(("k-corr", "limit around the cold target"))
    if any(um is not None for station in view.stations for um in station.watch_um):
        entries.append(("k-watch", "watch"))
    label = plain(sentences.line_lead(view, unit)) + " Profile along the barrel: elevation above, machine, plan below."
    title = f"{view.line}, where the bore lies: offset from the gearbox axis, {unit}"
    take = Take("line-profile", address, title, words.day(view.as_of))
    return html.Section(
        [
            html.Div([html.H2("Where the bore lies"), html.Div(picks, className="selrow")], className="sh2"),
            marks.key(*entries),
            graph("line-profile", profile(view, a, b, unit), label=label, class_name="wide-only", take=take),
            graph(
                "line-profile-phone",
                profile(view, a, b, unit, phone=True),
                label=label,
                class_name="narrow-only",
                take=take,
            ),
        ],
        className="sheet pad",
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
        label = f"{plain(sentences.history_note(view, unit))} {_by_when(history, view)}"
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
        place = f"station {history.station}, {numbers.AXIS_WORDS[history.axis]}"
        title = f"{view.line}, {place}: deviation from target, {unit}"
        take = Take("line-history", address, title, words.day(view.as_of))
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
            graph("line-history", figure, label=label, class_name="wide-only", take=take),
            graph("line-history-phone", phone, label=label, class_name="narrow-only", take=take),
            html.P(
                [
                    html.B(_by_when(history, view)),
                    " ",
                    f"Forecast of {words.day(view.as_of)}{_by_which_limit(history, view)}.",
                ],
                className="dim",
            ),
            *line_empty.one_visit(view),
            *([html.P(f"How its forecast has held: {_lower(view.held)}", className="dim")] if view.held else []),
            line_tables.visits(view, unit),
        ]
    return [html.Section(parts, className="sheet pad", style={"marginTop": "24px"})]
