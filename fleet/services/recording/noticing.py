"""What is noticed in a pass while it is typed, and how a person can settle it: nothing is ever changed here."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from fleet.measure import Instrument, adjust
from fleet.measure.slips import Expected, Slip
from fleet.reports.check_words import CheckFacts
from fleet.services.checks import facts_of
from fleet.services.expectation import COMMON_SHARE, EXPECTED_DOF
from fleet.services.recording import fields
from fleet.services.recording.layout import Layout, Place
from fleet.services.recording.passes import Foreseen, PassRead, beam_off_um
from fleet.services.recording.slips import Question, reading_um, sign_turned, signs_that_settle, slips_in
from fleet.services.recording.targets import as_text
from fleet.services.recording.typed import Typed, plain_number
from fleet.services.recording.unsaved import Unsaved
from fleet.services.recording.view import NoticedView, SlipScale
from fleet.values import AXES, NORMAL_95

_LEAST_OTHERS: Final = 2
_KEY_DIGITS: Final = 12


def notice(
    read: PassRead,
    layout: Layout,
    instrument: Instrument | None,
    foreseen: Foreseen | None,
    unanswered: Sequence[CheckFacts] = (),
) -> tuple[NoticedView, ...]:
    """Return what does not fit in a pass, readings and expectation together, the plainest first.

    Parameters
    ----------
    read, layout, instrument : the pass
    foreseen : what it was expected to show
    unanswered : supports that did not answer the moves before it; they say what a plain "unlike" would say again
    """
    if read.unsaved is None or instrument is None:
        return ()
    question = Question(read.unsaved.readings, instrument, read.hot, _expected(read.unsaved, foreseen))
    axes = {facts.axis for facts in unanswered}
    slips = [slip for slip in slips_in(question) if slip.check != "unlike_forecast" or slip.axis not in axes]
    noticed = [_view(_pinned(slip, question), read, read.unsaved, layout, instrument, foreseen) for slip in slips]
    for facts in unanswered:
        codes = {s.code for s in read.unsaved.stations if s.support == facts.station}
        reads = tuple(
            place.v if facts.axis == "v" else place.h for place in read.taken.places if place.station.code in codes
        )
        amount = fields.move_field(read.number - 1, facts.station or "", facts.axis or "v", "amount")
        noticed.append(
            _noticed(
                facts,
                read.number,
                layout.typed,
                field=None,
                would=None,
                scale=None,
                reads=reads,
                also_of=(amount,),
            )
        )
    return tuple(noticed)


def _pinned(slip: Slip, question: Question) -> Slip:
    """Return a slip of a station's signs with the one reading that settles it by itself, where there is just one.

    Where one number is small its sign hardly matters, and the data cannot tell that only the other was turned; but
    only one has to be turned for everything to fit.
    """
    doubted = slip.check == "sign_turned" or "sign turned" in slip.also
    if slip.station is None or not doubted or (slip.sequence is not None and slip.axis is not None):
        return slip
    here = np.flatnonzero(question.readings.station == slip.station).tolist()
    settles = signs_that_settle(question, here)
    if len(settles) != 1:
        return slip
    ((place, axis),) = settles
    typed_um = reading_um(question.readings, place, axis)
    at = (slip.station, AXES.index(axis))
    turned = sign_turned(question.readings, place, axis)
    return replace(
        slip,
        check="sign_turned",
        cause="sign",
        axis=axis,
        sequence=int(question.readings.sequence[place]),
        typed_um=typed_um,
        would_read_um=-typed_um,
        misfit_um=None,
        u95_misfit_um=None,
        offset_um=float(adjust(question.readings, question.instrument, hot=question.hot).offset_um[at]),
        would_be_um=float(adjust(turned, question.instrument, hot=question.hot).offset_um[at]),
        agrees_to_um=None,
        also=(),
    )


def _expected(unsaved: Unsaved, foreseen: Foreseen | None) -> Expected | None:
    """Return the expectation as surveyed: cold as foreseen, with the warmth of today and its uncertainty."""
    if foreseen is None:
        return None
    nan = float("nan")

    def array(pairs: object) -> np.ndarray:
        return np.array(
            [
                [nan if um is None else um for um in pairs.get(station.code, (None, None))]  # type: ignore[attr-defined]
                for station in unsaved.stations
            ],
            dtype=np.float64,
        )

    value, u = array(foreseen.offset_um), array(foreseen.u_um)
    if not np.isfinite(value).any():
        return None
    value[:, 0] += unsaved.warm_um
    u[:, 0] = np.sqrt(u[:, 0] ** 2 + unsaved.warm_var_um2)
    return Expected(offset_um=value, u_um=u, dof=EXPECTED_DOF, common=COMMON_SHARE)


def _view(
    slip: Slip, read: PassRead, unsaved: Unsaved, layout: Layout, instrument: Instrument, foreseen: Foreseen | None
) -> NoticedView:
    facts = facts_of(slip, unsaved.stations)
    typed = layout.typed
    place = read.taken.place(slip.sequence)
    field = None if place is None or slip.axis is None else (place.v if slip.axis == "v" else place.h)
    reads = _reads(slip, read, field)
    return _noticed(
        facts,
        read.number,
        typed,
        field=field,
        would=None if field is None else would_text(slip, typed.text(field), typed.unit),
        scale=_scale(slip, place, read, layout, instrument, foreseen),
        reads=reads,
    )


def _noticed(
    facts: CheckFacts,
    number: int,
    typed: Typed,
    *,
    field: str | None,
    would: str | None,
    scale: SlipScale | None,
    reads: tuple[str, ...],
    also_of: Sequence[str] = (),
) -> NoticedView:
    key = _key(number, facts, field, (*reads, *also_of), typed)
    why = typed.field(fields.settle_field(key, "why"))
    choice = typed.field(fields.settle_field(key, "choice"), choices=fields.CHOICES)
    return NoticedView(
        key=key,
        number=number,
        facts=facts,
        field=field,
        typed=None if field is None else typed.raw(field),
        would_text=would,
        unit_text=typed.unit,
        choice=choice,
        why=why,
        was=typed.field(fields.settle_field(key, "was")),
        settled=choice.text.strip() == "kept" and bool(why.text.strip()),
        scale=scale,
        reads=reads,
    )


def _reads(slip: Slip, read: PassRead, field: str | None) -> tuple[str, ...]:
    """Return the fields that could be read again: the one that is doubted, else those of the station, else all."""
    if field is not None:
        return (field,)
    unsaved = read.unsaved
    wanted = {slip.station, slip.other_station} - {None}
    codes = {unsaved.stations[k].code for k in wanted if k is not None} if unsaved is not None else set()
    places = [place for place in read.taken.places if not codes or place.station.code in codes]
    if slip.sequence is not None and not codes:
        places = list(read.taken.places[slip.sequence - 1 :])
    axes = (slip.axis,) if slip.axis is not None else AXES
    return tuple(name for place in places for axis, name in (("v", place.v), ("h", place.h)) if axis in axes)


def _key(number: int, facts: CheckFacts, field: str | None, of: Sequence[str], typed: Typed) -> str:
    """Name what was noticed by what was typed: an acceptance does not outlive the numbers it was given for."""
    parts = [str(number), facts.check, str(facts.axis), str(facts.station), str(facts.other_station), str(field)]
    parts += [f"{name}={typed.text(name)}" for name in of]
    digest = hashlib.sha256("\n".join(parts).encode()).hexdigest()[:_KEY_DIGITS]
    return fields.noticed_key(digest, number, facts.check, facts.axis, facts.station, field)


def would_text(slip: Slip, written: str, unit: str) -> str | None:
    """Return the text to put in if it were so: with the sign turned the very figures typed, else as finely as usual.

    Parameters
    ----------
    slip : what was noticed of one number of one reading
    written : the number as typed
    unit : the visit's
    """
    if slip.would_read_um is None:
        return None
    number = plain_number(written)
    if slip.typed_um is not None and np.isclose(slip.would_read_um, -slip.typed_um, atol=1e-6):
        return number[1:] if number.startswith("-") else f"-{number.removeprefix('+')}"
    return as_text(slip.would_read_um, unit)


def _scale(
    slip: Slip, place: Place | None, read: PassRead, layout: Layout, instrument: Instrument, foreseen: Foreseen | None
) -> SlipScale | None:
    """Return the scale that gives a slip of one reading away; None where no single figure does."""
    unsaved = read.unsaved
    if unsaved is None or place is None or slip.axis is None or slip.typed_um is None:
        return None
    axis = AXES.index(slip.axis)
    code = place.station.code
    here = beam_off_um(layout, read.number, place.station, instrument)
    if here is not None and place.roll in (0, 180):
        others = [
            off[axis]
            for station in layout.taken
            if station.code != code and (off := beam_off_um(layout, read.number, station, instrument)) is not None
        ]
        if len(others) >= _LEAST_OTHERS:
            usual = float(np.median(others))
            noise = float(np.hypot(instrument.repeatability_um, instrument.resolution_um / 12.0**0.5)) / 2.0**0.5
            spread = max(float(np.std(others, ddof=1)), noise)
            would = None
            if slip.would_read_um is not None:
                sense = instrument.sense_v if axis == 0 else instrument.sense_h
                change = sense * (slip.would_read_um - slip.typed_um) / 2.0
                would = here[axis] + (change if place.roll == 180 else -change)
            if abs(here[axis] - usual) > NORMAL_95 * spread:
                return SlipScale("beam", slip.axis, here[axis], would, usual, NORMAL_95 * spread, len(others))
    expected = None if foreseen is None else foreseen.offset_um.get(code, (None, None))[axis]
    u95 = None if foreseen is None else foreseen.u95_um.get(code, (None, None))[axis]
    if expected is None or u95 is None or slip.offset_um is None:
        return None
    return SlipScale("offset", slip.axis, slip.offset_um, slip.would_be_um, expected, u95, 0)
