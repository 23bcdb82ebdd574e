"""Which lines get labels, and where their codes lead."""

from __future__ import annotations

import pytest
from record_sources import NOW, rows_of

from fleet.errors import NotFoundError
from fleet.services.labels import label_sheet
from fleet.store.engine import Store

BASE = "https://asleft.example"


def test_every_line_gets_a_label_that_leads_to_its_job_sheet(mill_c: Store) -> None:
    sheet = label_sheet(mill_c, base_url=f"{BASE}/", now=NOW)
    lines = sorted(row["line"] for row in rows_of("mill-c", "lines"))
    assert [label.line for label in sheet.labels] == lines
    assert [label.address for label in sheet.labels] == [f"{BASE}/job-sheet/{line}" for line in lines]
    assert sheet.labels[0].site == "Quayle End works (invented)"


def test_a_site_or_some_lines_alone(mill_c: Store) -> None:
    at_er = sorted(row["line"] for row in rows_of("mill-c", "lines") if row["site"] == "ER")
    assert at_er
    assert [label.line for label in label_sheet(mill_c, site="ER", now=NOW).labels] == at_er
    some = label_sheet(mill_c, lines=("C02",), now=NOW)
    assert ([label.line for label in some.labels], some.chosen) == (["C02"], "Line C02")


def test_the_address_comes_from_the_setting_and_without_it_there_is_none(
    mill_c: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ASLEFT_BASE_URL", BASE)
    assert label_sheet(mill_c, lines=("C01",), now=NOW).labels[0].address == f"{BASE}/job-sheet/C01"
    monkeypatch.delenv("ASLEFT_BASE_URL")
    assert label_sheet(mill_c, lines=("C01",), now=NOW).labels[0].address is None


def test_an_unknown_site_or_line_is_a_sentence(mill_c: Store) -> None:
    with pytest.raises(NotFoundError, match="There is no line at a site 'XX'"):
        label_sheet(mill_c, site="XX")
    with pytest.raises(NotFoundError, match="There is no line 'X9' in the store"):
        label_sheet(mill_c, lines=("X9",))
