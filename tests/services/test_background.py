"""A large fleet is brought up to date behind the pages: they show the older results, say so, and never wait."""

from __future__ import annotations

import logging
import threading
from datetime import timedelta
from pathlib import Path

import pytest
from record_sources import NOW, TODAY, write_source

from fleet.services import background
from fleet.services.fleet_page import FleetFilters, fleet_view
from fleet.services.line_page import line_view
from fleet.services.refresh import standing
from fleet.store.engine import Store, open_store
from fleet.store.taking_turns import turn

LATER = NOW + timedelta(days=2)


def test_a_large_fleet_shows_its_older_results_and_says_so_until_the_new_ones_are_made(
    own_mill_c: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()
    make = background.bring_up_to_date

    def held_up(store: Store, **how: object) -> bool:
        assert go_on.wait(60)
        return make(store, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(background, "bring_up_to_date", held_up)
    for _ in range(3):
        # Nobody waits for the thread, and more asking starts no second one.
        view = fleet_view(own_mill_c, FleetFilters(), now=LATER, small=0)
        assert view.older == background.Older(states=True, series=False, failed=False)
        assert (view.as_of, view.total) == (TODAY, 8)
    assert sum(thread.name == "asleft-refresh" for thread in threading.enumerate()) == 1
    go_on.set()
    assert background.wait(own_mill_c, 60)
    view = fleet_view(own_mill_c, FleetFilters(), now=LATER, small=0)
    assert (view.older, view.as_of) == (None, TODAY + timedelta(days=2))


def test_a_small_fleet_waits_so_that_a_signed_visit_is_seen_at_once(own_mill_c: Store) -> None:
    view = fleet_view(own_mill_c, FleetFilters(), now=LATER)
    assert (view.older, view.as_of) == (None, TODAY + timedelta(days=2))


def test_a_refresh_that_fails_is_logged_said_and_not_tried_again_at_once(
    own_mill_c: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tried: list[int] = []

    def broken(*_: object, **__: object) -> bool:
        tried.append(1)
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(background, "bring_up_to_date", broken)
    with caplog.at_level(logging.ERROR, logger="asleft.refresh"):
        fleet_view(own_mill_c, FleetFilters(), now=LATER, small=0)
        assert background.wait(own_mill_c, 60)
    assert "the disk is full" in caplog.text
    for _ in range(3):
        view = fleet_view(own_mill_c, FleetFilters(), now=LATER, small=0)
        assert view.older is not None
        assert view.older.failed
        assert view.total == 8
        assert background.wait(own_mill_c, 60)
    assert len(tried) == 1


def test_a_line_is_shown_from_what_the_process_keeps_until_the_new_is_there(
    own_mill_c: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    background.keep_at_hand(own_mill_c, now=NOW)
    monkeypatch.setattr(background, "bring_up_to_date", lambda *_, **__: False)
    monkeypatch.setattr(background, "SMALL_FLEET", 0)
    view = line_view(own_mill_c, "C01", now=LATER)
    assert view.older is not None
    assert view.as_of == TODAY
    assert background.wait(own_mill_c, 60)


def test_of_two_that_want_to_do_the_work_one_does(own_mill_c: Store) -> None:
    elsewhere = open_store(own_mill_c.engine.url)
    with turn(own_mill_c) as mine, turn(elsewhere) as theirs:
        assert (mine, theirs) == (True, False)
    with turn(elsewhere) as theirs:
        assert theirs
    elsewhere.close()


def test_facts_that_come_while_nobody_looks_make_the_results_old(own_mill_c: Store, tmp_path: Path) -> None:
    from fleet.intake.source import read_source
    from fleet.intake.taking import take

    assert standing(own_mill_c, now=NOW).fresh
    more = write_source(tmp_path / "more", {"lines": "line\nNEW-1\n"})
    take(own_mill_c, read_source(more), who="tester", now=NOW)
    found = standing(own_mill_c, now=NOW)
    # A line without a state of its own is one more than the states know.
    assert (found.fresh, found.lines, found.with_state) == (False, 9, 8)


def test_a_forked_process_begins_without_its_parents_threads(own_mill_c: Store) -> None:
    fleet_view(own_mill_c, FleetFilters(), now=LATER, small=0)
    before = background._THREADS.lock
    background._THREADS.forget()
    assert background._THREADS.lock is not before
    assert background.wait(own_mill_c, 0)
    for thread in threading.enumerate():
        if thread.name == "asleft-refresh":
            thread.join(60)
