"""What is worked out once per version of the facts and kept by the process: a saving, never the truth."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar
from weakref import WeakKeyDictionary

from fleet.store import queries
from fleet.store.versions import data_version

T = TypeVar("T")


class Kept(Generic[T]):
    """The newest of something worked out from the facts, one for each store.

    The store is asked for its version every time, so an answer is never older than the facts.
    """

    def __init__(self) -> None:
        self._newest: WeakKeyDictionary[object, tuple[tuple[int, object], T]] = WeakKeyDictionary()

    def version(self, record: queries.Record) -> tuple[int, object] | None:
        """Return the version of the facts and the days of what is kept; None where nothing is."""
        kept = self._newest.get(record.get_bind().engine)
        return None if kept is None else kept[0]

    def newest(self, record: queries.Record) -> T | None:
        """Return what is kept, whatever it was made from; only for a page that says that it is older."""
        kept = self._newest.get(record.get_bind().engine)
        return None if kept is None else kept[1]

    def of(self, record: queries.Record, days: object, make: Callable[[], T]) -> T:
        """Return what is kept for this version of the facts and these days, or make it and keep that.

        Parameters
        ----------
        record : open session of `Store.read()`
        days : as of which it is
        make : works it out
        """
        kept = self._newest.get(record.get_bind().engine)
        key = (data_version(record), days)
        if kept is None or kept[0] != key:
            kept = (key, make())
            self._newest[record.get_bind().engine] = kept
        return kept[1]

    def held(self, record: queries.Record, days: object) -> T | None:
        """Return what is kept for this version of the facts and these days; None where it is not, and make nothing."""
        kept = self._newest.get(record.get_bind().engine)
        return None if kept is None or kept[0] != (data_version(record), days) else kept[1]
