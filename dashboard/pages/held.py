"""How well the forecast has held: a section of the Fleet page that is worked out when a reader opens it."""

from __future__ import annotations

from typing import Any, Final

from dash import html

from dashboard.address import Address
from dashboard.components.aria import aria
from dashboard.components.downloads import table_links
from fleet import words
from fleet.services.backtest import AheadCount, BacktestSummary, RangeCount
from fleet.services.backtest_words import RULE_WORDS, STRETCH_WORDS, VERDICT_WORDS, count, percent
from fleet.services.fleet_page import FleetFilters
from fleet.words import NBSP, ReaderUnit

OPENED: Final = "held-opened"
SHOWN: Final = "held"
_BAND: Final = 25.0
"""The rails stand this far from the middle of the track, in per cent of its width."""


def section(address: Address) -> html.Details:
    """Return the closed section; what is in it comes when it is opened, so that the fleet never waits for it."""
    where = f" at {address.filters.site}" if address.filters.site else ""
    return html.Details(
        [
            html.Summary(html.H2(f"How well the forecast has held{where}"), id=OPENED),
            html.Div(
                html.P("Holding every as-found against what was expected the day before …", className="dim"),
                id=SHOWN,
                **aria(live="polite"),
            ),
        ],
        className="held",
    )


def held(summary: BacktestSummary, address: Address) -> list[Any]:
    """Return what the opened section shows: the verdict, then what was counted.

    Parameters
    ----------
    summary
        Of the lines in view: every one, or those of the address's site.
    address
        The reader's unit, and the site if one is chosen.
    """
    verdict = html.P(summary.sentence, className="lead")
    if not summary.n:
        return [verdict]
    unit = address.unit
    lines = Address(unit=unit, filters=FleetFilters(site=address.filters.site))
    return [
        verdict,
        html.Div(
            [
                html.Div(_ranges(summary, unit), className="sheet"),
                html.Div(_by_ahead(summary, unit), className="sheet"),
            ],
            className="held-two",
        ),
        *_beside_rules(summary, unit),
        html.P(
            [
                "Each as-found is predicted from earlier days alone: its line’s record, the line’s other stations and "
                "the fleet. The values of one visit are wrong together and count for fewer than they are; 95 in 100 "
                "fair forecasts would have shown a count between those expected. ",
                "Every value: ",
                table_links("forecasts-held", lines, "every value and what was expected of it"),
            ],
            className="note",
        ),
    ]


def _ranges(summary: BacktestSummary, unit: ReaderUnit) -> html.Table:
    track = html.Th(
        [html.Span("too narrow"), html.Span("too wide", className="tw")],
        className="track-head wide-only",
    )
    header = html.Tr(
        [
            html.Th("Range"),
            html.Th("Values inside"),
            html.Th("Expected inside", className="wide-only"),
            track,
            html.Th("Verdict"),
        ]
    )
    rows = [
        html.Tr(
            [
                html.Td([html.B(percent(one.share)), _small(_width(one, unit))]),
                html.Td(
                    [
                        html.Span(f"{count(one.inside)} of {count(one.n)}", className="num"),
                        _small("" if one.share_inside is None else percent(one.share_inside)),
                        html.Small(f"expected {_expected(one)}", className="narrow-only"),
                    ]
                ),
                html.Td(html.Span(_expected(one), className="num"), className="wide-only"),
                html.Td(_track(one), className="wide-only"),
                html.Td(html.B(VERDICT_WORDS[one.verdict])),
            ]
        )
        for one in reversed(summary.ranges)
    ]
    return html.Table([html.Thead(header), html.Tbody(rows)], className="tbl")


def _expected(one: RangeCount) -> str:
    return f"{count(one.expected_fewest)} to {count(one.expected_most)}"


def _width(one: RangeCount, unit: ReaderUnit) -> str:
    if one.mean_width_um is None:
        return ""
    return f"mean width {words.figure(one.mean_width_um, unit)}{NBSP}{unit}"


def _track(one: RangeCount) -> html.Div:
    """Return the count as a dot between two rails, the least and the most that a fair forecast would show."""
    parts: list[Any] = [html.I(className="co"), html.I(className="l0"), html.I(className="l1")]
    if one.share_inside is not None:
        middle = (one.expected_fewest + one.expected_most) / 2.0
        half = max((one.expected_most - one.expected_fewest) / 2.0, 0.5)
        at = min(max(50.0 + _BAND * (one.inside - middle) / half, 3.0), 97.0)
        parts.append(html.I(className="dot", style={"left": f"{at:.1f}%"}))
    label = (
        f"{percent(one.share)} range: {count(one.inside)} inside, expected {_expected(one)}: "
        f"{VERDICT_WORDS[one.verdict]}"
    )
    return html.Div(parts, className="track", role="img", **aria(label=label))


def _by_ahead(summary: BacktestSummary, unit: ReaderUnit) -> html.Table:
    header = html.Tr(
        [
            html.Th("Looked ahead"),
            html.Th("Values", className="r"),
            html.Th(f"in 80{NBSP}%", className="r"),
            html.Th(f"in 95{NBSP}%", className="r"),
            html.Th(f"95{NBSP}% range, mean width, {unit}", className="r"),
        ]
    )
    rows = [_ahead(one, STRETCH_WORDS[at], unit) for at, one in enumerate(summary.by_days_ahead) if one.n]
    return html.Table([html.Thead(header), html.Tbody(rows)], className="tbl")


def _ahead(one: AheadCount, said: str, unit: ReaderUnit) -> html.Tr:
    width = one.ranges[-1].mean_width_um
    visits = f"{count(one.visits)} visit{'' if one.visits == 1 else 's'}"
    return html.Tr(
        [
            html.Td([said, _small(visits)]),
            html.Td(count(one.n), className="r"),
            *(html.Td(_inside(each), className="r") for each in one.ranges[1:]),
            html.Td("–" if width is None else words.figure(width, unit), className="r"),
        ]
    )


def _inside(one: RangeCount) -> list[Any]:
    """Return the share inside with its verdict where the ranges do not hold; the count alone where values are few."""
    if one.share_inside is None:
        return [f"{count(one.inside)} of {count(one.n)}", _small("too few to say")]
    if one.verdict == "holds":
        return [percent(one.share_inside), _small("holds")]
    return [html.B(percent(one.share_inside)), _small(VERDICT_WORDS[one.verdict])]


def _beside_rules(summary: BacktestSummary, unit: ReaderUnit) -> list[Any]:
    """Return how the forecast scores beside two simple rules."""
    told = [
        f"“{RULE_WORDS[rule.rule]}” {words.figure(rule.score_um, unit, fine=True)}{NBSP}{unit}, the forecast "
        f"{words.figure(rule.forecast_score_um, unit, fine=True)}{NBSP}{unit} over the same {count(rule.n)} values"
        for rule in summary.simple_rules
        if rule.score_um is not None and rule.forecast_score_um is not None
    ]
    if not told:
        return []
    return [
        html.P(
            [
                html.B("Beside two simple rules"),
                ", off by on average (the width of the range counted too; less is better): ",
                "; ".join(told) + ".",
            ],
            className="dim held-rules",
        )
    ]


def _small(text: str) -> Any:
    return html.Small(text) if text else ""
