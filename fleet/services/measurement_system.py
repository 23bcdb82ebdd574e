"""How the instruments and the people that measured a line repeat, over everything they measured in the fleet."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final, Literal

import numpy as np

from fleet.measure import HOT_FACTOR, STATED_DOF, Instrument
from fleet.measure.gauge import Repeatability, relative_to, repeatability, zero_drift
from fleet.services.kept import Kept
from fleet.services.line_evidence import GaugeRow
from fleet.services.plant import LineInfo
from fleet.services.readings import instrument_of, is_hot
from fleet.services.site_time import epoch_days
from fleet.store import queries
from fleet.values import DAYS_PER_YEAR, FloatArray, IntArray

Calibrated = Literal["in date", "due", "lapsed", "none recorded"]
DUE_SOON: Final = timedelta(days=60)
_TOLD: Final = 0.7
"""A target zero is told by a survey that left at most this share of what was stated of it."""


@dataclass(frozen=True, slots=True)
class _Measured:
    """How all instruments and people of the fleet repeat: worked out from every survey, whichever line is asked for.

    `rows` are the surveys with readings that count; all else is in their order. `closures` are (v, h) or None, `zeros`
    what a survey's adjustment says of the target's zero and in which year that was, or None.
    """

    instruments: dict[int, Any]
    stated: dict[int, Instrument | None]
    rows: Sequence[Any]
    closures: Sequence[Any]
    zeros: Sequence[tuple[Any, float] | None]
    noise_um: FloatArray
    serials: list[str]
    of_instrument: IntArray
    by_instrument: Repeatability
    names: list[str]
    of_person: IntArray
    by_person: Repeatability


_MEASURED: Kept[_Measured | None] = Kept()


def gauge_rows(record: queries.Record, info: LineInfo, day: date) -> tuple[GaugeRow, ...]:
    """Return how every instrument and technician that measured this line with readings repeats.

    What the whole fleet says of them is worked out once per version of the facts.

    Parameters
    ----------
    record : open session of `Store.read()`
    info : the line
    day : as of which calibrations are judged

    Returns
    -------
    instruments by serial, then technicians by name; empty where the line holds no readings
    """
    known = _MEASURED.of(record, None, lambda: _measured(record))
    here = [] if known is None else [row for row in known.rows if row.line_id == info.id]
    if known is None or not here:
        return ()
    instruments, noise_um = known.instruments, known.noise_um
    serials, of_instrument, by_instrument = known.serials, known.of_instrument, known.by_instrument
    found_um = noise_um * np.nan_to_num(by_instrument.ratio, nan=1.0)[of_instrument]
    used = {instruments[row.instrument_id].serial: row.instrument_id for row in here}
    people = {row.technician for row in here if row.technician}
    calibrations = queries.calibrations(record)
    return (
        *(
            _row(
                serials.index(serial), serial, "instrument", by_instrument, noise_um, of_instrument, known,
                stated_um=float(np.median(noise_um[of_instrument == serials.index(serial)])),
                target_zero_um=_target_zero_um(known.stated[used[serial]]),
                calibration=_calibration([row for row in calibrations if row.instrument_id == used[serial]], day),
            )
            for serial in sorted(used)
        ),
        *(
            _row(known.names.index(name), name, "technician", known.by_person, found_um, known.of_person, known)
            for name in sorted(people)
        ),
    )  # fmt: skip


def _measured(record: queries.Record) -> _Measured | None:
    """Return how the fleet's instruments and people repeat; None where nobody took readings."""
    instruments = {row.id: row for row in queries.instruments(record)}
    rows = [
        row
        for row in queries.surveys_measured(record)
        if row.scale is not None and row.instrument_id in instruments and row.counts
    ]
    if not rows:
        return None
    stated = {key: instrument_of(row) for key, row in instruments.items()}
    noise_um = np.array([_noise_um(stated[row.instrument_id], row.barrel_c) for row in rows])
    dof = np.array([row.dof for row in rows], dtype=np.float64)
    chi2 = np.maximum(np.array([row.scale for row in rows]) * (STATED_DOF + dof) - STATED_DOF, 0.0)
    day_of = np.array([epoch_days(row.measured_at) for row in rows], dtype=np.float64)

    serials, of_instrument = _groups([instruments[row.instrument_id].serial for row in rows])
    by_instrument = repeatability(chi2, dof, of_instrument, day_of, n_groups=len(serials))
    names, of_person = _groups([row.technician or "" for row in rows])
    fair = relative_to(chi2, by_instrument.ratio, of_instrument)
    by_person = repeatability(fair, dof, of_person, day_of, n_groups=len(names))
    return _Measured(
        instruments=instruments,
        stated=stated,
        rows=rows,
        closures=[json.loads(row.closure) if row.closure else None for row in rows],
        zeros=[
            (json.loads(row.common), epoch_days(row.measured_at) / DAYS_PER_YEAR) if row.common else None
            for row in rows
        ],
        noise_um=noise_um,
        serials=serials,
        of_instrument=of_instrument,
        by_instrument=by_instrument,
        names=names,
        of_person=of_person,
        by_person=by_person,
    )


