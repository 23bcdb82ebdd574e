"""A fleet of any size in a store of its own, written in bulk: entered offsets, drifting, realigned, with stops ahead.

Four stations and three visits a line, as-found and as-left at each; six sites in three time zones. Synthetic truth,
fixed seed; what matters here is how much there is of it.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from fleet.services.opening import open_store
from fleet.services.refresh import bring_up_to_date
from fleet.store.bulk import insert_rows
from fleet.store.engine import Store
from fleet.store.planning import Outage
from fleet.store.plant import Line, Site, Station, Tolerance
from fleet.store.versions import raise_data_version
from fleet.store.visits import ColdTarget, OffsetEntered, Survey, VisitSession

STATIONS = 4
VISITS = 3
ZONES = ("Europe/London", "America/Chicago", "Asia/Tokyo")
SITES = 6
BORES_MM = (60.0, 75.0, 90.0, 105.0, 120.0, 150.0)
FOUNDATIONS = ("grouted", "frame", "sole plate")


def write_fleet(store: Store, lines: int, *, today: date, seed: int = 3) -> None:
    """Write the facts of a fleet; nothing is worked out yet."""
    rng = np.random.default_rng(seed)
    numbers = range(1, lines + 1)
    start = datetime(today.year, today.month, today.day, 8, tzinfo=UTC)
    days_ago = np.sort(rng.integers(40, 1400, (lines, VISITS)), axis=1)[:, ::-1]
    rate = rng.normal(0.0, 90.0, (lines, 2))
    visits, surveys, offsets, targets = [], [], [], []
    for line in numbers:
        position = np.zeros((STATIONS, 2))
        for visit in range(VISITS):
            session = (line - 1) * VISITS + visit + 1
            moment = start - timedelta(days=int(days_ago[line - 1, visit]))
            visits.append((session, f"V-{session}", line, moment, "M. Adeyrin", "draft"))
            years = 0.0 if visit == 0 else (days_ago[line - 1, visit - 1] - days_ago[line - 1, visit]) / 365.25
            share = (np.arange(STATIONS)[:, None] + 1) / STATIONS
            found = position + share * rate[line - 1] * years + rng.normal(0.0, 12.0, (STATIONS, 2))
            position = rng.normal(0.0, 15.0, (STATIONS, 2))
            for number, (phase, values) in enumerate((("as_found", found), ("as_left", position)), start=1):
                survey = (session - 1) * 2 + number
                surveys.append((survey, session, number, phase))
                for place, (v, h) in enumerate(np.round(values, 1).tolist(), start=1):
                    station = (line - 1) * STATIONS + place
                    offsets.append((survey, station, str(v), str(h), "um", v, h, 10.0, 10.0))
            if visit == 0:
                targets += [
                    (session, (line - 1) * STATIONS + place, "0", "0", "um", 0.0, 0.0)
                    for place in range(1, STATIONS + 1)
                ]
    with store.write() as record:
        insert_rows(
            record,
            Site,
            ("id", "code", "name", "time_zone"),
            [(k + 1, f"S{k + 1}", f"Site {k + 1}", ZONES[k % len(ZONES)]) for k in range(SITES)],
        )
        insert_rows(
            record,
            Line,
            ("id", "code", "site_id", "description", "screw_diameter_mm", "foundation"),
            [(k, f"L{k:05d}", k % SITES + 1, "Pipe", BORES_MM[k % len(BORES_MM)], FOUNDATIONS[k % 3]) for k in numbers],
        )
        insert_rows(
            record,
            Station,
            ("id", "line_id", "code", "distance_mm"),
            [
                ((k - 1) * STATIONS + place, k, f"P{place}", 900.0 * place)
                for k in numbers
                for place in range(1, STATIONS + 1)
            ],
        )
        insert_rows(
            record,
            Tolerance,
            ("line_id", "axis", "watch_um", "limit_um"),
            [(k, axis, 130.0, 250.0) for k in numbers for axis in ("v", "h")],
        )
        insert_rows(
            record,
            Outage,
            ("code", "site_id", "kind", "starts_at", "ends_at", "crew_hours"),
            [
                (
                    f"S{site}-{n}",
                    site,
                    "full stop",
                    start + timedelta(days=ahead),
                    start + timedelta(days=ahead + 9),
                    96,
                )
                for site in range(1, SITES + 1)
                for n, ahead in enumerate((25 + site, 130 + site, 250 + site))
            ],
        )
        insert_rows(record, VisitSession, ("id", "code", "line_id", "started_at", "technician", "state"), visits)
        insert_rows(record, Survey, ("id", "session_id", "number", "phase"), surveys)
        insert_rows(
            record,
            OffsetEntered,
            ("survey_id", "station_id", "v_entered", "h_entered", "unit", "v_um", "h_um", "u_v_um", "u_h_um"),
            offsets,
        )
        insert_rows(
            record, ColdTarget, ("session_id", "station_id", "v_entered", "h_entered", "unit", "v_um", "h_um"), targets
        )
        # Signed last: a signed session takes no more facts.
        record.execute(
            VisitSession.__table__.update().values(  # type: ignore[attr-defined]
                state="signed", signed_by="M. Adeyrin", signed_at=VisitSession.__table__.c.started_at
            )
        )
        raise_data_version(record)


def make_store(folder: Path, lines: int, *, today: date) -> tuple[str, Store]:
    """Make a store of a fleet with everything derived up to date; return its address and the store."""
    url = f"sqlite:///{folder / f'fleet-{lines}.sqlite'}"
    store = open_store(url, say=lambda _: None)
    write_fleet(store, lines, today=today)
    bring_up_to_date(store)
    return url, store
