"""The planner's forms on the Outages page: what they begin with, what they say, what typing into them stores."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from dash import dcc
from outages_story import PLAN, SOURCES
from trees import kind_of, walk, words_of

from dashboard import plan_sources
from dashboard.address import Address, parse
from dashboard.outage_forms import stored
from dashboard.pages.outages_address import OutagesAsked, read
from dashboard.pages.outages_edit import opened, section
from dashboard.pages.outages_figures import below
from dashboard.plan_sources import PlanSources
from fleet.services.importing import import_folder
from fleet.services.planning.asking import Asked
from fleet.services.planning.forms import OutageForm
from fleet.store.engine import Store, open_store

MILL_C = Path(__file__).parents[1] / "data" / "mill-c"
HERE = Address(page="outages")


@pytest.fixture
def plans(sqlite_template: Path, tmp_path: Path) -> Iterator[PlanSources]:
    """The planning services over a small mill of one's own."""
    path = tmp_path / "mill.sqlite"
    shutil.copyfile(sqlite_template, path)
    store: Store = open_store(f"sqlite:///{path}")
    import_folder(store, MILL_C, who="tester")
    yield plan_sources.from_store(store)
    store.close()


def boxes(tree: object) -> dict[str, str]:
    """Return what stands in the boxes, by their labels."""
    found = {}
    for node in walk(tree):
        if kind_of(node) == "Label":
            label, box = node.children[0], node.children[1]
            assert isinstance(box, dcc.Input)
            found[label] = getattr(box, "value", "") or ""
    return found


def test_a_known_outage_opens_as_typed_with_its_zone_units_and_a_way_back(plans: PlanSources) -> None:
    address = parse("/outages", "?edit=QE-2026-12&cap=10")
    shown, _ = read(address)
    tree = opened(plans, None, shown, address)
    assert boxes(tree) == {
        "Kind": "maintenance stop", "Site": "QE", "Line": "", "Start": "2026-12-19T06:00", "End": "2026-12-23T18:00",
        "Crew hours, h": "40", "Crews": "2", "State": "planned", "Your name": "",
    }  # fmt: skip
    said = words_of(tree)
    assert "Change outage QE-2026-12" in said
    assert "Times are local to the outage’s site, Europe/London." in said
    (link,) = [node for node in walk(tree) if kind_of(node) == "Link"]
    assert link.href == "/outages?cap=10"


def test_a_new_outage_begins_at_the_site_in_view_and_names_every_zone(plans: PlanSources) -> None:
    tree = opened(plans, "ER", OutagesAsked(edit="new"), HERE)
    begun = boxes(tree)
    assert (begun["Code"], begun["Site"], begun["State"]) == ("", "ER", "planned")
    assert "Times are local to the site: ER Europe/Berlin, QE Europe/London; UTC without a site." in words_of(tree)
    assert opened(plans, "ER", OutagesAsked(), HERE) == []


def test_many_lines_are_not_all_offered_and_many_zones_not_all_named() -> None:
    many = OutageForm(
        None,
        dict.fromkeys(("outage", "kind", "site", "line", "starts_at", "ends_at", "crew_hours", "crews", "state"), ""),
        None,
        tuple((f"S{k}", zone) for k, zone in enumerate(["Europe/Berlin", "UTC"] * 20)),
        tuple(f"L{k}" for k in range(10_000)),
        (),
    )
    tree = section(many, OutagesAsked(edit="new"), HERE)
    options = [node for node in walk(tree) if kind_of(node) == "Option"]
    assert len(options) == 40 + 3  # sites and states
    assert "S5 UTC and others; UTC without a site." in words_of(tree)


def test_a_lines_form_says_where_its_hours_come_from_and_a_typed_figure_takes_their_place(plans: PlanSources) -> None:
    tree = section(plans.form("line:C02", None), OutagesAsked(edit="line:C02"), HERE)
    assert boxes(tree) == {
        "Crew hours of a visit, h": "14", "Cost of a visit, days over the limit": "3", "Weight": "3",
        "Cool-down, h": "10", "Screw pull, h": "4", "Heat-up, h": "6", "Your name": "",
    }  # fmt: skip
    # Of the other lines' 8, 10 and 12 h the median is 10 h.
    assert "The crew hours typed here hold in place of 10 crew h, median of all lines’ visits." in words_of(tree)
    done, said = stored(plans, "line:C02", {"visit_hours": "", "cool_down_h": "12"}, "J. Quillam")
    assert (done, said) == (
        True,
        ("Line C02 is changed: crew hours of a visit 14 h taken away; cool-down 12 h instead of 10 h.",),
    )
    anew = words_of(section(plans.form("line:C02", None), OutagesAsked(edit="line:C02"), HERE))
    assert "No crew hours are typed, so 10 crew h, median of all lines’ visits hold" in anew


def test_storing_says_what_changed_and_a_refusal_names_the_box(plans: PlanSources) -> None:
    known = dict(plans.form("QE-2026-12", None).texts)  # type: ignore[union-attr]
    del known["outage"]
    done, said = stored(plans, "QE-2026-12", {**known, "crew_hours": "55"}, "J. Quillam")
    assert (done, said) == (True, ("Outage QE-2026-12 is changed: crew hours 55 h instead of 40 h.",))
    done, said = stored(plans, "QE-2026-12", {**known, "ends_at": "2026-12-01", "crews": "-1"}, "J. Quillam")
    assert not done
    assert said == (
        "Crews: '-1' is negative; write a number from 0 to 1000000.",
        "End: '2026-12-01' lies before the start; correct one of them.",
    )
    done, said = stored(plans, "new", {**known, "outage": "QE-2026-12"}, "J. Quillam")
    assert (done, said[0][:44]) == (False, "Code: there is an outage ‘QE-2026-12’ already"[:44])
    assert stored(plans, "QE-2026-12", known, None) == (False, ("The record keeps who wrote in it; type your name.",))


def test_what_is_not_on_record_cannot_be_changed_and_the_way_on_is_there(plans: PlanSources) -> None:
    for what, said in (
        ("QE-1999", "The record holds no outage ‘QE-1999’; choose one of its outages or enter a new one."),
        ("line:C99", "The record holds no line ‘C99’; choose one of its lines."),
    ):
        tree = opened(plans, None, OutagesAsked(edit=what), HERE)
        assert said in words_of(tree)
        assert "/outages?edit=new" in [node.href for node in walk(tree) if kind_of(node) == "Link"]


def test_what_the_plan_is_made_from_is_listed_line_by_line_and_open_to_change() -> None:
    shown = OutagesAsked(asked=Asked(site="ORR"))
    tree = below(SOURCES, PLAN, shown, HERE)
    rows = [
        [words_of(cell) for cell in walk(row) if kind_of(cell) == "Td"]
        for row in walk(tree)
        if kind_of(row) == "Tr" and any(kind_of(cell) == "Td" for cell in walk(row))
    ]
    assert [row[0] for row in rows] == sorted(row.line for row in PLAN.rows)
    assert rows[-1][:8] == [
        "ORR-13", "14 crew h", "assumed: no visit on record says", "16 h", "8 h", "10 h", "1", "5 days over",
    ]  # fmt: skip
    hrefs = [str(getattr(node, "href", "")) for node in walk(tree) if kind_of(node) == "Link"]
    assert hrefs[0] == "/outages?site=ORR&edit=new"
    assert "/outages?site=ORR&edit=line:ORR-13" in hrefs
