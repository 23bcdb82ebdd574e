"""A plan kept as of a day that is past, with what was known then, so that the demo has one to look back on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Final

from fleet.services.planning.asking import Asked
from fleet.services.planning.keeping import keep, kept_plans, sign_off
from fleet.store.engine import Store

AGO: Final = timedelta(days=365)
PLANNER: Final = "J. Quillam"
"""An invented person."""


def keep_example(store: Store, *, now: datetime | None = None) -> str:
    """Plan every site a year ago, sign that off, and return its code.

    Parameters
    ----------
    store : the demo's own, never a plant's
    now : the present moment; None: the clock

    Raises
    ------
    FleetError
        There was nothing to plan then.
    """
    then = (now or datetime.now(UTC)) - AGO
    kept = keep(store, Asked(), by=PLANNER, note="All sites, as known that day.", now=then)
    (version,) = (line.version for line in kept_plans(store) if line.code == kept.code)
    sign_off(store, kept.code, by=PLANNER, version=version, now=then + timedelta(hours=1))
    return kept.code
