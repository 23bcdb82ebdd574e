"""A visit on Record as a technician types it: caught slips, a network that goes away, a locked phone, keys alone.

Readings are simulated here from a truth near what the line's forecast expects: bore centre plus or minus the beam's
error, in the instrument's own senses (a reversal turns the sign of the beam's part alone), with noise of 3 um. The
store is a copy of the demo, so that other tests keep theirs.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_reader import Reader, reading
from browser_server import DemoFleet, serving
from playwright.sync_api import Browser, Page, expect

from fleet.services.fleet_page import FleetFilters, fleet_view
from fleet.services.job_sheet import job_sheet
from fleet.services.opening import Store, open_store
from fleet.services.recording.looking import record_view
from fleet.services.recording.view import RecordView, Slot

pytestmark = pytest.mark.browser

LINE = "ORR-07"
_SETTLED = """() => {
  const page = document.querySelector(".rc[data-draft]"), strip = document.querySelector(".kept");
  return page && strip && strip.dataset.state === "stored" && !page.hasAttribute("data-behind");
}"""
_UNDER_CURSOR = """() => {
  const at = document.activeElement;
  return at.matches(".vl") && at.closest("[data-box]").dataset.box;
}"""


@dataclass(frozen=True)
class Site:
    """The copy of the demo that is recorded into: its store, opened beside the server, and where it is served."""

    store: Store
    address: str

    def view(self, page: Page) -> RecordView:
        """Return the visit a page shows, as it is stored."""
        return record_view(self.store, page.url.split("draft=")[1].split("#")[0].split("&")[0])


@contextmanager
def recorded_into(demo: DemoFleet, folder: Path) -> Iterator[Site]:
    copy = folder / "recorded.sqlite"
    with sqlite3.connect(demo.url.removeprefix("sqlite:///")) as source, sqlite3.connect(copy) as target:
        source.backup(target)
    url = f"sqlite:///{copy}"
    store = open_store(url, say=print)
    with serving(url, folder) as address:
        yield Site(store, address)
    store.close()


@pytest.fixture(scope="module")
def site(demo: DemoFleet, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with recorded_into(demo, tmp_path_factory.mktemp("recorded")) as found:
        yield found


@pytest.fixture
def untouched(demo: DemoFleet, tmp_path: Path) -> Iterator[Site]:
    """A copy of the demo that nothing else is recorded into: the visit to the line that is over changes it."""
    with recorded_into(demo, tmp_path) as found:
        yield found


@pytest.fixture(params=["desk", "phone"])
def technician(request: pytest.FixtureRequest, browser: Browser, site: Site) -> Iterator[Reader]:
    with reading(browser, site.address, request.param) as found:
        yield found
        assert found.complaints == []
        assert found.foreign() == []


@pytest.fixture
def phone(browser: Browser, site: Site) -> Iterator[Reader]:
    with reading(browser, site.address, "phone") as found:
        yield found
        assert found.foreign() == []


class Bore:
    """The bore as it truly lies and the beam as it truly is off, read through an instrument."""

    def __init__(self, view: RecordView, seed: int) -> None:
        assert view.instrument is not None
        self.random = random.Random(seed)
        senses = (view.instrument.sense_v, view.instrument.sense_h)
        self.sense = tuple(-1 if sense == "beam_from_bore" else 1 for sense in senses)
        self.centre = {
            station.station: tuple((um or 0.0) + self.random.gauss(0.0, 5.0) for um in station.expected_um)
            for station in view.passes[0].stations
        }
        self.beam = (6.0, -8.0)

    def moved(self, view: RecordView) -> None:
        """Let the bore go where the moves as typed are expected to bring it."""
        self.centre = {each.station: each.offset_um for each in view.rounds[0].expect}

    def shows(self, slot: Slot) -> tuple[str, str]:
        """Return what the instrument shows at a station and roll, in mm with a sign."""
        turned = -1.0 if slot.roll_deg == 180 else 1.0
        texts = []
        for axis in (0, 1):
            um = self.centre[slot.station][axis] - turned * self.beam[axis] + self.random.gauss(0.0, 3.0)
            texts.append(f"{self.sense[axis] * um / 1000.0:+.3f}")
        return texts[0], texts[1]


def begin(reader: Reader, line: str, name: str = "M. Adeyrin") -> Page:
    page = reader.open(f"/record/{line}")
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Reason for the visit").fill("planned outage")
    page.get_by_role("button", name="Begin: set the beam").click()
    page.wait_for_url("**draft=**")
    page.wait_for_function(_SETTLED, polling=50)
    return page


def box(page: Page, field: str) -> Any:
    return page.locator(f'[data-box="{field}"] .vl')


def type_pairs(page: Page, slots: list[Slot], shows: Callable[[Slot], tuple[str, str]]) -> dict[str, str]:
    """Type readings one after the other by the keyboard alone: the first box is under the cursor, Enter leads on."""
    typed: dict[str, str] = {}
    for slot in slots:
        for field, text in zip((slot.v.name, slot.h.name), shows(slot), strict=True):
            assert page.evaluate(_UNDER_CURSOR) == field
            page.keyboard.type(text)
            page.keyboard.press("Enter")
            typed[field] = text
    return typed


def wide_enough(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def serious(page: Page) -> list[str]:
    # The steps that are not shown are hidden from everybody; looking them over again and again takes long.
    shown = "[data-step]:not([hidden])" if page.locator("[data-step]").count() else "main"
    found = Axe().run(page, context=shown, options={"resultTypes": ["violations"]}).response["violations"]
    return [
        f"{each['id']}: {node['target']} {node['failureSummary']}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


def press(page: Page, name: str) -> None:
    """Reach a button of the step that is shown with the Tab key and press it with the space bar."""
    wanted = page.locator("[data-step]:not([hidden])").get_by_role("button", name=name, exact=True).first
    wanted.wait_for()
    for _ in range(60):
        if wanted.evaluate("one => one === document.activeElement"):
            break
        page.keyboard.press("Tab")
    else:
        raise AssertionError(f"the Tab key does not reach {name}")
    page.keyboard.press("Space")


def tab_to(page: Page, field: str) -> None:
    for _ in range(80):
        if page.evaluate(_UNDER_CURSOR) == field:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"the Tab key does not reach {field}")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_visit_typed_by_keys_alone_is_caught_corrected_signed_and_seen_in_the_fleet(
    browser: Browser, untouched: Site, size: str
) -> None:
    with reading(browser, untouched.address, size) as technician:
        visit_and_sign(technician, untouched)
        assert technician.complaints == []
        assert technician.foreign() == []


def visit_and_sign(technician: Reader, site: Site) -> None:
    before = next(row for row in fleet_view(site.store, FleetFilters()).rows if row.line == LINE)
    assert before.status == "over"
    page = begin(technician, LINE)
    view = site.view(page)
    bore = Bore(view, seed=7)
    assert wide_enough(page)

    near, far = view.beam.states[0].nearest, view.beam.states[0].farthest
    tab_to(page, near.slots[0].v.name)
    type_pairs(page, [*near.slots, *far.slots], bore.shows)
    page.wait_for_function(_SETTLED, polling=50)
    expect(page.get_by_text("Both axes agree").locator("visible=true")).to_have_count(2)
    press(page, "Go on to as-found")
    expect(page.locator("h1")).to_contain_text("As-found, station")

    view = site.view(page)
    slots = [slot for station in view.passes[0].stations for slot in station.slots if not slot.from_beam]
    last = view.passes[0].stations[-2]
    swapped = last.slots[1]
    field = swapped.h.name
    right = bore.shows(swapped)

    def shows(slot: Slot) -> tuple[str, str]:
        if slot is not swapped:
            return bore.shows(slot)
        return right[0], ("-" if right[1][0] == "+" else "+") + right[1][1:]

    tab_to(page, slots[0].v.name)
    typed = type_pairs(page, [*slots, *view.passes[0].again], shows)
    page.wait_for_function(_SETTLED, polling=50)
    assert site.view(page).fields.items() >= typed.items()
    stations = page.locator('[data-step="p1"] .sts')
    stations.get_by_role("button", name=f"Station {last.station}", exact=True).press("Enter")
    panel = page.locator(".slip:visible")
    expect(panel.locator("h3")).to_have_text("h at 180° does not fit its pair")
    figure = right[1][1:]
    would = f"{'+' if right[1][0] == '+' else '−'} {figure} mm"
    assert would in panel.inner_text().replace("\u00a0", " ")
    assert site.view(page).fields[field] == typed[field]
    assert serious(page) == []
    assert wide_enough(page)
    press(page, f"Turn the sign: {would}")
    expect(panel).to_have_count(0)
    page.wait_for_function(_SETTLED, polling=50)
    assert site.view(page).fields[field] == right[1]

    for name, text in (("barrel_c", "22"), ("gearbox_c", "21"), ("base_c", "21"), ("heats_off_h", "38")):
        tab_to(page, f"p1.{name}")
        page.keyboard.type(text)
    page.locator('[data-step="p1"]').get_by_role("button", name="Go on to the moves").press("Enter")
    expect(page.locator("h1")).to_have_text("Move the supports")
    expect(page.get_by_text("Keep from under").locator("visible=true")).to_be_visible()
    page.wait_for_function(_SETTLED, polling=50)
    assert wide_enough(page)
    for card in site.view(page).rounds[0].cards:
        for side, words in ((card.v, ("higher", "lower")), (card.h, ("right", "left"))):
            if card.place or side.propose_um is None or abs(side.propose_um) < 5.0:
                continue
            tab_to(page, side.amount.name)
            page.keyboard.type(f"{abs(side.propose_um) / 1000:.2f}".replace(".", ","))
            page.keyboard.press("Tab")
            if side.propose_um < 0.0:
                page.keyboard.press("Tab")
            page.keyboard.press("Space")
            chosen = page.locator(f'[data-choice="{side.way.name}"] [aria-pressed="true"]')
            expect(chosen).to_have_text(words[0] if side.propose_um > 0.0 else words[1])
    page.wait_for_function(_SETTLED, polling=50)
    assert site.view(page).rounds[0].expect_from == "done"
    bore.moved(site.view(page))
    press(page, "Moved: read as-left")
    view = site.view(page)
    tab_to(page, view.passes[1].stations[0].slots[0].v.name)
    type_pairs(page, [*(s for each in view.passes[1].stations for s in each.slots), *view.passes[1].again], bore.shows)
    press(page, "torqued")
    press(page, "Good enough: go on to sign")
    page.wait_for_function(_SETTLED, polling=50)
    expect(page.locator("h1")).to_have_text("Sign the visit")
    assert f"corrected from {'−' if right[1][0] == '+' else '+'} {figure} mm to {would}" in page.locator(
        "[data-panel=sign-noticed]"
    ).inner_text().replace("\u00a0", " ")
    assert serious(page) == []
    assert wide_enough(page)
    signing = site.view(page).signing
    for ask in signing.asks:
        tab_to(page, ask.field.name)
        page.keyboard.type("seen at the line")
    page.wait_for_function(_SETTLED, polling=50)
    assert site.view(page).signing.blocks == ()
    page.get_by_label("Your name").locator("visible=true").press("Enter")
    page.keyboard.press("Enter")
    page.wait_for_url("**signed=**")
    technician.settle()
    expect(page.locator("h1")).to_contain_text(f"Signed: {LINE}-")
    page.get_by_role("link", name="The session’s record").click()
    page.wait_for_url("**/session/**")
    technician.open("/")
    after = next(row for row in fleet_view(site.store, FleetFilters()).rows if row.line == LINE)
    assert after.status != "over"
    row = page.locator("tr, li, article").filter(has=page.get_by_role("link", name=LINE, exact=True)).first
    assert before.status not in row.inner_text().split()


def test_a_network_cut_and_a_closed_tab_lose_nothing(phone: Reader, site: Site) -> None:
    page = begin(phone, "VES-02")
    view = site.view(page)
    address = page.url.split("#")[0]
    bore = Bore(view, seed=3)
    page.goto(f"{address}#p1/{view.passes[0].stations[0].station}")
    page.wait_for_function(_SETTLED, polling=50)
    slots = [slot for station in view.passes[0].stations[:3] for slot in station.slots]
    tab_to(page, slots[0].v.name)
    typed = type_pairs(page, slots[:2], bore.shows)
    page.wait_for_function(_SETTLED, polling=50)
    phone.context.set_offline(True)
    typed |= type_pairs(page, slots[2:], bore.shows)
    strip = page.locator(".kept")
    expect(strip).to_contain_text("Kept on this device. Not reached since")
    expect(strip).to_contain_text("8 values not yet stored")
    expect(page.get_by_text("Kept, not reduced yet.").locator("visible=true").first).to_be_visible()
    held = site.view(page).fields
    assert len([name for name in typed if name in held]) == 4
    page.close()
    phone.complaints.clear()  # the requests that the cut network swallowed

    phone.context.set_offline(False)
    phone.page = again = phone.context.new_page()
    again.goto(address)
    again.wait_for_function(_SETTLED, polling=50)
    expect(again.locator(".kept")).to_contain_text("nothing waiting on this device")
    assert site.view(again).fields.items() >= typed.items()
    last = slots[-1].h.name
    assert box(again, last).input_value() == typed[last][1:]
    assert phone.complaints == []


def test_a_phone_that_locks_sends_at_once_what_was_typed(phone: Reader, site: Site) -> None:
    phone.page.clock.install()
    page = begin(phone, "VES-02")
    field = site.view(page).beam.states[0].nearest.slots[0].v.name
    # Nothing that waits for a time comes to pass from here on.
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 1)
    box(page, field).press_sequentially("-0.042")
    assert field not in site.view(page).fields
    with page.expect_response("**/entries") as sent:
        page.evaluate(
            "Object.defineProperty(document, 'visibilityState', { value: 'hidden', configurable: true });"
            "document.dispatchEvent(new Event('visibilitychange'));"
        )
    assert sent.value.ok, sent.value.text()
    assert site.view(page).fields[field] == "-0.042"
    assert phone.complaints == []


def test_what_is_typed_on_another_device_is_shown_and_not_typed_over(browser: Browser, site: Site) -> None:
    with reading(browser, site.address) as first, reading(browser, site.address, "phone") as second:
        page = begin(first, "VES-05")
        pair = site.view(page).beam.states[0].nearest.slots
        other = second.open(page.url.removeprefix(site.address))
        other.wait_for_function(_SETTLED, polling=50)
        box(page, pair[0].v.name).fill("0.040")
        page.wait_for_function(_SETTLED, polling=50)
        box(other, pair[0].h.name).fill("0.011")
        other.wait_for_function(_SETTLED, polling=50)
        expect(box(other, pair[0].v.name)).to_have_value("0.040")
        fields = site.view(page).fields
        assert (fields[pair[0].v.name], fields[pair[0].h.name]) == ("0.040", "0.011")


def test_a_running_check_says_what_it_means_before_it_is_stored(technician: Reader, site: Site) -> None:
    line = {"desk": "ORR-02", "phone": "ORR-09"}[technician.size]
    sheet = job_sheet(site.store, line)
    assert sheet.last_as_left is not None
    station, v_um, _ = sheet.last_as_left.offsets_um[-1]
    page = technician.open(f"/record/{line}?what=running")
    expect(page.get_by_text("The line is live and hot;").locator("visible=true")).to_be_visible()
    page.get_by_label("Your name").fill("P. Oduya")
    page.get_by_role("textbox", name=f"Vertical rise at station {station}").fill("0,310")
    page.get_by_label("Barrel", exact=True).fill("195")
    page.get_by_role("button", name="Say what it means").click()
    answer = page.locator("[data-answer]")
    ran_um = v_um + 310.0
    ran = f"it ran {abs(ran_um) / 1000:.3f} mm {'high' if ran_um > 0 else 'low'}."
    expect(answer).to_contain_text(f"Station {station}: 0.310 mm higher running than cold")
    assert ran in answer.inner_text().replace("\u00a0", " ")
    expect(answer).to_contain_text("Nothing is stored yet.")
    assert job_sheet(site.store, line).running == sheet.running
    assert wide_enough(page)
    assert serious(page) == []
    page.get_by_role("button", name="Store it").click()
    expect(answer).to_contain_text("1 running check stored.")
    expect(page.locator(".kept")).to_contain_text("Not begun.")
    running = job_sheet(site.store, line).running
    assert running is not None
    assert [round(rise) for code, rise, _ in running.stations if code == station] == [310]
