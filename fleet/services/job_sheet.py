"""Job sheet: what was left, what to expect, what to set; everything one visit starts from."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, Final
from urllib.parse import quote

import numpy as np

from fleet.reports.job_sheet import JobSheet, PastSurvey, RunningResult, SheetStation
from fleet.services.cold_offsets import FleetComparison, compare_fleet, current_comparison, number, place_rows, reason
from fleet.services.expanded import expanded
from fleet.services.forecasting import Foreseen, foresee, rows_of, why_no_record, worst
from fleet.services.plant import LineInfo, StationInfo
from fleet.services.refresh import bring_up_to_date
from fleet.services.rows import ForecastRow
from fleet.services.series import FleetSeries, current_series, load_series
from fleet.services.sheet_stop import last_day, stop_of
from fleet.store import queries
from fleet.store.engine import Store
from fleet.thermal.rise import rise
from fleet.trend.setting import set_against_drift, years_inside
from fleet.values import AXES, NORMAL_95, Axis, FloatArray

BASE_URL: Final = "ASLEFT_BASE_URL"
_LEAST_SHARE: Final = 0.5
_FINE_PLACES: Final = 24
"""Where half the watch width is less than the usual good-enough width, that is what is good enough."""


def job_sheet(
    store: Store, line: str, *, as_of: date | None = None, outage: str | None = None, now: datetime | None = None
) -> JobSheet:
    """Return the job sheet of a line.

    Parameters
    ----------
    store : the record
    line : its code
    as_of : use only what had happened by the end of this day; None: today
    outage : code of the outage it is for; None: the line's next one
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        The outage is not planned ahead of that day.
    """
    bring_up_to_date(store, now=now)
    with store.read() as record:
        fleet = current_series(record, now=now) if as_of is None else load_series(record, as_of=as_of)
        info = fleet.plant.line(line)
        compared = current_comparison(record, fleet) if as_of is None else compare_fleet(record, fleet)
        reduced = [row for row in queries.reduced_surveys(record, line) if _seen(fleet, info, row.session)]
        visits = {row.code: row for row in queries.visits_of_line(record, info.id)}
        surveys = {(row.session_id, row.number): row for row in queries.surveys_of_line(record, info.id)}
        senses = {row.serial: (row.sense_v, row.sense_h) for row in queries.instruments(record)}
    index = fleet.line_index[info.id]
    day = fleet.as_of[index]
    stop = stop_of(fleet, info, day, outage)
    expected_on = stop.starts_at.astimezone(info.zone).date() if stop else day
    foreseen = foresee(fleet, fleet.rows_of(info.id), (expected_on,))
    rows = rows_of(foreseen)
    judged = worst(rows)
    biases = _drift_biases(fleet, compared, foreseen, rows, info)
    stations = _stations(fleet, compared, info, rows, biases)
    barrel = fleet.plant.standing(info.id, "barrel", day)
    as_left, since = _past(reduced, visits, surveys, info)
    last = since or as_left
    address = os.environ.get(BASE_URL)
    return JobSheet(
        line=info.code,
        site=info.site,
        site_name=info.site_name,
        description=info.description,
        screw_diameter_mm=info.screw_diameter_mm,
        barrel_outside_diameter_mm=barrel.outside_diameter_mm if barrel else None,
        foundation=info.foundation,
        right_hand_side=info.right_hand_side,
        cold_reference_c=info.cold_reference_c,
        status=judged.status if judged else "no record",
        status_why=None
        if judged and judged.status != "no record"
        else why_no_record(has_position=judged is not None, has_visit=bool(visits)),
        as_of=day,
        expected_on=expected_on,
        outage=stop.code if stop else None,
        outage_kind=stop.kind if stop else None,
        outage_starts_on=expected_on if stop else None,
        outage_ends_on=last_day(stop, info),
        length_growth_mm=_growth(fleet, compared, index),
        last_as_left=as_left,
        measured_since=since,
        running=_running(compared, info, index, as_left),
        target_why=_target_why(compared, index),
        drift_why=_drift_why(stations, rows, _months_gained(fleet, foreseen, rows, info, biases)),
        stations=stations,
        good_enough_um=_good_enough(fleet, info, day),
        supports=tuple(s.code for s in fleet.plant.supports.get(info.id, ()) if s.on(day)),
        worst=(judged.station, judged.axis) if judged else None,
        remarks=compared.remarks.get(index, ()),
        address=f"{address.rstrip('/')}/job-sheet/{quote(info.code, safe='')}" if address else None,
        pair_agreement_um=fleet.settings.number("pair_agreement_um", info.site_id, day),
        reading_sense=senses.get(last.instrument or "", (None, None)) if last else (None, None),
    )


def _seen(fleet: FleetSeries, info: LineInfo, session: str) -> bool:
    index = fleet.line_index[info.id]
    return any(s.line == index and s.code == session for s in fleet.sessions)


def _growth(fleet: FleetSeries, compared: FleetComparison, index: int) -> float | None:
    temperatures = compared.running_temperatures.get(index)
    if temperatures is None:
        return None
    geometry = fleet.plant.geometry(fleet.plant.lines[index], fleet.as_of[index])
    return rise(geometry, temperatures, np.empty(0)).length_growth_mm


def _targets(
    fleet: FleetSeries, compared: FleetComparison, place: int | None, station: StationInfo, axis: Axis
) -> float | None:
    """Return the cold target to set next: recommended where past runs judged it, else as the plant last chose it."""
    recorded = fleet.target_um(station, axis)
    if place is None:
        return recorded
    choice, way = compared.comparison.choice, int(compared.comparison.choice.way[place])
    if way >= 0 and (choice.judged[place] or recorded is None):
        return number(compared.comparison.target_um[place, way])
    return recorded


def _target_why(compared: FleetComparison, index: int) -> str:
    places = np.flatnonzero((compared.places.line == index) & (compared.places.axis == 0)).tolist()
    choice = compared.comparison.choice
    judged = [place for place in places if choice.judged[place]]
    if judged:
        return reason(compared, judged[-1])
    if any(compared.fleet.target_um(compared.stations[place // 2], "v") is not None for place in places):
        return "The newest cold target on record: too few running checks to judge another by."
    return reason(compared, places[-1]) if places else "No station on record."


def _places(compared: FleetComparison, index: int) -> dict[tuple[str, Axis], int]:
    """Return where each station and axis of a line stands in the comparison."""
    return {
        (compared.stations[place // 2].code, AXES[int(compared.places.axis[place])]): place
        for place in np.flatnonzero(compared.places.line == index).tolist()
    }


def _runs_at(
    fleet: FleetSeries, compared: FleetComparison, place: int | None, station: StationInfo, axis: Axis
) -> float:
    """Return where a place should run with the target it is given, 0 where nothing tells [um]."""
    if place is None:
        return 0.0
    way = int(compared.comparison.choice.way[place])
    expected = number(compared.comparison.expected_running_um[place])
    target = _targets(fleet, compared, place, station, axis)
    recommended = number(compared.comparison.target_um[place, way]) if way >= 0 else None
    if expected is None or target is None or recommended is None:
        return 0.0
    return expected + target - recommended


def _drift_biases(
    fleet: FleetSeries, compared: FleetComparison, foreseen: Foreseen, rows: Sequence[ForecastRow], info: LineInfo
) -> dict[tuple[str, Axis], float]:
    """Return how far from the target to leave every place, against the drift [um].

    What is best for each place alone is brought to one turn about the flange, because that is how a barrel moves. It
    stays inside the watch width by as much as is good enough, so that no line is left with a deviation to watch, and
    takes no place beyond the watch width when running.
    """
    if not rows:
        return {}
    day = fleet.as_of[fleet.line_index[info.id]]
    known = foreseen.rows
    watch = np.where(np.isfinite(foreseen.watch_um), foreseen.watch_um, foreseen.limit_um / 2.0)
    room = np.maximum(watch - _good_enough(fleet, info, day), 0.0)
    best = set_against_drift(**_habits(fleet, foreseen, info), watch_um=room)
    distance = np.array([fleet.stations[fleet.of_station[i]].distance_mm for i in known], dtype=np.float64)
    places = _places(compared, fleet.line_index[info.id])
    runs_at = np.array(
        [
            _runs_at(
                fleet, compared, places.get((row.station, row.axis)), fleet.stations[fleet.of_station[i]], row.axis
            )
            for row, i in zip(rows, known, strict=True)
        ]
    )
    lowest = np.minimum(np.maximum(-room, -watch - runs_at), 0.0)
    highest = np.maximum(np.minimum(room, watch - runs_at), 0.0)
    biases = {}
    for number_of_axis, axis in enumerate(AXES):
        of = (fleet.series.axis[known] == number_of_axis) & np.isfinite(best)
        turn = _turn(distance[of], best[of])
        for k in np.flatnonzero(of).tolist():
            biases[rows[k].station, axis] = float(np.clip(turn * distance[k], lowest[k], highest[k]))
    return biases


def _habits(fleet: FleetSeries, foreseen: Foreseen, info: LineInfo) -> dict[str, Any]:
    """Return how every place drifts and by which limit it is judged, over the years that count."""
    index, known = fleet.line_index[info.id], foreseen.rows
    horizon = fleet.settings.number("horizon_years", info.site_id, fleet.as_of[index])
    return {
        "rate_um": fleet.posterior.rate_um[known],
        "rate_sd_um": np.sqrt(fleet.posterior.rate_var_um2[known]),
        "sigma_um": fleet.posterior.sigma_um[known],
        "limit_um": foreseen.limit_um,
        "years": max(horizon * fleet.clocks[index].pace, 0.1),
    }


def _months_gained(
    fleet: FleetSeries,
    foreseen: Foreseen,
    rows: Sequence[ForecastRow],
    info: LineInfo,
    biases: Mapping[tuple[str, Axis], float],
) -> float | None:
    """Return for how many months more the worst place is expected inside its limit if set against the drift."""
    pace = fleet.clocks[fleet.line_index[info.id]].pace
    if not biases or pace <= 0.0:
        return None
    habits = _habits(fleet, foreseen, info)
    left = np.array([biases.get((row.station, row.axis), 0.0) for row in rows])
    inside = [years_inside(bias, **habits, places=_FINE_PLACES) for bias in (np.zeros(left.shape), left)]
    judged = np.isfinite(inside[0])
    return float(np.min(inside[1][judged]) - np.min(inside[0][judged])) / pace * 12.0


def _turn(distance_mm: FloatArray, bias_um: FloatArray) -> float:
    square = float(distance_mm @ distance_mm)
    return float(distance_mm @ bias_um) / square if square > 0.0 else 0.0


def _stations(
    fleet: FleetSeries,
    compared: FleetComparison,
    info: LineInfo,
    rows: Sequence[ForecastRow],
    biases: Mapping[tuple[str, Axis], float],
) -> tuple[SheetStation, ...]:
    index = fleet.line_index[info.id]
    day = fleet.as_of[index]
    by_place = {(row.station, row.axis): row for row in rows}
    places = _places(compared, index)
    result = []
    for station in fleet.plant.stations.get(info.id, ()):
        if station.removed_on is not None and station.removed_on <= day:
            continue
        cells = []
        for axis in AXES:
            row = by_place.get((station.code, axis))
            target = _targets(fleet, compared, places.get((station.code, axis)), station, axis)
            bias = biases.get((station.code, axis), 0.0)
            band = fleet.tolerance(station, axis)
            cells.append(
                (
                    row.expected[0].mean_um if row else None,
                    (row.expected[0].q975 - row.expected[0].q025) / 2.0 if row else None,
                    target,
                    None if target is None else bias,
                    None if target is None else target + bias,
                    band.watch_um,
                    band.limit_um,
                )
            )
        expected, u95, target_pair, against, set_to, watch, limit = ((cells[0][k], cells[1][k]) for k in range(7))
        result.append(
            SheetStation(
                station.code, station.distance_mm, station.support, expected, u95, target_pair, against, set_to, watch,
                limit,
            )
        )  # fmt: skip
    return tuple(result)


def _drift_why(stations: Sequence[SheetStation], rows: Sequence[ForecastRow], months: float | None) -> str | None:
    """Return why the figure to set differs from the target and what it buys; None where it does not differ."""
    at = max(stations, key=lambda s: abs(s.against_drift_um[0] or 0.0), default=None)
    if at is None or not at.against_drift_um[0]:
        return None
    rate = next((r.rate_um_per_year for r in rows if r.station == at.station and r.axis == "v"), 0.0)
    way, other = ("lower", "higher") if rate < 0.0 else ("higher", "lower")
    return (
        f"Set {other} than the target because the bore goes {way} against the gearbox axis; which of the two moved "
        f"needs a level on the gearbox.{_bought(months)}"
    )


def _in_months(count: int) -> str:
    return "1 month" if count == 1 else f"{count} months"


def _bought(months: float | None) -> str:
    if months is None or months < 0.5:
        return ""
    return f" It should keep the line inside its limits about {_in_months(round(months))} longer."


def _good_enough(fleet: FleetSeries, info: LineInfo, day: date) -> float:
    """Return how near to the figure to set is near enough: as recorded, else the usual, at most half a watch width."""
    bands = [fleet.tolerance(s, axis) for s in fleet.plant.stations.get(info.id, ()) for axis in AXES]
    recorded = [band.set_within_um for band in bands if band.set_within_um is not None]
    if recorded:
        return min(recorded)
    watches = [band.watch_um for band in bands if band.watch_um is not None]
    return min([fleet.settings.number("set_within_um", info.site_id, day), *(_LEAST_SHARE * w for w in watches)])


def _past(
    reduced: Sequence[Any], visits: dict[str, Any], surveys: dict[tuple[int, int], Any], info: LineInfo
) -> tuple[PastSurvey | None, PastSurvey | None]:
    """Return the last as-left, and the newest cold survey after it if nothing was moved since."""
    cold = [row for row in reduced if row.phase != "hot"]
    if not cold:
        return None, None
    lefts = [row for row in cold if row.phase == "as_left"]
    newest = _of(cold, cold[-1])
    if not lefts:
        return None, _survey(newest, visits, surveys, info)
    left = _of(cold, lefts[-1])
    later = newest if newest[0].started_at > left[0].started_at else None
    return _survey(left, visits, surveys, info), _survey(later, visits, surveys, info) if later else None


def _of(rows: Sequence[Any], one: Any) -> list[Any]:
    return [row for row in rows if (row.session, row.number) == (one.session, one.number)]


def _survey(
    rows: Sequence[Any], visits: dict[str, Any], surveys: dict[tuple[int, int], Any], info: LineInfo
) -> PastSurvey:
    visit = visits[rows[0].session]
    survey = surveys.get((visit.id, rows[0].number))
    widest = max(max(expanded(r.u_v_cold_um, r.dof_v), expanded(r.u_h_cold_um, r.dof_h)) for r in rows)
    return PastSurvey(
        session=rows[0].session,
        on=rows[0].measured_at.astimezone(info.zone),
        technician=visit.technician,
        instrument=visit.instrument,
        scheme=rows[0].method,
        barrel_c=survey.barrel_c if survey else None,
        gearbox_c=survey.gearbox_c if survey else None,
        offsets_um=tuple((row.station, row.v_cold_um, row.h_cold_um) for row in rows),
        u95_um=widest,
    )


def _running(compared: FleetComparison, info: LineInfo, index: int, as_left: PastSurvey | None) -> RunningResult | None:
    """Return how the last as-left came out, vertically: the end of the first run after it, else the newest run."""
    rows = [
        row
        for place, rows in place_rows(compared).items()
        if int(compared.places.line[place]) == index and int(compared.places.axis[place]) == 0
        for row in rows
        if not compared.checks[compared.row_check[row]].hot_survey
    ]
    if not rows:
        return None
    when = {row: compared.checks[compared.row_check[row]].checked_at for row in rows}
    after = [row for row in rows if as_left is not None and when[row] >= as_left.on]
    run = compared.rows.run[min(after, key=when.__getitem__) if after else max(rows, key=when.__getitem__)]
    last = max(when[row] for row in rows if compared.rows.run[row] == run)
    at = {compared.checks[compared.row_check[row]].station.code: row for row in rows if when[row] == last}
    check = compared.checks[compared.row_check[next(iter(at.values()))]]
    u = max(float(compared.rows.u_rise_um[row]) for row in at.values())
    return RunningResult(
        checked_at=last.astimezone(info.zone),
        label=check.label,
        hours_since_heats_on=check.hours_since_heats_on,
        barrel_c=check.temperatures.barrel_c,
        gearbox_c=check.temperatures.gearbox_c,
        base_c=check.temperatures.base_c,
        stations=tuple(
            (code, float(compared.rows.rise_um[row]), number(compared.comparison.ran_um[row]))
            for code, row in at.items()
        ),
        u95_um=NORMAL_95 * u,
    )
