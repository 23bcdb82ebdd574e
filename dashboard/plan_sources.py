"""What the Outages page asks for: one function each, a planning service bound to a store."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fleet.reports.plan_content import PlanContent
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import OutageListed, edit_line, edit_outage, outages_listed
from fleet.services.planning.forms import Form, form


@dataclass(frozen=True, slots=True)
class PlanSources:
    """The planning services the pages call."""

    content: Callable[[Asked], PlanContent]
    outages: Callable[[str | None], tuple[OutageListed, ...]]
    form: Callable[[str, str | None], Form]
    edit_outage: Callable[[Mapping[str, str], str, bool], tuple[str, ...]]
    edit_line: Callable[[str, Mapping[str, str], str], tuple[str, ...]]


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
        form=lambda what, site: form(store, what, site=site),
        edit_outage=lambda typed, by, new: edit_outage(store, typed, by=by, new=new),
        edit_line=lambda line, typed, by: edit_line(store, line, typed, by=by),
    )
