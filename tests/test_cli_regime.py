"""The commands `asleft regime`: what goes where, the exact keys of the answer, and what cannot be decided."""

from __future__ import annotations

import csv
import json
import random
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fleet.cli import main
from fleet.services.importing import import_folder
from fleet.store.engine import open_store

REGIME_KEYS = [
    "handle", "line", "station", "axis", "from_session", "from_on", "earliest_on", "latest_on", "before", "after",
    "rate_unit", "intervals_before", "intervals_after", "evidence", "text", "decision", "decided_by", "decided_at",
    "why",
]  # fmt: skip
HANDLE = "T1:v:T1-2014"

Run = Callable[..., Result]


def write(folder: Path, name: str, rows: list[dict[str, object]]) -> None:
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def lay(folder: Path) -> Path:
    """Write six lines that were set to 0 every year; the first goes lower by 20 um a year, from 2014 on by 140."""
    folder.mkdir()
    rng = random.Random(5)
    codes = [f"T{number}" for number in range(1, 7)]
    visits = [(code, year) for code in codes for year in range(2009, 2020)]
    write(folder, "lines", [{"line": code} for code in codes])
    write(folder, "stations", [{"line": code, "station": "S1", "distance_mm": 3000} for code in codes])
    write(
        folder,
        "sessions",
        [{"session": f"{c}-{y}", "line": c, "started_at": f"{date(y, 6, 1)}T08:00"} for c, y in visits],
    )
    phases = ((1, "as_found"), (2, "as_left"))
    write(folder, "surveys", [{"session": f"{c}-{y}", "survey": n, "phase": p} for c, y in visits for n, p in phases])
    offsets: list[dict[str, object]] = []
    for code, year in visits:
        moved = -140.0 if code == "T1" and year > 2014 else -20.0
        for number, v in ((1, moved + rng.gauss(0.0, 12.0)), (2, 0.0)):
            offsets.append(
                {
                    "session": f"{code}-{year}", "survey": number, "station": "S1", "v": f"{v:.1f}",
                    "h": f"{rng.gauss(0.0, 12.0):.1f}", "unit": "um", "u_v": 5, "u_h": 5,
                }
            )  # fmt: skip
    write(folder, "offsets", offsets)
    return folder


@pytest.fixture(scope="module")
def six_lines(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record that holds the six lines; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("six")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    store = open_store(f"sqlite:///{path}")
    import_folder(store, lay(folder / "source"), who="tester")
    store.close()
    return path


@pytest.fixture
def asleft(six_lines: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """A way to run the command on a store of its own that holds the six lines."""
    monkeypatch.setenv("LOGNAME", "kim")
    path = tmp_path / "record.sqlite"
    shutil.copyfile(six_lines, path)
    return lambda *arguments: CliRunner().invoke(main, ["--database", f"sqlite:///{path}", *arguments])


def test_the_list_answers_with_exactly_its_keys_and_only_the_changed_line(asleft: Run) -> None:
    result = asleft("regime", "list", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    (row,) = json.loads(result.stdout)
    assert list(row) == REGIME_KEYS
    assert list(row["before"]) == ["value", "low", "high"]
    assert (row["handle"], row["from_on"], row["decision"]) == (HANDLE, "2014-06-01", None)
    assert (row["intervals_before"], row["intervals_after"]) == (5, 5)
    assert json.loads(asleft("regime", "list", "--json", "--line", "T2").stdout) == []


def test_a_change_is_listed_accepted_and_then_stands_among_the_decisions(asleft: Run) -> None:
    listed = asleft("regime", "list")
    assert listed.exit_code == 0
    assert listed.stdout.startswith(f"{HANDLE}\n  From 1\u00a0Jun\u00a02014 on T1 S1 goes lower by 1")
    assert "asleft regime accept HANDLE --why TEXT" in listed.stdout
    done = asleft("regime", "accept", HANDLE, "--why", "front support [moved] by a truck")
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout == (
        "Accepted: the event 'drift changed' of T1 on 1\u00a0Jun\u00a02014 is recorded, and its trend begins anew "
        "there with the 5 intervals since.\n"
    )
    assert asleft("regime", "list").stdout == "No change of drift waits for a decision.\n"
    decided = asleft("regime", "list", "--decided").stdout
    assert decided.startswith(f"{HANDLE}\n")
    assert "by kim: front support [moved] by a truck\n" in decided


def test_a_refusal_leaves_the_list_empty_and_a_second_answer_is_refused(asleft: Run) -> None:
    done = asleft("regime", "refuse", HANDLE, "--why", "nothing was done")
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.startswith(f"Refused: {HANDLE} is not proposed again unless ")
    assert json.loads(asleft("regime", "list", "--json").stdout) == []
    again = asleft("regime", "accept", HANDLE, "--why", "grouted")
    assert (again.exit_code, again.stdout) == (1, "")
    assert f"{HANDLE} was refused on " in again.stderr
    assert "by kim (nothing was done) and stays so; what became known since is recorded as an event" in again.stderr


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (
            ("accept", "T9:v:X", "--why", "so"),
            1,
            "There is no proposal 'T9:v:X'; `asleft regime list` names those there",
        ),
        (("accept", HANDLE, "--why", " "), 1, "A decision needs its reason for those who come after"),
        (("refuse", HANDLE), 2, "Missing option '--why'"),
        (("list", "--line", "T9"), 1, "There is no line 'T9' in the store"),
    ],
)
def test_what_cannot_be_decided_is_said_on_stderr_and_changes_nothing(
    asleft: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    result = asleft("regime", *arguments)
    assert (result.exit_code, result.stdout) == (code, "")
    assert said in result.stderr
    assert json.loads(asleft("regime", "list", "--decided", "--json").stdout) == []


def test_nothing_waits_in_an_empty_store(tmp_path: Path) -> None:
    arguments = ["--database", f"sqlite:///{tmp_path / 'empty.sqlite'}", "regime", "list"]
    assert CliRunner().invoke(main, arguments).stdout == "No change of drift waits for a decision.\n"
    assert CliRunner().invoke(main, [*arguments, "--decided"]).stdout == "Nobody decided on a change of drift yet.\n"
