"""The cold targets a visit begins with: those of the job sheet, as text to be left or changed."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from fleet.reports.job_sheet import JobSheet
from fleet.services.job_sheet import job_sheet
from fleet.services.recording.fields import target_field
from fleet.store.engine import Store
from fleet.units import UM_PER
from fleet.values import AXES

_PLACES: Final = {
    "um": Decimal(1), "mm": Decimal("0.001"), "thou": Decimal("0.01"), "in": Decimal("0.00001"),
}  # fmt: skip
"""How finely a figure is written: a thousandth of a millimetre, a hundredth of a thou."""


def as_text(um: float, unit: str) -> str:
    """Return a length as somebody would type it in a unit, with a sign only where it is negative."""
    number = (Decimal(repr(float(um))) / UM_PER[unit]).quantize(_PLACES[unit], rounding=ROUND_HALF_UP)
    return f"{abs(number) if number == 0 else number:f}"


def exactly(um: float, unit: str) -> str:
    """Return a stored length in the unit it was typed in, with all its figures."""
    return f"{(Decimal(repr(float(um))) / UM_PER[unit]).normalize():f}"


def proposed_targets(store: Store, line: str, unit: str, *, now: datetime | None = None) -> dict[str, str]:
    """Return the targets of a line's job sheet as fields of a visit; nothing where the sheet has none.

    Parameters
    ----------
    store : the record
    line : its code
    unit : of the visit
    now : the present moment, for tests
    """
    return targets_of(job_sheet(store, line, now=now), unit)


def targets_of(sheet: JobSheet, unit: str) -> dict[str, str]:
    """Return the targets of a job sheet as fields of a visit."""
    fields = {
        target_field(station.station, axis): as_text(um, unit)
        for station in sheet.stations
        if None not in station.target_um
        for axis, um in zip(AXES, station.target_um, strict=True)
        if um is not None
    }
    if fields:
        fields["c.basis"] = "job sheet"
        fields["c.reason"] = sheet.target_why
    return fields
