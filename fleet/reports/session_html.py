"""A visit's whole record as one HTML file for paper, file and PDF; it loads nothing."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final

from fleet.reports import check_words, session_tables
from fleet.reports import session_words as say
from fleet.reports.cautions import HEADING, LAST, cautions
from fleet.reports.marks import axis_sketch
from fleet.reports.session_content import SessionRecord, SessionSurvey
from fleet.reports.session_profile import key_words, mark, profile_svg
from fleet.reports.session_style import style
from fleet.reports.session_tables import Table
from fleet.reports.sheet_words import directions_sentence
from fleet.values import AXES
from fleet.words import ReaderUnit

_LONG_CHARS: Final = 46
"""A fact longer than this takes the whole width."""


def render(record: SessionRecord, unit: ReaderUnit) -> str:
    """Return a session report as a full HTML document that needs nothing beside itself.

    Parameters
    ----------
    record : SessionRecord
        The visit; lengths across the bore in um, distances in mm, temperatures in degrees Celsius.
    unit : {'mm', 'thou'}
        The reader's choice; readings stand in the unit they were typed in.

    Returns
    -------
    str
        The document: every row of every table, black on white on A4, with a running head and page numbers.
    """
    site = record.site_name or record.site
    running = " · ".join(
        filter(None, (say.title(record), site, f"figures in {unit}", f"times of {record.zone}", say.as_of(record)))
    )
    sections = [
        _came_to(record, unit),
        _how_to_read(record, unit),
        _stood(record, unit),
        _noticed(record, unit),
        _work(record, unit),
        _proof(record),
        *(_survey(record, survey, unit) for survey in record.surveys),
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(say.title(record))}</title><style>{style(running)}</style></head>\n"
        f'<body><main><article class="rep">{_head(record, unit)}\n' + "\n".join(filter(None, sections)) + "</article>\n"
        '<div class="acts noprint"><button type="button" class="btn" onclick="window.print()">Print</button>'
        "</div></main></body></html>\n"
    )


def _head(record: SessionRecord, unit: ReaderUnit) -> str:
    crumb = " · ".join(
        filter(None, ("Session report", record.site_name or record.site, record.description, say.as_of(record)))
    )
    outcome = "".join(f"<b>{escape(t)}</b>" if strong else escape(t) for t, strong in say.outcome(record, unit))
    replaced = "".join(
        f'<p class="say"><b>{escape(text)}</b></p>'
        for text in (say.what_replaced(record), say.what_corrected(record))
        if text
    )
    return (
        f'<header><p class="crumb">{escape(crumb)}</p><h1>{escape(say.title(record))}</h1>'
        f'<p class="lead">{escape(say.when_and_who(record))}</p><p class="lead">{outcome}</p>'
        f'<p class="note">Figures in {unit}, readings in the unit they were typed in. Times are those of '
        f"{escape(record.zone)}; {escape(say.as_of(record))}.</p>{replaced}</header>"
    )


def _table(table: Table | None) -> str:
    if table is None:
        return ""
    heads = "".join(f'<th scope="col">{escape(column)}</th>' for column in table.columns)
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td data-label="{escape(column)}">{escape(cell)}</td>'
            for column, cell in zip(table.columns, row, strict=True)
        )
        + "</tr>"
        for row in table.rows
    )
    note = f'<p class="note">{escape(table.note)}</p>' if table.note else ""
    kind = "" if table.compact else ' class="stk"'
    return (
        f'<div class="blk"><h3>{escape(table.title)}</h3><table{kind}><thead><tr>{heads}</tr></thead>'
        f"<tbody>{rows}</tbody></table>{note}</div>"
    )


def _facts(facts: Iterable[tuple[str, str]]) -> str:
    """Return names and values, two pairs a row; a long value has its row to itself."""
    rows: list[str] = []
    waiting = ""
    for name, value in facts:
        pair = f'<th scope="row">{escape(name)}</th><td>{escape(value)}</td>'
        if len(value) > _LONG_CHARS:
            rows += [f'{waiting}<td colspan="2"></td>'] if waiting else []
            rows.append(pair.replace("<td>", '<td colspan="3">', 1))
            waiting = ""
        elif waiting:
            rows.append(waiting + pair)
            waiting = ""
        else:
            waiting = pair
    rows += [f'{waiting}<td colspan="2"></td>'] if waiting else []
    return f'<table class="fx"><tbody>{"".join(f"<tr>{row}</tr>" for row in rows)}</tbody></table>' if rows else ""


def _section(title: str, *parts: str) -> str:
    body = "".join(filter(None, parts))
    return f"<section><h2>{escape(title)}</h2>{body}</section>" if body else ""


def _list(sentences: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    return f'<ul class="sl">{items}</ul>' if items else ""


def _came_to(record: SessionRecord, unit: ReaderUnit) -> str:
    drawing = profile_svg(record, unit)
    key = "".join(f"<span>{mark(phase)}{escape(words)}</span>" for phase, words in key_words(record))
    figure = (
        f'<div class="blk fig"><div class="key">{key}<span>band: limit around the cold target of that day; '
        f"whiskers: 95 %</span></div>{drawing}</div>"
        if drawing
        else ""
    )
    tables = (_table(session_tables.results(record, axis, unit)) for axis in AXES)
    return _section("What it came to", figure, *tables)


def _stood(record: SessionRecord, unit: ReaderUnit) -> str:
    return _section("The visit", _facts(say.head_facts(record, unit)))


def _noticed(record: SessionRecord, unit: ReaderUnit) -> str:
    items = [
        f"<li><b>{escape(check_words.title(facts.check))}</b> {escape(say.survey_title(survey))}: "
        f"{escape(say.check_text(facts, unit))}</li>"
        for survey in record.surveys
        for facts in survey.checks
    ]
    items += [
        f"<li><b>{escape(say.settled_title(check))}</b> {escape(say.settled_where(check))}{escape(check.evidence)} "
        f"{escape(say.settled(check))}</li>"
        for check in record.settled
    ]
    body = f'<ul class="sl">{"".join(items)}</ul>' if items else f'<p class="note">{say.NOTHING_NOTICED}</p>'
    return _section("What was noticed", body) if record.surveys else ""


def _work(record: SessionRecord, unit: ReaderUnit) -> str:
    return _section(
        "What was done",
        _cautions(record, unit) if record.moves else "",
        _table(session_tables.moves(record, unit)),
        _table(session_tables.targets(record, unit)),
        _table(session_tables.findings(record)),
    )


def _cautions(record: SessionRecord, unit: ReaderUnit) -> str:
    items = "".join(
        f"<li><b>{escape(lead)}</b> {escape(rest)}</li>" for lead, rest in cautions(record.length_growth_mm, unit)
    )
    return (
        f'<div class="caut" role="region" aria-label="Cautions"><h3>{HEADING}</h3><ul>{items}</ul>'
        f"<p><b>{escape(LAST)}</b></p></div>"
    )


def _survey(record: SessionRecord, survey: SessionSurvey, unit: ReaderUnit) -> str:
    return _section(
        say.survey_title(survey),
        _facts(say.conditions(record, survey, unit)),
        _table(session_tables.offsets(record, survey, unit)),
        _list(say.how_reduced(survey, unit)),
        _table(session_tables.readings(record, survey)),
    )


def _proof(record: SessionRecord) -> str:
    return _section("The record", _facts(say.proof(record)), _table(session_tables.chain(record)))


def _how_to_read(record: SessionRecord, unit: ReaderUnit) -> str:
    directions = "".join(
        f"<b>{escape(text)}</b>" if strong else escape(text)
        for text, strong in directions_sentence(record.right_hand_side)
    )
    return (
        f'<section class="rf" aria-label="How to read a number"><div>{axis_sketch(record.right_hand_side)}</div>'
        f'<p class="note">{directions} '
        f"Of target: cold offset minus cold target. ± is the expanded uncertainty (95 %). {say.UNIT_WORDS[unit]} "
        f"{escape(LAST.replace('This sheet', 'This report'))}</p></section>"
    )
