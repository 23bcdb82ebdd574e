"""Where the pages get their contents: one function a page, each a service bound to a store.

The pages and the figures know only these functions, so a test hands them invented contents and no store.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dashboard import plan_sources, records_sources
from dashboard.plan_sources import PlanSources
from dashboard.record_sources import RecordSources, record_sources
from dashboard.records_sources import RecordsSources
from fleet.reports import job_sheet_html
from fleet.reports.job_sheet import JobSheet
from fleet.reports.labels import LabelSheet
from fleet.reports.session_content import SessionRecord
from fleet.services import (
    backtest,
    catalog,
    cold_offset_groups,
    cold_offsets_page,
    compare,
    fleet_page,
    job_sheet,
    limits,
    line_page,
    line_regime,
)
from fleet.services.backtest import BacktestSummary, BacktestView
from fleet.services.cold_offset_groups import ComparisonRow, GroupBy, WaysView
from fleet.services.cold_offsets_page import ColdOffsetsView
from fleet.services.compare import CompareFilters, CompareView
from fleet.services.fleet_page import FleetFilters, FleetView
from fleet.services.labels import label_sheet
from fleet.services.limits import LimitAsked
from fleet.services.line_page import LineView
from fleet.services.line_regime import Decision
from fleet.services.measured_rises import StationRise, measured_rises
from fleet.services.session_page import session_record
from fleet.values import Axis
from fleet.words import ReaderUnit


@dataclass(frozen=True, slots=True)
class Sources:
    """The services the pages call; those that take a line's code raise NotFoundError where it is not in the store."""

    fleet: Callable[[FleetFilters], FleetView]
    held: Callable[[str | None], BacktestSummary]
    backtest: Callable[[str | None], BacktestView]
    line: Callable[[str, str | None, Axis | None, str | None, str | None], LineView]
    cold_offsets: Callable[[str, str | None, Axis | None], ColdOffsetsView]
    ways: Callable[[Axis, str | None, GroupBy], WaysView]
    comparison: Callable[[str | None, str | None], list[ComparisonRow]]
    compare: Callable[[CompareFilters], CompareView]
    rises: Callable[[str], tuple[StationRise, ...]]
    job_sheet: Callable[[str], JobSheet]
    paper: Callable[[JobSheet, ReaderUnit], str]
    session: Callable[[str], SessionRecord]
    labels: Callable[[str | None, tuple[str, ...]], LabelSheet]
    line_codes: Callable[[], tuple[str, ...]]
    decide: Callable[[str, str, Decision, str, str], str]
    set_limit: Callable[[str, LimitAsked], str]
    records: RecordsSources
    recording: RecordSources
    plans: PlanSources


def from_store(store: Any) -> Sources:
    """Bind every service to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`; the screens hand it on and never look inside.
    """
    return Sources(
        fleet=lambda filters: fleet_page.fleet_view(store, filters),
        held=lambda site: backtest.backtest_summary(store, site=site),
        backtest=lambda site: backtest.backtest(store, site=site),
        line=lambda line, station, axis, a, b: line_page.line_view(
            store, line, station=station, axis=axis, first=a, second=b
        ),
        cold_offsets=lambda line, station, axis: cold_offsets_page.cold_offsets_view(
            store, line, station=station, axis=axis
        ),
        ways=lambda axis, site, by: cold_offset_groups.ways_view(store, axis=axis, site=site, by=by),
        comparison=lambda line, site: cold_offset_groups.comparison_rows(store, line=line, site=site),
        compare=lambda filters: compare.compare_view(store, filters),
        rises=lambda line: measured_rises(store, line),
        job_sheet=lambda line: job_sheet.job_sheet(store, line),
        paper=job_sheet_html.render,
        session=lambda session: session_record(store, session),
        labels=lambda site, lines: label_sheet(store, site=site, lines=lines),
        line_codes=lambda: catalog.line_codes(store),
        decide=lambda line, handle, decision, by, why: line_regime.decide(
            store, line, handle, decision, by=by, why=why
        ),
        set_limit=lambda line, asked: limits.set_limit(store, line, asked),
        records=records_sources.from_store(store),
        recording=record_sources(store),
        plans=plan_sources.from_store(store),
    )
