"""What the Outages page asks for: one function each, a planning service bound to a store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import OutageListed, outages_listed


@dataclass(frozen=True, slots=True)
class PlanSources:
    """The planning services the pages call."""

    content: Callable[[Asked], PlanContent]
    outages: Callable[[str | None], tuple[OutageListed, ...]]


def from_store(store: Any) -> PlanSources:
    """Bind the planning services to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.
    """
    from fleet.services.planning.planned import plan_content

    return PlanSources(
        content=lambda asked: plan_content(store, asked),
        outages=lambda site: outages_listed(store, site),
    )
