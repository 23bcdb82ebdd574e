"""Reads a written exchange folder back with the csv module alone and reduces its readings by plain means."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path

import seed_demo

TODAY = date(2026, 11, 25)
UM = {"um": 1.0, "mm": 1000.0, "thou": 25.4}
Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Demo:
    """The folder, its rows and what is true of them."""

    folder: Path
    tables: dict[str, Rows]
    truth: seed_demo.Truth


def read(folder: Path) -> dict[str, Rows]:
    """Return every file's rows by its name without the ending."""
    tables = {}
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as handle:
            tables[path.stem] = list(csv.DictReader(handle))
    return tables


@dataclass(frozen=True)
class Seen:
    """One survey's offsets by plain means [um], of readings in their last beam state or as entered."""

    line: str
    session: str
    survey: str
    phase: str
    day: date
    v: dict[str, float]
    h: dict[str, float]


def surveys(tables: dict[str, Rows]) -> Iterator[Seen]:
    """Yield every survey in time order, a corrected session by its correction."""
    senses = {r["instrument"]: (r["sense_v"], r["sense_h"]) for r in tables["instruments"]}
    wrong = {r["corrects"] for r in tables["sessions"] if r["corrects"]}
    sessions = {r["session"]: r for r in tables["sessions"] if r["session"] not in wrong}
    values: dict[tuple[str, str], Rows] = defaultdict(list)
    for row in tables["readings"] + tables["offsets"]:
        values[row["session"], row["survey"]].append(row)
    wanted = [r for r in tables["surveys"] if r["session"] in sessions]
    for survey in sorted(wanted, key=lambda r: r["measured_at"]):
        session = sessions[survey["session"]]
        rows = values[survey["session"], survey["survey"]]
        last = max(row.get("beam_state", "1") for row in rows)
        signs = [-1.0 if sense == "beam_from_bore" else 1.0 for sense in senses[session["instrument"]]]
        means: list[dict[str, list[float]]] = [defaultdict(list), defaultdict(list)]
        for row in rows:
            if row.get("beam_state", "1") != last:
                continue
            turned = -1.0 if row.get("target_roll_deg") == "180" else 1.0
            for mean, axis, sign in zip(means, "vh", signs, strict=True):
                mean[row["station"]].append(sign * turned * float(row[axis]) * UM[row["unit"]])
        v, h = ({station: sum(x) / len(x) for station, x in mean.items()} for mean in means)
        day = date.fromisoformat(session["started_at"][:10])
        yield Seen(session["line"], survey["session"], survey["survey"], survey["phase"], day, v, h)


def movements(tables: dict[str, Rows], line: str, station: str) -> list[tuple[date, date, float]]:
    """Return (from, to, v movement in um) from each session's last cold survey to the next one's first."""
    by_session: dict[str, list[Seen]] = defaultdict(list)
    for seen in surveys(tables):
        if seen.line == line and seen.phase != "hot":
            by_session[seen.session].append(seen)
    visits = list(by_session.values())
    return [(a[-1].day, b[0].day, b[0].v[station] - a[-1].v[station]) for a, b in pairwise(visits)]


def rate(moved: list[tuple[date, date, float]]) -> float:
    """Return the movement per year over several intervals together [um/year]."""
    return sum(m for _, _, m in moved) / (sum((b - a).days for a, b, _ in moved) / 365.25)
