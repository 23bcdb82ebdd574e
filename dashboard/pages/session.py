"""Session: one visit whole, as it was written, what it came to, and how its record is settled."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final
from urllib.parse import quote

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cautions, marks, notices
from dashboard.components.downloads import Take, table_links
from dashboard.components.foot import foot
from dashboard.components.graph import graph
from dashboard.components.rich import pieces, rich
from dashboard.figures.session import drawn_surveys, session_figure
from dashboard.pages.page import Shown, head
from fleet.reports import check_words, session_tables
from fleet.reports import session_words as say
from fleet.reports.session_content import SessionRecord, SessionSurvey
from fleet.reports.session_tables import Table
from fleet.values import AXES
from fleet.words import ReaderUnit, day

_LONG_CHARS: Final = 22
"""A fact longer than this takes the whole width of a phone."""
_VERY_LONG_CHARS: Final = 40
"""A fact longer than this has a row to itself at the desk too."""


def session_page(record: SessionRecord, address: Address) -> Shown:
    """Return the page of one visit.

    Parameters
    ----------
    record
        Everything recorded of it.
    address
        The reader's unit.
    """
    unit = address.unit
    line = Address(page="line", code=record.line, unit=unit)
    crumb: list[Any] = [
        *([f"{record.site_name or record.site} · "] if record.site else []),
        dcc.Link(record.line, href=href(line)),
        *([f" · {record.description}"] if record.description else []),
    ]
    lead = [say.when_and_who(record), " ", *rich(pieces(say.outcome(record, unit)))]
    body: list[Any] = [
        *_chain_notices(record, unit),
        *head(say.title(record), lead, crumb=crumb, acts=_acts(record, address)),
        *_came_to(record, address),
        html.Div([_visit(record, unit), _noticed(record, unit)], className="two se-two"),
        *_done(record, address),
        *(_survey(record, survey, address) for survey in record.surveys),
        _record(record),
        foot(unit, record.right_hand_side, f"Times are those of {record.zone}; {say.as_of(record)}."),
    ]
    return Shown(f"Visit {record.session}", body)


def no_session_page(address: Address) -> Shown:
    """Return what stands where the address names no visit."""
    fleet = href(Address(unit=address.unit))
    way = html.P(["Open a line from the ", dcc.Link("fleet", href=fleet), "; its page lists its sessions."])
    return Shown("Which visit?", [notices.notice("Which visit?", way, whole_page=True)])


def unknown_session_page(address: Address) -> Shown:
    """Return what stands where no visit has the code in the address."""
    fleet = href(Address(unit=address.unit))
    way = html.P(
        [
            "Codes are as on the sessions list of a Line page, capitals included. ",
            dcc.Link("Back to the fleet", href=fleet),
        ]
    )
    return Shown(
        f"No visit {address.code}",
        [notices.notice(f"There is no visit ‘{address.code}’", way, whole_page=True)],
    )


def _acts(record: SessionRecord, address: Address) -> list[Any]:
    query = "?unit=thou" if address.unit == "thou" else ""
    paper = f"/session/{quote(record.session, safe='')}"
    acts: list[Any] = [
        html.A("Print", href=f"{paper}/print{query}", className="btn", target="_blank"),
        html.A("PDF", href=f"{paper}/pdf{query}", className="btn", target="_blank"),
    ]
    if record.corrected_by is None:
        correct = Address(page="record", code=record.line, unit=address.unit).saying(corrects=record.session)
        acts.append(dcc.Link("Correct this visit", href=href(correct), className="btn"))
    return acts


def _to(session: str, unit: ReaderUnit) -> str:
    return href(Address(page="session", code=session, unit=unit))


def _chain_notices(record: SessionRecord, unit: ReaderUnit) -> list[Any]:
    shown = []
    if record.corrected_by:
        way = html.P(dcc.Link(f"Open {record.corrected_by}, which counts", href=_to(record.corrected_by, unit)))
        shown.append(notices.notice("This record was replaced", say.what_replaced(record), way, warn=True))
    if record.corrects:
        way = html.P(dcc.Link(f"Open {record.corrects}, the record before", href=_to(record.corrects, unit)))
        shown.append(notices.notice("A correction", say.what_corrected(record), way))
    return shown


def _sheet(title: str, *parts: Any, name: str = "") -> html.Section:
    return html.Section([html.H2(title), *parts], className=f"sheet pad se {name}".strip())


def _links(name: str, address: Address, what: str) -> html.Div:
    return html.Div(table_links(name, address, what), className="under-table")


def _lines(cell: str) -> list[Any]:
    """Return a cell's first line, and what stands under it smaller."""
    first, *others = cell.split("\n")
    return [first, *(html.Small(line, className="vb") for line in others)]


def _labelled(column: str) -> dict[str, Any]:
    """Return what a cell is called where its table becomes a list."""
    return {"data-label": column}


