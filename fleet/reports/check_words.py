"""What a check says to a person: the evidence in numbers, the likely cause, and what the value would be if it were so.

Nothing here claims: a cause is "most likely", and nothing changes until a person chooses. Digits are the fine ones
(0.001 mm, 0.01 thou); offsets carry direction words, readings carry bare signs as typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.values import Axis
from fleet.words import NBSP, ReaderUnit, figure, plus_minus, quantised, said

CLOSING: Final = "Nothing changes until you choose."

_TITLES: Final[dict[str, str]] = {
    "sign_turned": "Sign turned?",
    "unit_mistyped": "Unit mistyped?",
    "roll_mistyped": "Roll mistyped?",
    "stations_swapped": "Stations swapped?",
    "target_loose": "Target loose?",
    "beam_disturbed": "Beam disturbed?",
    "calibration_expired": "Calibration expired",
    "still_warm": "Still warm?",
    "unexplained_residual": "Does not fit, cause unknown",
    "unlike_forecast": "Unlike the forecast",
    "support_not_answering": "Support not answering?",
}


@dataclass(frozen=True, slots=True)
class CheckFacts:
    """What a check noticed, with the plant's own codes, for whatever says or shows it.

    Attributes
    ----------
    check
        Name of the check.
    cause
        A short word for what is most likely.
    axis
        Axis it concerns; None: both.
    station, other_station
        Station codes (or the support's, for a support that does not answer); None: the whole survey.
    sequence
        The reading's sequence number, or of the first reading after a step.
    misfit_um, u95_misfit_um, typed_um, would_read_um, offset_um, would_be_um, expected_um, agrees_to_um
        Lengths in um, readings in the instrument's own signs, offsets + high or right. For a support that does not
        answer: `typed_um` the move made, `offset_um` how far the bore went, `expected_um` how far it should have.
    against_forecast
        Whether the evidence is the forecast rather than the survey itself.
    also
        Other explanations that the data cannot tell from it.
    note
        A whole sentence of plain facts that the numbers do not carry: the certificate's date, temperatures.
    """

    check: str
    cause: str = ""
    axis: Axis | None = None
    station: str | None = None
    other_station: str | None = None
    sequence: int | None = None
    misfit_um: float | None = None
    u95_misfit_um: float | None = None
    typed_um: float | None = None
    would_read_um: float | None = None
    offset_um: float | None = None
    would_be_um: float | None = None
    expected_um: float | None = None
    agrees_to_um: float | None = None
    against_forecast: bool = False
    also: tuple[str, ...] = ()
    note: str = ""


def title(check: str) -> str:
    """Return the heading of a check in a few words.

    Raises
    ------
    KeyError
        There is no check of that name.
    """
    return _TITLES[check]


def evidence(facts: CheckFacts, unit: ReaderUnit) -> str:
    """Return the numbers a check stands on, without any cause.

    Parameters
    ----------
    facts
        What was noticed.
    unit
        The reader's unit.

    Returns
    -------
    str
        One or two sentences; the note alone where there are no numbers.
    """
    if facts.check == "support_not_answering" and facts.axis and facts.typed_um is not None:
        return _unanswered(facts, facts.axis, facts.typed_um, unit)
    where = _where(facts)
    several = facts.check == "stations_swapped" or (facts.axis is None and facts.station is not None)
    verb = "do" if several else "does"
    parts: list[str] = []
    if facts.misfit_um is not None:
        against = "the forecast" if facts.against_forecast else "the other readings"
        parts.append(f"{where} {verb} not fit {against} by {_amount(facts.misfit_um, facts.u95_misfit_um, unit)}.")
    elif facts.against_forecast:
        parts.append(f"{where} {verb} not fit the forecast.")
    elif not facts.note:
        parts.append(f"{where}: the readings do not fit each other.")
    if facts.against_forecast and facts.expected_um is not None and facts.offset_um is not None and facts.axis:
        measured, expected = (
            said(um, facts.axis, "offset", unit, fine=True) for um in (facts.offset_um, facts.expected_um)
        )
        parts.append(f"Measured {measured}, expected {expected}.")
    if facts.note:
        parts.append(facts.note)
    return " ".join(parts)


def text(facts: CheckFacts, unit: ReaderUnit) -> str:
    """Return the whole of a check: evidence, likely cause, what the value would be if it were so.

    Parameters
    ----------
    facts
        What was noticed.
    unit
        The reader's unit.

    Returns
    -------
    str
        A few sentences; the last says that nothing changes by itself.

    Raises
    ------
    KeyError
        There is no check of that name.
    """
    parts = [evidence(facts, unit), _cause(facts), _if_so(facts, unit)]
    if facts.also:
        parts.append(f"The data cannot tell this from: {', '.join(facts.also)}.")
    parts.append(CLOSING)
    return " ".join(part for part in parts if part)


def _unanswered(facts: CheckFacts, axis: Axis, move_um: float, unit: ReaderUnit) -> str:
    """Say what was moved and what the bore did; here the lengths are movements, not offsets."""
    moved, went, wanted = (
        said(um, axis, "movement", unit, fine=True)
        for um in (move_um, facts.offset_um or 0.0, facts.expected_um or 0.0)
    )
    spread = "" if facts.u95_misfit_um is None else f" {plus_minus(facts.u95_misfit_um, unit, fine=True)}"
    return (
        f"Support {facts.station} was moved {moved}; the bore there went {went}, where {wanted}{spread} was expected."
    )


def _where(facts: CheckFacts) -> str:
    axis = facts.axis or "v and h"
    if facts.check == "stations_swapped" and facts.station and facts.other_station:
        return f"Stations {facts.station} and {facts.other_station}"
    if facts.check in ("target_loose", "beam_disturbed") and facts.sequence is not None:
        return f"What was read from reading{NBSP}{facts.sequence} on"
    if facts.check == "support_not_answering" and facts.station:
        return f"{axis} at support {facts.station}"
    if facts.station is None:
        return f"{axis} of the whole survey" if facts.axis else "The whole survey"
    reading = f", reading{NBSP}{facts.sequence}," if facts.sequence is not None else ""
    return f"{axis} at station {facts.station}{reading}"


def _amount(um: float, u95_um: float | None, unit: ReaderUnit) -> str:
    amount = f"{figure(um, unit, fine=True)}{NBSP}{unit}"
    return amount if u95_um is None else f"{amount} {plus_minus(u95_um, unit, fine=True)}"


def _reading(um: float, unit: ReaderUnit) -> str:
    shown = quantised(um, unit, fine=True)
    sign = f"+{NBSP}" if shown > 0 else f"−{NBSP}" if shown < 0 else ""
    return f"{sign}{abs(shown)}{NBSP}{unit}"


_CAUSES: Final[dict[str, str]] = {
    "sign_turned": "Most likely the sign.",
    "unit_mistyped": "Most likely the unit or the decimal point ({cause}).",
    "roll_mistyped": "Most likely the roll is not what was written ({cause}).",
    "stations_swapped": "Most likely the two stations were written for each other.",
    "target_loose": "Most likely the target moved in its seat or on its rod ({cause}).",
    "beam_disturbed": "Most likely the beam was moved between readings ({cause}).",
    "calibration_expired": "The instrument may read off by more than is counted here.",
    "still_warm": "Most likely the barrel had not cooled evenly.",
    "unexplained_residual": "Nothing that is known here explains it; read it again.",
    "unlike_forecast": "Either the line moved as its record does not show, or a slip stands in every reading.",
    "support_not_answering": "Most likely something else carries or holds the barrel there.",
}


def _cause(facts: CheckFacts) -> str:
    sentence = _CAUSES[facts.check]
    if facts.check == "sign_turned" and facts.station is None:
        return "Most likely the sign of every reading, or the instrument’s sense as recorded."
    return sentence.format(cause=facts.cause) if facts.cause else sentence.replace(" ({cause})", "")


_CONDITIONS: Final[dict[str, str]] = {
    "sign_turned": "With {whose} sign turned",
    "unit_mistyped": "In the other unit",
    "roll_mistyped": "With the other roll",
    "stations_swapped": "With the two stations changed over",
    "target_loose": "With that step taken out",
    "beam_disturbed": "With the beam taken as set anew there",
    "unexplained_residual": "Without it",
}


def _if_so(facts: CheckFacts, unit: ReaderUnit) -> str:
    condition = _CONDITIONS.get(facts.check, "If so")
    condition = condition.format(whose=f"{facts.axis}’s" if facts.axis else "every")
    said_so: list[str] = []
    if facts.would_read_um is not None and facts.check in ("sign_turned", "unit_mistyped"):
        condition = f"With {_reading(facts.would_read_um, unit)}"
        if facts.typed_um is not None:
            condition += f" instead of {_reading(facts.typed_um, unit)}"
    if facts.would_be_um is not None and facts.axis is not None:
        said_so.append(f"the bore lies {said(facts.would_be_um, facts.axis, 'offset', unit, fine=True)}")
    if facts.agrees_to_um is not None:
        remains = f"{figure(facts.agrees_to_um, unit, fine=True)}{NBSP}{unit}"
        with_what = "this agrees with the forecast" if facts.against_forecast else "the readings agree"
        said_so.append(f"{with_what} to {remains}")
    return f"{condition} {' and '.join(said_so)}." if said_so else ""
