"""`asleft audit show` tells people and programs the same; a refused import is in it. Expected by hand."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fleet.cli import main

SITES = "site,name,time_zone\nEA,East works,Asia/Tokyo\n"


@pytest.fixture
def url(sqlite_template: Path, tmp_path: Path) -> str:
    """An empty record of one's own."""
    path = tmp_path / "record.sqlite"
    shutil.copyfile(sqlite_template, path)
    return f"sqlite:///{path}"


def run(url: str, *words: str) -> Result:
    return CliRunner().invoke(main, ["--database", url, *words])


def folder(tmp_path: Path, name: str, **files: str) -> str:
    place = tmp_path / name
    place.mkdir()
    for sheet, text in files.items():
        (place / f"{sheet}.csv").write_text(text, encoding="utf-8")
    return str(place)


def test_the_audit_is_shown_newest_first_and_whole_as_json(url: str, tmp_path: Path) -> None:
    assert run(url, "import", folder(tmp_path, "good", sites=SITES, lines="line,site\nE1,EA\nE2,EA\n")).exit_code == 0
    assert run(url, "import", folder(tmp_path, "bad", lines="line,site\nE3,NO\n")).exit_code == 1
    entries = json.loads(run(url, "audit", "show", "--json").stdout)
    assert [(entry["what"], entry["after"]["source"]) for entry in entries] == [
        ("refused a source", "bad"), ("took a source in", "good"),
    ]  # fmt: skip
    assert list(entries[0]) == ["number", "at", "who", "what", "before", "after"]
    assert entries[0]["at"].endswith("+09:00")
    assert entries[1]["after"]["taken"] == {"lines": 2, "sites": 1}
    shown = run(url, "audit", "show", "--line", "E1").stdout
    assert "Times in Asia/Tokyo; lengths in um." in shown
    assert "took a source in" in shown
    assert "refused a source" not in shown
    assert run(url, "audit", "show", "--line", "E9").stdout == "No entry of the audit matches what was asked for.\n"
    assert json.loads(run(url, "audit", "show", "--json", "--to", "2001-01-01").stdout) == []
