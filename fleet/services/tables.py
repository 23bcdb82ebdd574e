"""The commands' tables for people: figure, direction word, uncertainty, date; one unit named in the header."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Final

from rich.console import Console
from rich.table import Table

from fleet import words
from fleet.services import explaining
from fleet.services.fleet_page import FleetView
from fleet.services.rows import ColdOffsetRow, DriftInterval, ForecastRow, OffsetRow
from fleet.values import NORMAL_95
from fleet.words import ReaderUnit

_WIDEST: Final = 2_000
NOTE = (
    "high / low and right / left: where the bore's centre lies from the gearbox axis, looking from the gearbox toward "
    "the discharge end. above / below / right of / left of target: cold offset minus cold target. ± is 95 %."
)
WAY_NAMES = {
    "none": "no offset",
    "bore_size": "by bore size",
    "heat_model": "heat model",
    "own_record": "this line's own checks",
    "pooled": "comparable lines",
}


def _table(console: Console, title: str, columns: Sequence[str], rows: Sequence[Sequence[str]], empty: str) -> None:
    if not rows:
        console.print(empty, markup=False)
        return
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    # A figure must not part from its unit and direction: a narrow terminal wraps whole lines, cells never.
    # Codes are text from the record: none of it is markup.
    wide = Console(
        file=console.file, width=_WIDEST, highlight=False, force_terminal=console.is_terminal, markup=False, emoji=False
    )
    wide.print(table)
    console.print(NOTE, markup=False)


def _month(day: object) -> str:
    return words.month(day) if isinstance(day, date) else "no date"


def _dash(value: float | None, text: str) -> str:
    return "–" if value is None else text


def print_status(console: Console, view: FleetView, unit: ReaderUnit) -> None:
    """Print the fleet, most urgent first."""
    rows = []
    for row in view.rows:
        place = f"{row.station} {row.axis}" if row.station and row.axis else ""
        deviation = row.why or "no survey yet"
        if row.deviation_um is not None and row.axis is not None:
            deviation = words.said(row.deviation_um, row.axis, "deviation", unit)
            if row.u95_deviation_um is not None:
                deviation += f" {words.plus_minus(row.u95_deviation_um, unit)}"
        rows.append(
            (
                row.status,
                row.line,
                place,
                deviation,
                _dash(row.chance_next, words.chance(row.chance_next or 0.0)),
                _dash(row.chance_following, words.chance(row.chance_following or 0.0)),
                _month(row.over_p50),
                words.day(row.measured_on) if row.measured_on else "–",
                row.next_outage or "–",
            )
        )
    _table(
        console,
        f"Which lines need us, and when?  {words.day(view.as_of)}",
        (
            "status", "line", "worst place", f"deviation expected today, {unit}", "over by next outage",
            "by the following", "over by (50 %)", "last survey", "next outage",
        ),
        rows,
        "No lines in the store yet. Import records with `asleft import FOLDER`, or make the demo with `asleft demo`.",
    )  # fmt: skip
    for row in view.rows:
        # What is within needs nobody; a line without a survey says so in the table.
        if row.evidence is not None and row.status != "within":
            why = explaining.sentence(row.evidence, unit)
            console.print(f"{row.line} {row.status}: {why}.", markup=False, highlight=False)


def print_offsets(console: Console, rows: Sequence[OffsetRow], unit: ReaderUnit) -> None:
    """Print every survey's offsets at the cold reference."""
    _table(
        console,
        "Offsets of the bore from the gearbox axis, at the cold reference",
        ("line", "session", "survey", "phase", "station", f"vertical, {unit}", f"horizontal, {unit}", "method"),
        [
            (
                row.line,
                row.session,
                str(row.survey),
                row.phase.replace("_", "-"),
                row.station,
                f"{words.said(row.v_cold_um, 'v', 'offset', unit, fine=True)} "
                f"{words.plus_minus(_cold95(row.u95_v_um, row.u_v_um, row.u_v_cold_um), unit, fine=True)}",
                f"{words.said(row.h_cold_um, 'h', 'offset', unit, fine=True)} "
                f"{words.plus_minus(_cold95(row.u95_h_um, row.u_h_um, row.u_h_cold_um), unit, fine=True)}",
                row.method,
            )
            for row in rows
        ],
        "No surveys yet. Import an old sheet with `asleft import FOLDER`.",
    )
    told = dict.fromkeys((row.session, row.survey, check.text) for row in rows for check in row.checks)
    if told:
        console.print("\nNoticed, and nothing changed by it:")
    for session, survey, text in told:
        console.print(f"  {session}, survey {survey}: {text}", markup=False, highlight=False)


