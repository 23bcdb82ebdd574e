"""Bringing a large fleet up to date behind the pages: they show the older results and say so until it is done.

A small fleet is brought up to date within the request, so that whoever signs a visit sees it at once. What is noted
here about a process is about its own thread only; whether results are up to date is always asked of the store.
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from weakref import WeakKeyDictionary

from fleet.services.checks import current_checks
from fleet.services.cold_offsets import current_comparison
from fleet.services.refresh import bring_up_to_date, standing
from fleet.services.regimes import of_line
from fleet.services.series import current_series, kept_is_current
from fleet.store.engine import Store
from fleet.store.taking_turns import turn

log = logging.getLogger("asleft.refresh")

SMALL_FLEET: Final = 400
"""Up to so many lines a request waits for new results: a second or two; beyond it a thread makes them."""
AGAIN_AFTER_S: Final = 60.0
"""So long after a failure nobody tries again."""


@dataclass(frozen=True, slots=True)
class Older:
    """The results shown are older than the facts or the day: newer ones are being made, or could not be (`failed`).

    `states` tells whether what the store keeps of every line is older, `series` whether what this process keeps is.
    """

    states: bool
    series: bool
    failed: bool


class _Threads:
    """The threads of this process, one a store at most, and when one failed last."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin anew: a forked process has none of its parent's threads."""
        self.lock = threading.Lock()
        self.running: WeakKeyDictionary[object, threading.Thread] = WeakKeyDictionary()
        self.failed_at: WeakKeyDictionary[object, float] = WeakKeyDictionary()


_THREADS: Final = _Threads()
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_THREADS.forget)


def up_to_date_or_older(store: Store, *, now: datetime | None = None, small: int | None = None) -> Older | None:
    """See that a page has results to show; return None where they are up to date, else what to say of them.

    A small fleet, or one that has no results yet, is brought up to date now. For a large one a thread is started, one
    a process, and one process of all that serve the store does the work.

    Parameters
    ----------
    store : the record
    now : the present moment, for tests
    small : up to how many lines the request waits; None: `SMALL_FLEET`

    Raises
    ------
    FleetError
        The results of a small fleet could not be made.
    """
    stands = standing(store, now=now)
    if stands.lines <= (SMALL_FLEET if small is None else small) or not stands.with_state:
        if not stands.fresh:
            bring_up_to_date(store, now=now)
        return None
    with store.read() as record:
        series_older = kept_is_current(record, now=now) is False
    if stands.fresh and not series_older:
        return None
    return Older(not stands.fresh, series_older, failed=_start(store, lambda: _refresh(store, now)))


def prepare(store: Store) -> None:
    """Bring everything derived up to date and keep what pages need of the fleet at hand, before a server answers."""
    bring_up_to_date(store)
    keep_at_hand(store)


def keep_at_hand(store: Store, *, now: datetime | None = None) -> None:
    """Let this process keep what the pages of a line need of the whole fleet: series, checks, cold offsets, regimes."""
    with store.read() as record:
        fleet = current_series(record, now=now)
        current_checks(record, fleet)
        current_comparison(record, fleet)
        if fleet.plant.lines:
            of_line(record, fleet, fleet.plant.lines[0])


def _refresh(store: Store, now: datetime | None) -> None:
    with turn(store) as mine:
        if mine:
            bring_up_to_date(store, now=now)
    # The next page of a line finds the fleet's series at hand.
    if standing(store, now=now).fresh:
        keep_at_hand(store, now=now)


def _start(store: Store, work: Callable[[], None]) -> bool:
    """Run the work in a thread unless one runs or failed a moment ago; return whether the last one failed."""
    import time

    key = store.engine
    with _THREADS.lock:
        running = _THREADS.running.get(key)
        failed_at = _THREADS.failed_at.get(key)
        if running is not None and running.is_alive():
            return failed_at is not None
        if failed_at is not None and time.monotonic() - failed_at < AGAIN_AFTER_S:
            return True

        def run() -> None:
            try:
                work()
            except Exception:  # whatever it is, the pages must learn of it: nobody waits for this thread
                log.exception("the fleet could not be brought up to date; the pages show its older results")
                _THREADS.failed_at[key] = time.monotonic()
            else:
                _THREADS.failed_at.pop(key, None)

        thread = threading.Thread(target=run, name="asleft-refresh", daemon=True)
        _THREADS.running[key] = thread
        thread.start()
        return failed_at is not None


def wait(store: Store, timeout_s: float) -> bool:
    """Wait for this process's thread of a store, for tests and commands; return whether none runs any more."""
    with _THREADS.lock:
        thread = _THREADS.running.get(store.engine)
    if thread is not None:
        thread.join(timeout_s)
    return thread is None or not thread.is_alive()
