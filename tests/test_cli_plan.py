"""`asleft plan`: text, one JSON document, papers and a calendar, all of the same plan; nothing else on stdout.

Outages lie at days counted from today, because the command has no other clock than the reader's.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from click.testing import CliRunner, Result

from fleet.cli import main
from fleet.services.importing import import_folder
from fleet.services.planning.asking import Asked
from fleet.services.planning.keeping import keep, kept_plan
from fleet.services.planning.planned import plan_content
from fleet.store.engine import open_store

Run = Callable[..., Result]
MILL = Path(__file__).parent / "data" / "mill-c"
TODAY = datetime.now(UTC).date()
SOON, LATER = (TODAY + timedelta(days=days) for days in (60, 200))
STOPS = (
    f"SOON,QE,,stop,{SOON}T06:00,{SOON + timedelta(days=4)}T18:00,60,2,planned\n"
    f"LATER,QE,,stop,{LATER}T00:00,{LATER + timedelta(days=3)}T00:00,60,2,planned\n"
)


@pytest.fixture(scope="module")
def mill_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small mill with two stops ahead, whatever the day; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("plans")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    shutil.copytree(MILL, folder / "mill")
    outages = folder / "mill" / "outages.csv"
    past = [row for row in outages.read_text("utf-8").splitlines() if not row.endswith("planned")]
    outages.write_text("\n".join([*past, STOPS]), encoding="utf-8")
    store = open_store(f"sqlite:///{path}")
    import_folder(store, folder / "mill", who="tester")
    plan_content(store, Asked())
    store.close()
    return path


@pytest.fixture
def url(mill_file: Path, tmp_path: Path) -> str:
    path = tmp_path / "record.sqlite"
    shutil.copyfile(mill_file, path)
    return f"sqlite:///{path}"


@pytest.fixture
def on_record(url: str) -> Run:
    """A way to run the command on a copy of it."""
    return lambda *arguments: CliRunner().invoke(
        main, ["--database", url, "plan", *arguments], env={"ASLEFT_BASE_URL": ""}
    )


def document(result: Result) -> dict[str, Any]:
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    assert isinstance(found, dict)
    return found


def test_nothing_but_one_document_stands_on_stdout_of_a_real_process(url: str) -> None:
    # The solver is C++ and may write past Python to the process's own stdout.
    done = subprocess.run(
        [sys.executable, "-c", "from fleet.cli import main; main()", "--database", url, "plan", "--json"],
        capture_output=True, text=True, check=True, timeout=120, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    found = json.loads(done.stdout)
    assert [stop["code"] for stop in found["stops"]] == ["SOON", "LATER"]
    assert found["note"] == "A plan is no permission to work on a machine."


def test_the_document_is_the_plan_of_the_service(on_record: Run, url: str) -> None:
    found = document(on_record("--site", "QE", "--cap", "15", "--into", "C01:LATER", "--out", "C02:SOON", "--json"))
    store = open_store(url)
    asked = Asked(site="QE", cap=0.15, into=(("C01", "LATER"),), out=(("C02", "SOON"),))
    plan = plan_content(store, asked)
    store.close()
    assert [(row["line"], row["chosen"], row["reason"]) for row in found["rows"]] == [
        (row.line, row.chosen, row.reason) for row in plan.rows
    ]
    assert (found["cap"], found["visits"], found["as_of"]) == (0.15, plan.visits, plan.as_of.isoformat())
    assert found["stops"][0]["starts_at"] == plan.stops[0].starts_at.isoformat()
    assert {row["line"]: row["chosen"] for row in found["rows"]}["C01"] == "LATER"


def test_text_paper_and_calendar_say_the_same(on_record: Run, tmp_path: Path) -> None:
    text = on_record("--into", "C01:LATER").stdout.replace("\u00a0", " ")
    assert text.startswith("Plan of visits, every site\n")
    assert "pinned into LATER by hand" in text
    paper, calendar = tmp_path / "plan.html", tmp_path / "plan.ics"
    result = on_record("--into", "C01:LATER", "--html", str(paper), "--ics", str(calendar))
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == f"Plan written to {paper}\nCalendar of the plan written to {calendar}\n"
    assert text.splitlines()[1] in paper.read_text(encoding="utf-8").replace("\u00a0", " ")
    events = {event.summary.value: event for event in vobject.readOne(calendar.read_text("utf-8")).vevent_list}
    pinned = events["Realign C01 (stop LATER)"]
    # Whole days stay days, and end before the day after the last.
    assert (pinned.dtstart.value, pinned.dtend.value) == (LATER, LATER + timedelta(days=3))


def test_a_kept_plan_is_shown_as_it_was_kept(on_record: Run, url: str) -> None:
    store = open_store(url)
    code = keep(store, Asked(into=(("C01", "LATER"),)), by="J. Quillam", note="first go").code
    plan = kept_plan(store, code)
    store.close()
    found = document(on_record("--plan", code, "--json"))
    assert found["kept"]["made_by"] == "J. Quillam (not verified)"
    assert [row["chosen"] for row in found["rows"]] == [row.chosen for row in plan.rows]
    assert f"State: Plan {code}, saved by J. Quillam (not verified)" in on_record("--plan", code).stdout


def test_what_cannot_be_done_is_a_sentence(on_record: Run, tmp_path: Path) -> None:
    unknown = on_record("--plan", "P-9")
    assert (unknown.exit_code, unknown.stdout) == (1, "")
    assert unknown.stderr.startswith("There is no kept plan ‘P-9’")
    both = on_record("--plan", "P-9", "--site", "QE")
    assert both.exit_code == 2
    assert "A kept plan is shown as it was kept" in both.stderr
    for odd in ("C01", "C01:", "C01:A:B"):
        wrong = on_record("--into", odd)
        assert wrong.exit_code == 2
        assert f"‘{odd}’ is not a line and an outage; write LINE:OUTAGE" in wrong.stderr
    held = on_record("--into", "C03:SOON")
    assert held.exit_code == 1
    assert "C03 cannot be pinned into SOON: the outage serves another site or line" in held.stderr
    nowhere = on_record("--ics", str(tmp_path / "none" / "plan.ics"))
    assert nowhere.exit_code == 1
    assert nowhere.stderr.startswith("The calendar could not be written to ")
    assert on_record("--cap", "120").exit_code == 2


def test_a_colon_within_a_code_is_quoted_as_in_the_address(on_record: Run) -> None:
    found = document(on_record("--out", "C01:SO%4FN", "--json"))
    assert {row["line"]: row["kept_out"] for row in found["rows"]}["C01"] == ["SOON"]
