"""What a measured rise means, said before it is stored: how far the bore went, and where that put it running."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from fleet.services.job_sheet import job_sheet
from fleet.services.recording.typed import plain_number
from fleet.store.engine import Store
from fleet.units import to_um

Pair = tuple[float, float | None]


@dataclass(frozen=True, slots=True)
class RiseMeaning:
    """One station of a running check as typed [um]; v, and h where it was measured; + higher or to the right.

    Attributes
    ----------
    rise_um
        As typed.
    from_axis_um
        Relative to the gearbox axis: as typed, or with the gearbox's typed rise taken off; None: the gearbox's rise is
        not typed, so that the heat model has to take it off later.
    left_um, left_at
        Where the last as-left put the station, and when; None: no as-left of it.
    ran_um
        Where it ran: the as-left plus the rise from the axis; None where either is missing.
    warm_zero
        The zero was taken warm: the modelled rise up to it is added when the check is reduced.
    """

    station: str
    rise_um: Pair
    from_axis_um: Pair | None
    left_um: tuple[float, float] | None
    left_at: datetime | None
    ran_um: Pair | None
    warm_zero: bool


def meaning(
    store: Store, line: str, rows: Sequence[Mapping[str, str]], *, now: datetime | None = None
) -> tuple[RiseMeaning, ...]:
    """Return what the rows of a running check come to beside the line's last as-left.

    Parameters
    ----------
    store : the record
    line : its code
    rows : cells as typed, by column of `running_checks`
    now : the present moment, aware, for tests

    Raises
    ------
    NotFoundError
        No line has this code.
    InputError
        A rise is no number, or its unit is unknown.
    """
    sheet = job_sheet(store, line, now=now)
    past = sheet.last_as_left
    left = {station: (v, h) for station, v, h in past.offsets_um} if past is not None else {}
    found = []
    for row in rows:
        unit = row.get("unit") or "mm"
        rise: Pair = (to_um(plain_number(row["v_rise"]), unit), None)
        if row.get("h_rise"):
            rise = (rise[0], to_um(plain_number(row["h_rise"]), unit))
        from_axis: Pair | None = rise
        if row.get("relative_to") == "floor":
            gearbox = row.get("gearbox_rise") or ""
            from_axis = (rise[0] - to_um(plain_number(gearbox), unit), rise[1]) if gearbox else None
        was = left.get(row["station"])
        ran: Pair | None = None
        if was is not None and from_axis is not None:
            ran = (was[0] + from_axis[0], None if from_axis[1] is None else was[1] + from_axis[1])
        found.append(
            RiseMeaning(
                station=row["station"],
                rise_um=rise,
                from_axis_um=from_axis,
                left_um=was,
                left_at=past.on if past is not None and was is not None else None,
                ran_um=ran,
                warm_zero=bool(row.get("zero_barrel_c")),
            )
        )
    return tuple(found)
