"""A change of drift that nobody recorded, offered to a person: its evidence in words, a decision with its reason."""

from __future__ import annotations

from typing import Any, Final

from dash import dcc, html

from dashboard.components import numbers
from dashboard.components.aria import aria
from fleet import words
from fleet.services.line_page import LineView
from fleet.services.regime_words import Rate, counted, likelier
from fleet.services.regimes import RegimeRow
from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit

WHY: Final = "regime-why"
BY: Final = "regime-by"
ACCEPT: Final = "regime-accept"
REFUSE: Final = "regime-refuse"
SAID: Final = "regime-said"


def offers(view: LineView, unit: ReaderUnit) -> list[Any]:
    """Return the changes of drift that wait for a judgement, each with its form; nothing where none does."""
    return [_offer(view, row, unit) for row in view.proposals]


def part(name: str, handle: str) -> dict[str, str]:
    """Return the id of one part of a proposal's form."""
    return {"type": name, "handle": handle}


def _offer(view: LineView, row: RegimeRow, unit: ReaderUnit) -> html.Section:
    begins = words.day(row.from_on)
    return html.Section(
        [
            html.H2(f"Did it begin to drift otherwise, {numbers.AXIS_WORDS[row.axis]}?", className="say-head"),
            html.P(evidence(row, unit)),
            *([html.P(_refused(row), className="note")] if row.decision == "refused" else []),
            html.P(
                f"If something was done or befell {view.line} then, say it: an event of {begins} is recorded, and the "
                f"trend begins anew there with the {counted(row.intervals_after or 0)} since. If not, the reason is "
                "kept and nothing changes. Nothing is applied by itself.",
                className="note",
            ),
            html.Div(
                [
                    html.Label(
                        [
                            "What happened then, or why nothing did",
                            dcc.Input(id=part(WHY, row.handle), type="text", autoComplete="off"),
                        ],
                        className="fld grow",
                    ),
                    html.Label(
                        [
                            "Your name (kept as typed, not verified)",
                            dcc.Input(id=part(BY, row.handle), type="text", autoComplete="name"),
                        ],
                        className="fld",
                    ),
                ],
                className="flds",
            ),
            html.Div(
                [
                    html.Button("It changed", id=part(ACCEPT, row.handle), className="btn main", type="button"),
                    html.Button("It did not change", id=part(REFUSE, row.handle), className="btn", type="button"),
                    html.Div(id=part(SAID, row.handle), className="form-said", role="status", **aria(live="polite")),
                ],
                className="acts",
            ),
        ],
        className="say slip offer noprint",
    )


def evidence(row: RegimeRow, unit: ReaderUnit) -> str:
    """Say from which visit on it moves otherwise, how before and after, and how much likelier that is."""
    head = f"From {words.day(row.from_on)} on"
    if row.earliest_on and row.latest_on and row.earliest_on != row.latest_on:
        head += f" (or another visit from {words.day(row.earliest_on)} to {words.day(row.latest_on)})"
    per = f"per 1{NBSP}000 running hours" if row.rate_unit == "um_per_1000_h" else "a year"
    moves = ""
    if row.before is not None and row.after is not None:
        moves = (
            f" station {row.station} goes {_rate(row.after, row.axis, unit)} {per}; before it went "
            f"{_rate(row.before, row.axis, unit)}."
        )
    return (
        f"{head}{moves} {counted(row.intervals_before or 0)} before, {row.intervals_after or 0} after; the record is "
        f"{likelier(row.evidence)} with the change than without."
    )


def _rate(rate: Rate, axis: Axis, unit: ReaderUnit) -> str:
    """Return '0.097 mm lower (0.072 to 0.122)'; a range that reaches the other way names both."""
    head = words.said(rate.value, axis, "movement", unit, fine=True)
    ends = (rate.low, rate.high) if rate.value >= 0.0 else (rate.high, rate.low)
    ways = {words.direction(end, axis, "movement", unit, fine=True) for end in ends}
    if len(ways - {"no movement"}) > 1:
        low, high = (words.said(end, axis, "movement", unit, fine=True, with_unit=False) for end in ends)
    else:
        low, high = (words.figure(end, unit, fine=True) for end in ends)
    return f"{head} ({low} to {high})"


def _refused(row: RegimeRow) -> str:
    on = f" on {words.day(row.decided_at)}" if row.decided_at else ""
    return f"Refused{on} by {row.decided_by}: {row.why} Its evidence has clearly grown since."
