"""Laying sources down, and counting what a store holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from intake_sources import SOUND
from sqlalchemy import func, select

from fleet.store import Base
from fleet.store.engine import Store
from fleet.store.versions import data_version


@pytest.fixture
def folder(tmp_path: Path) -> Callable[..., Path]:
    """A way to lay a source down: the sound one, with some files replaced, added or (None) left away."""
    made = 0

    def lay(changed: Mapping[str, str | bytes | None] | None = None, *, sound: bool = True) -> Path:
        nonlocal made
        made += 1
        place = tmp_path / f"source{made}"
        place.mkdir()
        files: dict[str, str | bytes | None] = dict(SOUND) if sound else {}
        files |= dict(changed or {})
        for name, content in files.items():
            if content is not None:
                data = content.encode() if isinstance(content, str) else content
                (place / (name if "." in name else f"{name}.csv")).write_bytes(data)
        return place

    return lay


@pytest.fixture
def census() -> Callable[[Store], dict[str, int]]:
    """A way to tell whether a store was touched: the rows of every table, and its data_version."""

    def count(store: Store) -> dict[str, int]:
        with store.read() as session:
            found = {
                table.name: session.execute(select(func.count()).select_from(table)).scalar_one()
                for table in Base.metadata.sorted_tables
            }
            return found | {"data_version": data_version(session)}

    return count