def _cold95(u95_um: float, u_um: float, u_cold_um: float) -> float:
    """Expand the cold uncertainty by the survey's own factor."""
    return u95_um / u_um * u_cold_um if u_um > 0.0 else NORMAL_95 * u_cold_um


def print_drift(console: Console, rows: Sequence[DriftInterval], unit: ReaderUnit) -> None:
    """Print what moved while nobody touched the line."""
    _table(
        console,
        "Drift between visits",
        (
            "line", "station", "from", "to", "running", f"moved, {unit}", f"rate, {unit}", "beyond measurement",
            "unusual",
        ),
        [
            (
                row.line,
                f"{row.station} {row.axis}",
                words.day(row.from_at),
                words.day(row.to_at),
                "–" if row.running_hours is None else f"{row.running_hours:.0f} h",
                f"{words.said(row.moved_um, row.axis, 'movement', unit)} "
                f"{words.plus_minus(NORMAL_95 * row.u_um, unit)}",
                "–"
                if row.rate is None
                else f"{words.said(row.rate, row.axis, 'movement', unit, fine=True)} per "
                f"{'1 000 h' if row.rate_unit == 'um_per_1000_h' else 'year'}",
                "yes" if row.beyond_measurement else "no",
                "yes" if row.unusual else "no",
            )
            for row in rows
        ],
        "No interval yet: a drift needs two visits to the same station. Import more sessions.",
    )  # fmt: skip


def print_forecast(console: Console, rows: Sequence[ForecastRow], unit: ReaderUnit) -> None:
    """Print where each station goes and when it may pass its limit."""
    _table(
        console,
        "Forecast if nobody touches the line" + (f", as of {words.day(rows[0].as_of)}" if rows else ""),
        (
            "status", "line", "station", f"deviation expected, {unit}", f"a year, {unit}", f"limit, {unit}",
            "over by 10 %", "50 %", "90 %", "chance in a year",
        ),
        [
            (
                row.status,
                row.line,
                f"{row.station} {row.axis}",
                f"{words.said(row.deviation_um, row.axis, 'deviation', unit)} "
                f"{words.plus_minus(NORMAL_95 * row.u_position_um, unit)}",
                words.said(row.rate_um_per_year, row.axis, "movement", unit),
                _dash(row.limit_um, words.figure(row.limit_um or 0.0, unit)),
                _month(row.over_on.p10),
                _month(row.over_on.p50),
                _month(row.over_on.p90),
                _dash(row.chance_over["365"], words.chance(row.chance_over["365"] or 0.0)),
            )
            for row in rows
        ],
        "No cold survey yet, so no forecast. Import records with `asleft import FOLDER`.",
    )  # fmt: skip


def print_cold_offsets(console: Console, rows: Sequence[ColdOffsetRow], unit: ReaderUnit) -> None:
    """Print the ways of choosing the cold offset, and the one recommended."""
    table = []
    for row in rows:
        for way in row.ways:
            table.append(
                (
                    row.line,
                    f"{row.station} {row.axis}",
                    WAY_NAMES[way.way] + (" (recommended)" if way.way == row.recommended.way else ""),
                    "–" if way.target_um is None else words.said(way.target_um, row.axis, "offset", unit),
                    str(way.runs),
                    "–" if way.bias_um is None else "ran " + words.said(way.bias_um, row.axis, "running", unit),
                    "–" if way.rms_um is None else words.figure(way.rms_um, unit),
                )
            )
    _table(
        console,
        "Which way of choosing came out right when running?",
        (
            "line", "station", "way of choosing", f"cold target, {unit}", "runs", f"mean, {unit}",
            f"root mean square, {unit}",
        ),
        table,
        "Nothing to compare yet: no line with stations. Import records with `asleft import FOLDER`.",
    )  # fmt: skip
