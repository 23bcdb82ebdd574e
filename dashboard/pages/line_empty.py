"""What a Line page says where something is not there: each case its own sentence and its own next step."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import notices
from fleet.services.line_page import LineView
from fleet.words import ReaderUnit


def in_place_of_all(view: LineView, unit: ReaderUnit) -> html.Section | None:
    """Return what stands in place of every figure, with the next step; None where there is something to show."""
    command = html.P(html.Code("asleft import FOLDER"))
    visit = html.P(dcc.Link("Record a visit", href=href(Address(page="record", code=view.line, unit=unit))))
    if not view.stations:
        return notices.notice(
            "No stations yet",
            f"{view.line} has no station that stands today: the places in the bore that are measured have to be known "
            "before a survey can be. Import them with their distances from the gearbox’s face.",
            command,
        )
    if view.only_hot:
        return notices.notice(
            "Surveyed hot only",
            f"{view.line} was surveyed with the barrel hot, never cold. A hot survey tells how far the bore rises, not "
            "where it stands: record a cold survey next, its as-found is enough.",
            visit,
        )
    if not view.surveys and view.sessions:
        return notices.notice(
            "Visited, but never surveyed",
            f"The visits of {view.line} hold no survey that could be brought to offsets. Take its old sheets in, or "
            "survey it at the next visit.",
            command,
            visit,
        )
    if not view.surveys:
        return notices.notice(
            "No surveys yet",
            f"{view.line} was not visited yet. Import an old sheet, or record the first visit.",
            command,
            visit,
        )
    return None


def no_movement(view: LineView) -> str | None:
    """Return why nothing can be said of what moved between two surveys; None where it can."""
    if view.movement or not view.surveys:
        return None
    if len(view.surveys) == 1:
        return (
            "There is one survey only. What moved shows from the second on: the as-found of the next visit, before "
            "anything is touched, is it."
        )
    return "These two surveys have fewer than two stations in common; choose another pair above."


def one_visit(view: LineView) -> list[Any]:
    """Return what a line that was visited once says of its forecast; nothing for any other."""
    standing = [row for row in view.sessions if row.corrected_by is None]
    history = view.history
    if len(standing) != 1 or history is None or not history.fan:
        return []
    if history.borrowed_lines:
        source = "where it goes from here is borrowed from comparable lines"
    else:
        source = "no comparable line tells where it goes from here, so the range is as wide as lines are known to move"
    return [html.P(f"It was visited once: {source}. The next as-found makes it its own.", className="dim")]