def _groups(names: Sequence[str]) -> tuple[list[str], IntArray]:
    known, of = np.unique(np.array(names, dtype=np.str_), return_inverse=True)
    return [str(name) for name in known], of.astype(np.int64)


def _noise_um(instrument: Instrument | None, barrel_c: float | None) -> float:
    if instrument is None:
        return np.nan
    hot = HOT_FACTOR if is_hot(barrel_c) else 1.0
    return float(np.hypot(instrument.repeatability_um * hot, instrument.resolution_um / 12.0**0.5))


def _target_zero_um(instrument: Instrument | None) -> float | None:
    return None if instrument is None else instrument.target_zero_um


def _calibration(rows: Sequence[Any], day: date) -> tuple[date | None, date | None, Calibrated]:
    """Return when an instrument was last calibrated, until when that holds, and how that stands today."""
    known = [row for row in rows if row.calibrated_on <= day]
    if not known:
        return None, None, "none recorded"
    newest = max(known, key=lambda row: row.calibrated_on)
    if newest.due_on is None or day + DUE_SOON < newest.due_on:
        return newest.calibrated_on, newest.due_on, "in date"
    return newest.calibrated_on, newest.due_on, "due" if day <= newest.due_on else "lapsed"


def _row(
    at: int,
    who: str,
    kind: Literal["instrument", "technician"],
    found: Repeatability,
    noise_um: FloatArray,
    of: IntArray,
    known: _Measured,
    *,
    stated_um: float | None = None,
    target_zero_um: float | None = None,
    calibration: tuple[date | None, date | None, Calibrated] | None = None,
) -> GaugeRow:
    own = np.flatnonzero(of == at).tolist()
    # A ratio becomes a length by the noise of the surveys that made it.
    unit_um = float(np.sqrt(np.mean(noise_um[own] ** 2))) if stated_um is None else stated_um
    closures = [known.closures[k] for k in own if known.closures[k]]
    zero = _zero([known.zeros[k] for k in own], target_zero_um) if target_zero_um else None
    told = bool(np.isfinite(found.ratio[at]))
    since = bool(found.drifting[at])
    return GaugeRow(
        who=who,
        kind=kind,
        surveys=int(found.surveys[at]),
        dof=float(found.dof[at]),
        repeatability_um=unit_um * float(found.ratio[at]) if told else unit_um,
        low_um=unit_um * float(found.low[at]) if told else 0.0,
        high_um=unit_um * float(found.high[at]) if told else 0.0,
        stated_um=stated_um,
        unlike_stated=told and kind == "instrument" and bool(found.unlike_stated[at]),
        drifting=since,
        before_um=unit_um * float(found.before[at]) if since else None,
        since_um=unit_um * float(found.since[at]) if since else None,
        closure_rms_um=float(np.sqrt(np.mean(np.square(closures)))) if closures else None,
        closures=len(closures),
        zero_um_per_year=zero[0] if zero else None,
        u95_zero_um_per_year=zero[1] if zero else None,
        calibrated_on=calibration[0] if calibration else None,
        due_on=calibration[1] if calibration else None,
        calibration=calibration[2] if calibration else None,
    )


def _zero(told: Sequence[tuple[Any, float] | None], target_zero_um: float) -> tuple[float, float] | None:
    """Return an instrument's drift of the target zero per year, from the surveys that turned the target."""
    held = [pair for pair in told if pair is not None]
    turned = [(common, year) for common, year in held if max(common["u_target_zero_um"]) < _TOLD * target_zero_um]
    if not turned:
        return None
    drift = zero_drift(
        np.array([common["target_zero_um"] for common, _ in turned], dtype=np.float64),
        np.array([common["u_target_zero_um"] for common, _ in turned], dtype=np.float64),
        np.array([year for _, year in turned], dtype=np.float64),
        stated_um=target_zero_um,
    )
    return None if drift is None else (drift.um_per_year, drift.u95_um_per_year)
