"""What `asleft backtest` prints for people: the verdict first, then what was counted, then the single values."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import Console
from rich.table import Table

from fleet import words
from fleet.services.backtest import AheadCount, BacktestRow, BacktestSummary, BacktestView, RangeCount
from fleet.services.backtest_words import RULE_WORDS, SCORE_MEANING, STRETCH_WORDS, VERDICT_WORDS, count, percent
from fleet.words import NBSP, ReaderUnit

_WIDEST: Final = 2_000
_NOTE: Final = (
    "Every as-found is held against what the forecast of the day before expected a survey to show. high / low and "
    "right / left: offsets from the gearbox axis, looking from the gearbox toward the discharge end."
)


def _table(console: Console, title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    # A figure must not part from its unit and direction: a narrow terminal wraps whole lines, cells never.
    wide = Console(
        file=console.file, width=_WIDEST, highlight=False, force_terminal=console.is_terminal, markup=False, emoji=False
    )
    console.print()
    wide.print(table)


def print_backtest(console: Console, view: BacktestView, unit: ReaderUnit, *, every_value: bool) -> None:
    """Print how well the forecast has held.

    Parameters
    ----------
    console : where to
    view : from `backtest`
    unit : of the lengths
    every_value : list every as-found, not only those outside their 95 % range
    """
    summary = view.summary
    console.print(summary.sentence, markup=False, highlight=False)
    if not summary.n:
        return
    _table(
        console,
        "Ranges",
        ("range", "inside", "of", "expected inside", "share inside", f"mean width, {unit}", "verdict"),
        [_range_cells(one, unit) for one in summary.ranges],
    )
    _table(
        console,
        "By how long ahead",
        ("left before", "values", "visits", "in 50 %", "in 80 %", "in 95 %", f"95 % range, mean width, {unit}"),
        [_ahead_cells(one, STRETCH_WORDS[at], unit) for at, one in enumerate(summary.by_days_ahead) if one.n],
    )
    _print_scores(console, summary, unit)
    rows = [row for row in view.rows if every_value or not row.inside_95]
    if rows:
        _table(
            console,
            "Every as-found" if every_value else "Outside their 95 % range",
            (
                "line", "station", "session", "date", "days ahead", f"expected (95 % range), {unit}",
                f"measured, {unit}", "inside",
            ),
            [_value_cells(row, unit) for row in rows],
        )  # fmt: skip
    console.print(_NOTE, markup=False)


def _range_cells(one: RangeCount, unit: ReaderUnit) -> tuple[str, ...]:
    return (
        percent(one.share),
        count(one.inside),
        count(one.n),
        f"{count(one.expected_fewest)} to {count(one.expected_most)}",
        "–" if one.share_inside is None else percent(one.share_inside),
        "–" if one.mean_width_um is None else words.figure(one.mean_width_um, unit),
        VERDICT_WORDS[one.verdict],
    )


def _ahead_cells(one: AheadCount, said: str, unit: ReaderUnit) -> tuple[str, ...]:
    inside = [
        f"{count(each.inside)}{'' if each.share_inside is None else f' ({percent(each.share_inside)})'}"
        for each in one.ranges
    ]
    width = one.ranges[-1].mean_width_um
    return said, count(one.n), count(one.visits), *inside, "–" if width is None else words.figure(width, unit)


def _print_scores(console: Console, summary: BacktestSummary, unit: ReaderUnit) -> None:
    if summary.score_um is None:
        return
    console.print()
    score = words.figure(summary.score_um, unit, fine=True)
    console.print(f"Score ({SCORE_MEANING}): {score}{NBSP}{unit}.", markup=False, highlight=False)
    for rule in summary.simple_rules:
        if rule.score_um is not None and rule.forecast_score_um is not None:
            console.print(
                f"  {RULE_WORDS[rule.rule]}: {words.figure(rule.score_um, unit, fine=True)}{NBSP}{unit}, the forecast "
                f"{words.figure(rule.forecast_score_um, unit, fine=True)}{NBSP}{unit} over the same "
                f"{count(rule.n)} values.",
                markup=False,
                highlight=False,
            )


def _value_cells(row: BacktestRow, unit: ReaderUnit) -> tuple[str, ...]:
    low, high = (words.said(um, row.axis, "offset", unit, fine=True, with_unit=False) for um in (row.q025, row.q975))
    inside = "50 %" if row.inside_50 else "80 %" if row.inside_80 else "95 %" if row.inside_95 else "outside"
    return (
        row.line,
        f"{row.station} {row.axis}",
        row.session,
        words.day(row.date),
        str(row.days_ahead),
        f"{low} to {high}",
        words.said(row.measured_um, row.axis, "offset", unit, fine=True),
        inside,
    )
