"""The commands that make papers: what goes where, what is refused with a sentence, and that all say the same."""

from __future__ import annotations

import json
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pdf_maker
import pytest
from click.testing import CliRunner, Result

from fleet.cli import main
from fleet.reports.labels import SET_BASE_URL
from fleet.services.importing import import_folder
from fleet.store.engine import open_store

Run = Callable[..., Result]
SOURCE = {
    "sites": "site,name,time_zone\nS,Somewhere,Asia/Tokyo\n",
    "lines": "line,site,description\nT1,S,film\nT2,S,\n",
    "stations": "line,station,distance_mm\nT1,S1,1000\nT1,S2,2000\n",
    "instruments": "instrument,sense_v,sense_h\nI-1,bore_from_beam,bore_from_beam\n",
    "sessions": "session,line,started_at,instrument,technician\nV1,T1,2025-07-01T00:20,I-1,M. Adeyrin\n",
    "surveys": "session,survey,phase\nV1,1,as_found\n",
    "readings": (
        "session,survey,sequence,station,beam_roll_deg,v,h,unit\n"
        "V1,1,1,S1,0,0.10,-0.20,mm\nV1,1,2,S1,180,0.12,0.2,mm\nV1,1,3,S2,0,0.30,0,mm\nV1,1,4,S2,180,0.31,0,mm\n"
    ),
}


@pytest.fixture(scope="module")
def record_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of one visit; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("papers")
    path = folder / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    (folder / "source").mkdir()
    for name, text in SOURCE.items():
        (folder / "source" / f"{name}.csv").write_text(text, encoding="utf-8")
    store = open_store(f"sqlite:///{path}")
    import_folder(store, folder / "source", who="tester")
    store.close()
    return path


@pytest.fixture
def on_record(record_file: Path, tmp_path: Path) -> Run:
    """A way to run the command on a copy of it."""
    path = tmp_path / "record.sqlite"
    shutil.copyfile(record_file, path)
    env = {"ASLEFT_BASE_URL": ""}
    return lambda *arguments, **more: CliRunner().invoke(
        main, ["--database", f"sqlite:///{path}", *arguments], env={**env, **more}
    )


def test_a_report_says_on_the_terminal_what_its_paper_says(on_record: Run, tmp_path: Path) -> None:
    told = on_record("report", "V1").stdout.replace("\u00a0", " ")
    assert "Visit V1 of T1\n1 Jul 2025, 00:20 (Asia/Tokyo, UTC+9): as-found by M. Adeyrin with I-1." in told
    assert re.search(r"1 +S1 +0° \(12 o’clock\) +0\.10 +-0\.20\n", told)
    result = on_record("report", "V1", "--html", str(tmp_path / "v1.html"))
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr == f"Report of session V1 written to {tmp_path / 'v1.html'}\n"
    page = (tmp_path / "v1.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "1 Jul 2025, 00:20 (Asia/Tokyo, UTC+9): as-found by M. Adeyrin with I-1." in page


def test_the_json_of_a_report_has_readings_as_typed_and_moments_with_their_offset(on_record: Run) -> None:
    answer = json.loads(on_record("report", "V1", "--json").stdout)
    assert (answer["session"], answer["line"], answer["started_at"]) == ("V1", "T1", "2025-07-01T00:20:00+09:00")
    assert [reading["typed"] for reading in answer["surveys"][0]["readings"]] == [
        ["0.10", "-0.20"], ["0.12", "0.2"], ["0.30", "0"], ["0.31", "0"],
    ]  # fmt: skip
    assert answer["surveys"][0]["offsets"][0]["station"] == "S1"


def test_report_and_job_sheet_and_labels_are_written_as_pdf(on_record: Run, tmp_path: Path) -> None:
    pdf_maker.needed()
    for arguments in (("report", "V1"), ("jobsheet", "T1"), ("labels",)):
        target = tmp_path / f"{arguments[0]}.pdf"
        assert on_record(*arguments, "--pdf", str(target)).exit_code == 0
        assert target.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("arguments", [("report", "V1"), ("jobsheet", "T1"), ("labels",)])
def test_without_its_maker_a_pdf_is_refused_in_a_sentence_and_nothing_is_written(
    arguments: tuple[str, ...], on_record: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    target = tmp_path / "paper.pdf"
    result = on_record(*arguments, "--pdf", str(target))
    assert result.exit_code == 1
    assert "PDFs cannot be made on this machine. Install the extra with `pip install 'asleft[pdf]'`" in result.stderr
    assert not target.exists()


def test_labels_lead_where_the_setting_says_and_without_it_say_what_to_set(on_record: Run, tmp_path: Path) -> None:
    assert on_record("labels").stderr.replace("\n", " ").strip() == SET_BASE_URL
    told = on_record("labels", ASLEFT_BASE_URL="https://a.example/")
    assert told.stdout == (
        "T1  Somewhere  https://a.example/job-sheet/T1\nT2  Somewhere  https://a.example/job-sheet/T2\n"
    )
    target = tmp_path / "labels.html"
    assert (
        on_record("labels", "--line", "T2", "--html", str(target), ASLEFT_BASE_URL="https://a.example").exit_code == 0
    )
    page = target.read_text(encoding="utf-8")
    assert (page.count('<section class="lab'), page.count("<svg")) == (1, 1)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("report", "V9"), "There is no session 'V9' in the store; the Line page lists the sessions of its line."),
        (("labels", "--site", "X"), "There is no line at a site 'X'; the Fleet page lists the sites there are."),
        (("labels", "--line", "X"), "There is no line 'X' in the store; `asleft status` lists the lines there are."),
    ],
)
def test_what_is_not_in_the_store_is_a_sentence_and_exit_code_1(
    arguments: tuple[str, ...], sentence: str, on_record: Run
) -> None:
    result = on_record(*arguments)
    assert (result.exit_code, result.stdout) == (1, "")
    assert sentence in result.stderr
