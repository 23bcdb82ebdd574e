"""Moments of the record as people read them, and small marks its lists share."""

from __future__ import annotations

from datetime import datetime

from dash import html

from dashboard.components.aria import aria
from fleet import words
from fleet.words import NBSP


def moment(at: datetime) -> str:
    """Return '25 Nov 2026, 06:40'; a moment at midnight sharp was given as a day: '25 Nov 2026'."""
    if (at.hour, at.minute, at.second) == (0, 0, 0):
        return words.day(at)
    return f"{words.day(at)},{NBSP}{at:%H:%M}"


def became() -> html.Span:
    """Return the arrow between what was and what is; a screen reader says 'became'."""
    return html.Span(className="became", role="img", **aria(label="became"))


def plain_name(who: str) -> str:
    """Return a person's name without the remark that nobody checked it; the lists say so once."""
    return who.removesuffix(" (not verified)")
