"""Small records of one invented line, and what every answer on any record must hold to."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any

from click.testing import CliRunner
from record_sources import NOW

from dashboard.address import Address
from dashboard.pages.fleet import fleet_page
from dashboard.pages.line import line_page
from fleet.cli import main
from fleet.services.fleet_page import FleetFilters, fleet_view
from fleet.services.line_page import line_view
from fleet.store.engine import Store
from fleet.values import STATUSES

AS_OF = date(2025, 7, 1)
AT = (date(2025, 7, 1), date(2026, 7, 1))
HORIZON = date(2030, 7, 2)
"""Five years after as-of, the settings' default, and the day that leap years may add."""
TOLERANCES = "line,axis,watch_um,limit_um\nT1,v,60,120\nT1,h,60,120\n"

Make = Callable[..., Store]


def visit(on: str, *surveys: tuple[str, Mapping[str, tuple[float, float]]], **more: str) -> dict[str, Any]:
    """Return one visit: when, and (phase, {station: (v, h)}) for each of its surveys; `more` are session columns."""
    return {"on": on, "surveys": surveys, "more": more}


def one(v: float, h: float = 0.0) -> dict[str, tuple[float, float]]:
    """Return the offsets of a survey that measured station S1 only [um]."""
    return {"S1": (v, h)}


def thin(*visits: dict[str, Any], u_um: float | str = 5, line: str = "T1", **files: str) -> dict[str, str]:
    """Return a source: one line with stations S1 and S2 at 1 and 2 m, its visits' offsets entered with u [um]."""
    sessions = "session,line,started_at,running_hours\n"
    surveys = "session,survey,phase\n"
    offsets = "session,survey,station,v,h,unit,u_v,u_h\n"
    for place, each in enumerate(visits, start=1):
        code = f"{line}-{place}"
        sessions += f"{code},{line},{each['on']},{each['more'].get('running_hours', '')}\n"
        for number, (phase, values) in enumerate(each["surveys"], start=1):
            surveys += f"{code},{number},{phase}\n"
            for station, (v, h) in values.items():
                offsets += f"{code},{number},{station},{v},{h},um,{u_um},{u_um}\n"
    source = {
        "lines": f"line\n{line}\n",
        "stations": f"line,station,distance_mm\n{line},S1,1000\n{line},S2,2000\n",
        "tolerances": TOLERANCES.replace("T1", line),
    }
    if visits:
        source |= {"sessions": sessions, "surveys": surveys, "offsets": offsets}
    source |= files
    return {name: text for name, text in source.items() if text}


def meters(*readings: tuple[str, float], line: str = "T1") -> str:
    """Return the file of meter readings: when, and the hours shown."""
    return "line,read_at,running_hours\n" + "".join(f"{line},{at},{hours}\n" for at, hours in readings)


@dataclass(frozen=True)
class Answers:
    """What the commands said of a record: forecast and drift by station and axis, the status of every line."""

    forecast: dict[tuple[str, str], dict[str, Any]]
    drift: dict[tuple[str, str], list[dict[str, Any]]]
    status: dict[str, dict[str, Any]]
    sheet: dict[str, Any]


def answers(store: Store, *, line: str = "T1", as_of: date = AS_OF, at: Sequence[date] = AT) -> Answers:
    """Ask every command and both pages about a record, and hold each answer to what must be so on any record."""
    asked = [word for day in at for word in ("--at", day.isoformat())]
    rows = _said(store, "forecast", "--json", "--as-of", as_of.isoformat(), *asked)
    for row in rows:
        _hold_forecast(row, as_of)
    moved = _said(store, "drift", "--json")
    for row in moved:
        assert datetime.fromisoformat(row["from_at"]) <= datetime.fromisoformat(row["to_at"])
        assert row["u_um"] > 0.0
        assert row["running_hours"] is None or row["running_hours"] >= 0.0
    view = _said(store, "status", "--json")
    assert {row["status"] for row in view["rows"]} <= set(STATUSES)
    assert sum(view["counts"].values()) == len(view["rows"]) == view["lines_in_store"]
    sheet = _said(store, "jobsheet", line, "--json")
    _hold_pages(store, line)
    drift: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in moved:
        if row["line"] == line:
            drift.setdefault((row["station"], row["axis"]), []).append(row)
    return Answers(
        forecast={(row["station"], row["axis"]): row for row in rows if row["line"] == line},
        drift=drift,
        status={row["line"]: row for row in view["rows"]},
        sheet=sheet,
    )


