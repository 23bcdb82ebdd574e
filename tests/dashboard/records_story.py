"""The invented records of the site: one refused source, one taken, a corrected visit, and a withdrawn meter reading."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from dashboard.records_sources import RecordsSources
from fleet.errors import InputError, NotFoundError
from fleet.services.records_page import (
    ChangeRow,
    DraftRow,
    FactOpened,
    OpenedSource,
    RecordsChoice,
    RecordsView,
    SourceRow,
)
from fleet.services.records_page_corrections import Became, CorrectionRow
from fleet.services.records_page_facts import FactRow
from fleet.services.taking_in import BadRow, Outlook, Tell
from fleet.services.withdrawing import Along

ZONE = ZoneInfo("Europe/London")
WHO = "K. Dremmond (not verified)"


def at(day: int, hour: int, minute: int, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=ZONE)


DIGEST = f"9c417e02{'0' * 52}d5b8"
REFUSED = SourceRow(
    3, "readings-week-47", "folder", 5, "ab" * 32, at(25, 6, 40), WHO, "refused", 0, 3, 1206
)  # fmt: skip
AGAIN = SourceRow(
    2, "orrindale-2019.xlsx", "workbook", 9, DIGEST, at(24, 16, 5), WHO, "nothing new", 0, 0, 412,
    again_at=at(24, 16, 2),
)  # fmt: skip
TAKEN = SourceRow(
    1, "orrindale-2019.xlsx", "workbook", 9, DIGEST, at(24, 16, 2), WHO, "taken", 412, 0, 412,
    taken={"sessions": 14, "readings": 398},
)  # fmt: skip
BAD = (
    BadRow(
        "readings.csv", 41, "unit", "thous", "is not a unit; use um, mm, in or thou",
        {"station": "1", "unit": "thous"},
    ),
    BadRow(
        "readings.csv", 388, "station", "C",
        "there is no station 'C' on line 'ORR-05'; add it to stations or correct the code", {"station": "C"},
    ),
    BadRow("calibration.csv", None, None, "", "not a file of the exchange format; rename it or take it out", {}),
)  # fmt: skip
OPENED = OpenedSource(REFUSED, (), (), BAD, 3, 11, 2)
CORRECTION = CorrectionRow(
    line="ORR-07",
    old="S-04",
    new="S-04C",
    started_at=datetime(2024, 8, 12, 9, 0, tzinfo=ZONE),
    corrected_at=datetime(2024, 9, 2, 14, 0, tzinfo=ZONE),
    corrected_by="T. Halvorsby",
    why="inverted reading, seen against the sheet",
    withdraws=False,
    became=(Became("readings", 1, "as_found", "4", 180.0, "v", "0.131", "-0.131", "mm"),),
)
DRAFT = DraftRow("5f1c", "ORR-05", "M. Adeyrin (not verified)", at(1, 9, 0), at(1, 11, 30), 27, None)
CHANGES = (
    ChangeRow(5, at(25, 6, 40), WHO, "refused a source", None, {"source": "readings-week-47", "rows_refused": 3}),
    ChangeRow(
        4, at(24, 16, 2), WHO, "took a source in", None,
        {"source": "orrindale-2019.xlsx", "taken": {"sessions": 14, "readings": 398}, "changed": 0},
    ),
    ChangeRow(
        3, at(9, 8, 3), "R. Osterby", "changed calibrations instrument 'I-04', calibrated_on '2026-03-03'",
        {"due_on": "2026-09-03"}, {"due_on": "2027-03-03"},
    ),
    ChangeRow(
        2, at(8, 8, 3), WHO, "withdrew a meter reading",
        {"line": "ORR-05", "read_at": "2026-11-05T07:00:00+00:00", "running_hours": 75644.0},
        {"why": "read off the wrong line"},
    ),
)  # fmt: skip
METER = FactRow("meters", 12, "ORR-05", None, at(5, 7, 0), None, (("running_hours", 75644.0), ("starts", 260.0)))
GONE = replace(
    METER, number=11, withdrawn_at=at(8, 8, 3), withdrawn_by=WHO, withdrawn_why="read off the wrong line"
)  # fmt: skip
CHECK = FactRow(
    "running-checks", 7, "ORR-07", "B", at(3, 14, 0), None,
    (("v_rise_um", 265.0), ("h_rise_um", -12.0), ("barrel_c", 210.0), ("gearbox_c", 43.0)), note="indicators",
)  # fmt: skip
TOLERANCE = FactRow(
    "tolerances", 3, "ORR-05", None, None, at(1, 0, 0).date(), (("watch_um", 150.0), ("limit_um", 250.0)),
    axis="v", measure="offset", note="plant rule",
)  # fmt: skip
SLOPE = replace(TOLERANCE, number=4, measure="slope", on=None, figures=(("limit_um", 120.0),))
FACTS = {"meters": (METER, GONE), "running-checks": (CHECK,), "tolerances": (TOLERANCE, SLOPE)}

VIEW = RecordsView(
    choice=RecordsChoice(),
    zone="Europe/London",
    zone_of="Orrindale",
    lines=("ORR-05", "ORR-07"),
    people=(WHO, "R. Osterby"),
    lines_in_store=2,
    signed_visits=187,
    entries=4,
    sources=(REFUSED, AGAIN, TAKEN),
    source_total=3,
    opened=OPENED,
    waiting=(REFUSED,),
    corrections=(CORRECTION,),
    correction_total=1,
    drafts=(DRAFT,),
    changes=CHANGES,
    change_total=4,
    counts={"running-checks": (1, 0), "meters": (1, 1), "tolerances": (2, 0), "events": (0, 0), "wear": (0, 0),
            "findings": (0, 0)},
)  # fmt: skip
EMPTY = replace(
    VIEW, lines=(), people=(), lines_in_store=0, signed_visits=0, entries=0, sources=(), source_total=0, opened=None,
    waiting=(), corrections=(), correction_total=0, drafts=(), changes=(), change_total=0,
    counts=dict.fromkeys(VIEW.counts, (0, 0)),
)  # fmt: skip


def view(choice: RecordsChoice) -> RecordsView:
    shown = FACTS.get(choice.show or "", ())
    every = [row for rows in FACTS.values() for row in rows]
    row = next((row for row in every if f"{row.kind}-{row.number}" == choice.fact), None)
    fact = FactOpened(row, Along(row.kind, 0, 0, resets_trend=False)) if row else None
    return replace(VIEW, choice=choice, facts=shown, fact_total=len(shown), fact=fact)


def problems(number: int) -> tuple[SourceRow, tuple[BadRow, ...], int]:
    if number != REFUSED.number:
        raise NotFoundError(f"there is no refused source {number}")
    return REFUSED, BAD, 3


def bring_in(place: Path, *, name: str, who: str, by_session: bool, look_only: bool, tell: Tell) -> Outlook:
    tell("reading the files", True)
    files = sorted(file.name for file in place.iterdir()) if place.is_dir() else [place.name]
    return Outlook(
        result="sound" if look_only else "taken",
        source=name,
        sha256="ab" * 32,
        container="folder" if place.is_dir() else "workbook",
        files=len(files),
        rows_read=2,
        taken=tuple((file, 1) for file in files),
        remarks=(who, "by session" if by_session else "whole"),
    )


def take_back(kind: str, number: int, *, name: str, why: str) -> str:
    if not why:
        raise InputError("No reason was given")
    return f"withdrew {kind} {number} for {name}: {why}"


def bring_back(kind: str, number: int, *, name: str, why: str) -> str:
    return f"brought back {kind} {number} for {name}: {why}"


def export_file(folder: Path, form: str, *, line: str | None) -> Path:
    target = folder / f"records.{form}"
    target.write_bytes(f"{form} of {line}".encode())
    return target


def template(target: Path) -> str:
    target.write_bytes(b"empty workbook")
    return "written"


SOURCES = RecordsSources(
    view=view,
    changes=lambda choice: (tuple(row for row in CHANGES if choice.who in (None, row.who)), "Europe/London"),
    problems=problems,
    bring_in=bring_in,
    take_back=take_back,
    bring_back=bring_back,
    export_file=export_file,
    template=template,
)
NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