def _table(table: Table | None) -> list[Any]:
    if table is None:
        return []
    header = html.Thead(html.Tr([html.Th(column, scope="col") for column in table.columns]))
    rows = [
        html.Tr(
            [
                html.Td(html.Span(_lines(cell), className="tv"), **_labelled(column))
                for column, cell in zip(table.columns, row, strict=True)
            ]
        )
        for row in table.rows
    ]
    kind = "tbl" if table.compact else "tbl stk"
    note = [html.P(table.note, className="note after-table")] if table.note else []
    return [html.H3(table.title, className="sub"), html.Table([header, html.Tbody(rows)], className=kind), *note]


def _facts(facts: Iterable[tuple[str, str]]) -> html.Dl:
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)], className=_width(value)) for name, value in facts],
        className="sef",
    )


def _width(value: str) -> str:
    """Return how much of a row a fact takes: all of it everywhere, all of it on a phone, or a part."""
    return "long whole" if len(value) > _VERY_LONG_CHARS else "whole" if len(value) > _LONG_CHARS else ""


def _came_to(record: SessionRecord, address: Address) -> list[Any]:
    unit = address.unit
    tables = [
        html.Div(_table(make(record, axis, unit)), className=width)
        for make, width in ((session_tables.results, "wide-only"), (session_tables.results_in_brief, "narrow-only"))
        for axis in AXES
        if record.surveys and make(record, axis, unit) is not None
    ]
    if not tables:
        return []
    surveys = drawn_surveys(record)
    entries: list[tuple[str, Any]] = [
        (f"k-{survey.phase}", f"{say.PHASES[survey.phase]} {day(survey.measured_at)}") for survey in surveys
    ]
    entries += [("k-corr", "limit of that day around the cold target"), ("k-watch", "watch")]
    label = f"{''.join(text for text, _ in say.outcome(record, unit))} Profile along the barrel; the tables hold it."
    take = Take("visit-offsets", address, f"Visit {record.session}, profile, {unit}", day(record.as_of))
    wide, phone = session_figure(record, unit), session_figure(record, unit, phone=True)
    drawing = [
        marks.key(*entries),
        graph("session-profile", wide, label=label, class_name="wide-only", take=take),
        graph("session-profile-phone", phone, label=label, class_name="narrow-only", take=take),
    ]
    links = _links("visit-offsets", address, "every station of every survey")
    return [_sheet("What it came to", *drawing, *tables, links)]


def _visit(record: SessionRecord, unit: ReaderUnit) -> html.Section:
    return _sheet("The visit", _facts(say.head_facts(record, unit)))


def _noticed(record: SessionRecord, unit: ReaderUnit) -> html.Section:
    items = [
        html.Li(
            [
                html.B(check_words.title(facts.check)),
                f" {say.survey_title(survey)}: {say.check_text(facts, unit)}",
            ]
        )
        for survey in record.surveys
        for facts in survey.checks
    ]
    items += [
        html.Li(
            [
                html.B(say.settled_title(check)),
                f" {say.settled_where(check)}{check.evidence} ",
                html.B(say.settled(check)),
            ]
        )
        for check in record.settled
    ]
    nothing = say.NOTHING_NOTICED if record.surveys else "Nothing to look at: there is no survey."
    return _sheet("What was noticed", html.Ul(items, className="sel-l") if items else html.P(nothing, className="dim"))


def _done(record: SessionRecord, address: Address) -> list[Any]:
    unit = address.unit
    parts = [
        *_table(session_tables.moves(record, unit)),
        *([_links("visit-moves", address, "every move of this visit")] if record.moves else []),
        *_table(session_tables.targets(record, unit)),
        *_table(session_tables.findings(record)),
    ]
    if not parts:
        return []
    first = cautions.panels(record.length_growth_mm, unit) if record.moves else []
    return [_sheet("What was done", *first, *parts)]


def _survey(record: SessionRecord, survey: SessionSurvey, address: Address) -> html.Section:
    unit = address.unit
    said = [html.Li(sentence) for sentence in say.how_reduced(survey, unit)]
    came_to = [*_table(session_tables.offsets(record, survey, unit)), html.Ul(said, className="sel-l")]
    typed = _table(session_tables.readings(record, survey))
    if survey.readings:
        typed.append(_links("visit-readings", address, "every reading of this visit"))
    return _sheet(
        say.survey_title(survey),
        _facts(say.conditions(record, survey, unit)),
        html.Div([html.Div(typed), html.Div(came_to)], className="se-cols"),
        name="se-survey",
    )


def _record(record: SessionRecord) -> html.Section:
    seen = html.Details(
        [html.Summary(say.SEEN_BY_SIGNER), html.Pre(say.seen(record), className="seen")], className="astable"
    )
    return _sheet(
        "The record",
        _facts(say.proof(record)),
        *_table(session_tables.chain(record)),
        *([seen] if record.signed_view else []),
    )
