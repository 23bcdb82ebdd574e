"""What the Outages page asks for: one function each, a planning service bound to a store."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from dashboard import hand_over_sources
from dashboard.hand_over_sources import HandOverSources
from fleet.reports.became_content import Became, ScoreContent
from fleet.reports.plan_content import PlanContent
from fleet.reports.what_if_words import WhatIfAnswer
from fleet.services.planning.asking import Asked
from fleet.services.planning.editing import OutageListed, edit_line, edit_outage, outages_listed
from fleet.services.planning.forms import Form, form
from fleet.services.planning.keeping import KeptLine, Saved


@dataclass(frozen=True, slots=True)
class PlanSources:
    """The planning services the pages call."""

    hand_over: HandOverSources
    content: Callable[[Asked], PlanContent]
    outages: Callable[[str | None], tuple[OutageListed, ...]]
    kept: Callable[[str], PlanContent]
    kept_plans: Callable[[str | None], tuple[KeptLine, ...]]
    facts_version: Callable[[], int]
    keep: Callable[[Asked, str, str, str | None, tuple[str, int] | None, int], Saved]
    sign_off: Callable[[str, str, int], str]
    reopen: Callable[[str, str, str, int], str]
    form: Callable[[str, str | None], Form]
    edit_outage: Callable[[Mapping[str, str], str, bool], tuple[str, ...]]
    edit_line: Callable[[str, Mapping[str, str], str], tuple[str, ...]]
    what_if: Callable[[Asked, str, PlanContent], WhatIfAnswer]
    became: Callable[[str], Became]
    score: Callable[[str | None], ScoreContent]


def from_store(store: Any) -> PlanSources:
    """Bind the planning services to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.
    """
    from fleet.services.planning import keeping, what_if
    from fleet.services.planning.became import became, own_score
    from fleet.services.planning.planned import plan_content

    return PlanSources(
        hand_over=hand_over_sources.from_store(store),
        content=lambda asked: plan_content(store, asked),
        outages=lambda site: outages_listed(store, site),
        kept=lambda code: keeping.kept_plan(store, code),
        kept_plans=lambda site: keeping.kept_plans(store, site),
        facts_version=lambda: keeping.facts_version(store),
        keep=lambda asked, by, note, code, over, seen: keeping.keep(
            store, asked, by=by, note=note, code=code, over=over, seen=seen
        ),
        sign_off=lambda code, by, version: keeping.sign_off(store, code, by=by, version=version),
        reopen=lambda code, by, why, version: keeping.reopen(store, code, by=by, why=why, version=version),
        form=lambda what, site: form(store, what, site=site),
        edit_outage=lambda typed, by, new: edit_outage(store, typed, by=by, new=new),
        edit_line=lambda line, typed, by: edit_line(store, line, typed, by=by),
        what_if=lambda asked, question, first: what_if.what_if(store, asked, question, first=first),
        became=lambda code: became(store, code),
        score=lambda site: own_score(store, site),
    )