def told(store: Store, *, line: str = "T1") -> dict[str, str]:
    """Return what the commands print for people, by command, and hold their forecast of today to the rules."""
    for row in _said(store, "forecast", "--json"):
        _hold_forecast(row, date.fromisoformat(row["as_of"]))
    texts = {name: _run(store, name) for name in ("status", "drift", "forecast")}
    texts["jobsheet"] = _run(store, "jobsheet", line)
    assert not [name for name, text in texts.items() if {"nan", "inf", "None"} & set(text.split())]
    return texts


def _run(store: Store, *arguments: str) -> str:
    url = store.engine.url.render_as_string(hide_password=False)
    result = CliRunner().invoke(main, ["--database", url, *arguments])
    assert (result.exit_code, result.stderr) == (0, ""), result.output
    return result.stdout


def _said(store: Store, *arguments: str) -> Any:
    return json.loads(_run(store, *arguments), parse_constant=_refuse)


def _refuse(name: str) -> Any:
    raise AssertionError(f"{name} is no JSON")


def _hold_forecast(row: dict[str, Any], as_of: date) -> None:
    measured = datetime.fromisoformat(row["last_measured_at"]).date()
    assert measured <= as_of
    assert row["u_position_um"] > 0.0
    assert row["u_rate_um_per_year"] >= 0.0
    assert 0.0 <= row["borrowed_from"]["weight"] <= 1.0
    assert row["status"] in STATUSES
    chances = list(row["chance_over"].values())
    assert row["status"] == _status_as_written(row, as_of)
    if row["limit_um"] is None:
        assert {*chances, *row["over_on"].values(), row["chance_before_following_outage"]} == {None}
    else:
        assert all(0.0 <= chance <= 1.0 for chance in chances)
        assert all(earlier <= later + 1e-6 for earlier, later in pairwise(chances))
        dates = [date.fromisoformat(day) for day in row["over_on"].values() if day is not None]
        assert dates == sorted(dates)
        # A later level has no date where an earlier one has none.
        assert list(row["over_on"].values())[: len(dates)] == [day.isoformat() for day in dates]
        assert all(measured <= day <= as_of.replace(year=as_of.year + 5, day=min(as_of.day + 1, 28)) for day in dates)
    for each in row["expected"]:
        levels = [value for name, value in each.items() if name.startswith("q")]
        assert levels == sorted(levels)
        assert each["sd_um"] > 0.0


def _status_as_written(row: dict[str, Any], as_of: date) -> str:
    """Return the status by the written rule, from what the answer itself tells, at the settings' defaults."""
    limit, watch, half = row["limit_um"], row["watch_um"], row["over_on"]["p50"]
    if limit is None:
        return "no record"
    if half is not None and date.fromisoformat(half) <= as_of:
        return "over"
    if row["chance_before_following_outage"] >= 0.2:
        return "due"
    measured = row["last_measured_um"] - (row["position_um"] - row["deviation_um"])
    past_watch = abs(measured) > (limit / 2.0 if watch is None else watch)
    return "watch" if row["chance_before_following_outage"] >= 0.05 or past_watch else "within"


def _hold_pages(store: Store, line: str) -> None:
    view = line_view(store, line, now=NOW)
    for text in _texts([fleet_page(fleet_view(store, FleetFilters(), now=NOW), Address()).body]):
        assert "nan" not in text.lower().split()
    texts = [text for unit in ("mm", "thou") for text in _texts(line_page(view, Address("line", line, unit)).body)]
    assert any(line in text for text in texts)
    assert [text for text in texts if {"nan", "inf", "None"} & set(text.split())] == []


def _texts(part: Any) -> Iterator[str]:
    """Return every text of a page's tree."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, list | tuple):
        for each in part:
            yield from _texts(each)
    elif hasattr(part, "children"):
        yield from _texts(part.children)
