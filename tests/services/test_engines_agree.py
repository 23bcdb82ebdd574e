"""The same record gives the same answers on SQLite and on PostgreSQL, page by page."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

from fleet.services.cold_offsets import cold_offset_rows
from fleet.services.cold_offsets_page import cold_offsets_view
from fleet.services.drift import drift_rows
from fleet.services.fleet_page import FleetFilters, fleet_view
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.job_sheet import job_sheet
from fleet.services.line_page import line_view
from fleet.services.offsets import offset_rows
from fleet.store.engine import Store

MILL_C = Path(__file__).parents[1] / "data" / "mill-c"
SIGNED = ("signed_at", "refreshed_at")
"""Moments of the import itself, which differ."""


def same(one: object, other: object, path: str = "") -> None:
    """Compare results field by field; sums run in the database's own row order, hence the last digits."""
    if isinstance(one, float) and isinstance(other, float):
        assert math.isclose(one, other, rel_tol=1e-6, abs_tol=1e-6), path
    elif dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            if field.name not in SIGNED:
                same(getattr(one, field.name), getattr(other, field.name), f"{path}.{field.name}")
    elif isinstance(one, list | tuple):
        assert isinstance(other, list | tuple)
        assert len(one) == len(other), path
        for index, pair in enumerate(zip(one, other, strict=True)):
            same(*pair, f"{path}[{index}]")
    else:
        assert one == other, path


@pytest.mark.postgres
def test_every_page_and_command_answers_alike_on_both_engines(sqlite_store: Store, postgres_store: Store) -> None:
    stores = (sqlite_store, postgres_store)
    for store in stores:
        import_folder(store, MILL_C, who="tester")
    same(*(offset_rows(store) for store in stores), "offsets")
    same(*(drift_rows(store) for store in stores), "drift")
    same(*(forecast_rows(store) for store in stores), "forecast")
    same(*(cold_offset_rows(store) for store in stores), "cold offsets")
    same(*(fleet_view(store, FleetFilters()) for store in stores), "fleet")
    for line in ("C01", "C02", "C03", "C04", "C05", "C06", "C07", "C08"):
        same(*(line_view(store, line) for store in stores), f"line {line}")
        same(*(job_sheet(store, line) for store in stores), f"job sheet {line}")
        same(*(cold_offsets_view(store, line) for store in stores), f"cold offsets {line}")


def test_a_difference_would_be_seen() -> None:
    with pytest.raises(AssertionError, match="x"):
        same([1.0, 2.0], [1.0, 2.001], "x")
