"""A visit's record as text for the terminal; the same sentences and figures as on paper."""

from __future__ import annotations

from collections.abc import Iterable

from fleet.reports import check_words, session_tables
from fleet.reports import session_words as say
from fleet.reports.cautions import LAST
from fleet.reports.session_content import SessionRecord
from fleet.reports.session_tables import Table
from fleet.values import AXES
from fleet.words import ReaderUnit


def render_text(record: SessionRecord, unit: ReaderUnit) -> str:
    """Return the record as lines of text.

    Parameters
    ----------
    record : SessionRecord
        The visit.
    unit : {'mm', 'thou'}
        The reader's choice; readings stand in the unit they were typed in.
    """
    lines = [say.title(record), say.when_and_who(record), "".join(text for text, _ in say.outcome(record, unit))]
    lines += [text for text in (say.what_replaced(record), say.what_corrected(record)) if text]
    lines += _table(*(session_tables.results(record, axis, unit) for axis in AXES))
    lines += ["", "The visit", *_facts(say.head_facts(record, unit))]
    noticed = [
        f"  {check_words.title(facts.check)} {say.survey_title(survey)}: {say.check_text(facts, unit)}"
        for survey in record.surveys
        for facts in survey.checks
    ]
    noticed += [
        f"  {say.settled_title(check)} {say.settled_where(check)}{check.evidence} {say.settled(check)}"
        for check in record.settled
    ]
    if record.surveys:
        lines += ["", "What was noticed", *(noticed or [f"  {say.NOTHING_NOTICED}"])]
    lines += _table(
        session_tables.moves(record, unit), session_tables.targets(record, unit), session_tables.findings(record)
    )
    for survey in record.surveys:
        lines += ["", say.survey_title(survey), *_facts(say.conditions(record, survey, unit))]
        lines += _table(session_tables.offsets(record, survey, unit))
        lines += [f"  {sentence}" for sentence in say.how_reduced(survey, unit)]
        lines += _table(session_tables.readings(record, survey))
    lines += ["", "The record", *_facts(say.proof(record)), *_table(session_tables.chain(record))]
    closing = f"Times are those of {record.zone}; {say.as_of(record)}. {LAST.replace('This sheet', 'This report')}"
    return "\n".join([*lines, "", closing])


def _facts(facts: Iterable[tuple[str, str]]) -> list[str]:
    return [f"  {name}: {value}" for name, value in facts]


def _table(*tables: Table | None) -> list[str]:
    lines: list[str] = []
    for table in tables:
        if table is None:
            continue
        grid = (table.columns, *table.rows)
        widths = [max(len(row[k]) for row in grid) for k in range(len(table.columns))]
        lines += ["", table.title]
        lines += [
            "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in grid
        ]
        lines += [f"  {table.note}"] if table.note else []
    return lines
