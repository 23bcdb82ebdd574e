"""Who measured the line, with what: how instruments and people repeat against what is stated."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.address import Address
from dashboard.components import numbers
from dashboard.components.downloads import table_links
from fleet import words
from fleet.services.line_evidence import GaugeRow
from fleet.services.line_page import LineView
from fleet.words import NBSP, ReaderUnit


def who(view: LineView, address: Address) -> list[Any]:
    """Return 'Who measured it, with what'; nothing where the line holds no readings."""
    unit = address.unit
    if not view.gauge:
        return []
    heads = (
        "Instrument or person",
        f"One reading repeats to, {unit}",
        f"Stated, {unit}",
        "Against that",
        f"Closes within, {unit}",
        "Calibration",
    )
    rows = [
        html.Tr(
            [
                html.Td([html.B(row.who), html.Small(f"{row.kind}, {_surveys(row)}", className="sid")]),
                html.Td(_repeats(row, unit), className="num"),
                html.Td(
                    "–" if row.stated_um is None else words.figure(row.stated_um, unit, fine=True), className="num"
                ),
                html.Td(_against(row, unit)),
                html.Td(_closes(row, unit)),
                html.Td(_calibration(row), className="hotc" if row.calibration == "lapsed" else ""),
            ]
        )
        for row in view.gauge
    ]
    cards = []
    for row in view.gauge:
        small = [f"{row.kind}, {_surveys(row)}"]
        if row.stated_um is not None:
            small.append(f"stated {words.figure(row.stated_um, unit, fine=True)}{NBSP}{unit}")
        small += [text for text in (_against(row, unit), _closing(row, unit)) if text not in ("–", "")]
        if row.calibration:
            small.append(f"calibration {_calibration(row)}")
        cards.append(
            html.Li(
                [
                    html.B(row.who),
                    " ",
                    html.Span(["repeats to ", *_repeats(row, unit), *([f"{NBSP}{unit}"] if _told(row) else [])]),
                    html.Small(" · ".join(small)),
                ]
            )
        )
    note = (
        "One reading repeats to: one standard deviation of a reading and its 95 % range, from all surveys in the "
        "record, other lines’ too. A person is told apart from the instruments that person used."
    )
    return [
        html.Section(
            [
                html.Div(html.H2("Who measured it, with what"), className="pad0"),
                html.Table(
                    [html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)],
                    className="tbl wide-only",
                ),
                html.Ul(cards, className="narrow-only ivp"),
                html.Div(table_links("line-gauge", address, "who measured it, with what"), className="under-table"),
                html.P(note, className="note pad0 after"),
            ],
            className="sheet",
            style={"marginTop": "24px"},
        )
    ]


def _surveys(row: GaugeRow) -> str:
    return f"{numbers.grouped(row.surveys)} {'survey' if row.surveys == 1 else 'surveys'}"


def _told(row: GaugeRow) -> bool:
    """A row whose readings left nothing to judge by carries no range."""
    return row.high_um > 0.0


def _repeats(row: GaugeRow, unit: ReaderUnit) -> list[Any]:
    if not _told(row):
        return [html.Span("not known yet", className="dim3")]
    low, high = (words.figure(um, unit, fine=True) for um in (row.low_um, row.high_um))
    return [words.figure(row.repeatability_um, unit, fine=True), " ", html.Span(f"({low}–{high})", className="u num")]


def _against(row: GaugeRow, unit: ReaderUnit) -> str:
    said = []
    if row.stated_um is not None and _told(row):
        if not row.unlike_stated:
            said.append("as stated")
        else:
            said.append("more than stated" if row.repeatability_um > row.stated_um else "less than stated")
    if row.drifting and row.before_um is not None and row.since_um is not None:
        before, since = (words.figure(um, unit, fine=True) for um in (row.before_um, row.since_um))
        said.append(f"drifting: {before} before, {since}{NBSP}{unit} in its newest third of surveys")
    rate, u95 = row.zero_um_per_year, row.u95_zero_um_per_year
    if rate is not None and u95 is not None and abs(rate) > u95:
        amount = f"{words.figure(rate, unit, fine=True)}{NBSP}{unit} a year"
        said.append(f"its zero drifts {amount} {words.plus_minus(u95, unit, fine=True)}")
    return "; ".join(said) or "–"


def _closes(row: GaugeRow, unit: ReaderUnit) -> str:
    if row.closure_rms_um is None:
        return "–"
    return f"{words.figure(row.closure_rms_um, unit, fine=True)}, {row.closures}{NBSP}times"


def _closing(row: GaugeRow, unit: ReaderUnit) -> str:
    if row.closure_rms_um is None:
        return ""
    return f"closes within {words.figure(row.closure_rms_um, unit, fine=True)}{NBSP}{unit}"


def _calibration(row: GaugeRow) -> str:
    if row.calibration is None:
        return "–"
    if row.due_on is None:
        return row.calibration
    until = words.day(row.due_on)
    return {"in date": f"in date until {until}", "due": f"due {until}", "lapsed": f"lapsed {until}"}.get(
        row.calibration, row.calibration
    )
