"""What was noticed in the surveys of a line: the newest visit's at the top of the page, older ones folded away."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.components import sentences
from fleet import words
from fleet.reports import check_words
from fleet.services.line_evidence import CheckView
from fleet.services.line_page import LineView
from fleet.words import ReaderUnit


def newest(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return what was noticed at the newest visit, a quiet notice each; nothing where nothing was."""
    session = _newest_session(view)
    return [_notice(view, check, unit) for check in view.checks if check.session == session]


def earlier(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return what was noticed at earlier visits, folded."""
    session = _newest_session(view)
    older = [check for check in view.checks if check.session != session]
    if not older:
        return []
    return [
        html.Details(
            [
                html.Summary(f"Noticed earlier, {len(older)}"),
                *(_notice(view, check, unit) for check in older),
            ],
            className="astable",
        )
    ]


def _newest_session(view: LineView) -> str | None:
    standing = [row for row in view.sessions if row.corrected_by is None]
    return max(standing, key=lambda row: row.at).session if standing else None


def _notice(view: LineView, check: CheckView, unit: ReaderUnit) -> html.Section:
    survey = next((survey for survey in view.surveys if survey.key == check.survey), None)
    phase = f"{sentences.PHASE_WORDS[survey.phase]} " if survey else ""
    facts = check.facts
    does_not_fit = facts.misfit_um is not None or facts.against_forecast
    return html.Section(
        [
            html.H2(check_words.title(facts.check), className="say-head"),
            html.P(check_words.text(facts, unit)),
            html.Small(f"{phase}{words.day(check.on)}, survey {check.survey}", className="note"),
        ],
        className="say slip warn" if does_not_fit else "say slip",
    )
