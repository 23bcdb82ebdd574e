"""Record's pages and what they write to, with contents invented by hand (`record_story`)."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import orrindale
import pytest
import record_story
from flask.testing import FlaskClient
from trees import walk, with_class, words_of

from dashboard.address import Address, parse
from dashboard.app import build, render
from dashboard.components.record_boxes import box_id
from dashboard.components.record_slip import scale
from dashboard.components.record_words import as_shown, as_typed, calibrated, shows
from dashboard.pages.record import known, panels
from dashboard.pages.record_begin import age
from dashboard.pages.record_forms import rise_sentences
from dashboard.plain_html import to_html
from fleet.services.recording.view import InstrumentView, SlipScale

KEY = record_story.KEY


@pytest.fixture
def desk() -> record_story.Desk:
    return record_story.Desk()


@pytest.fixture
def client(desk: record_story.Desk) -> FlaskClient:
    made: FlaskClient = build(replace(orrindale.SOURCES, recording=desk.sources())).server.test_client()
    return made


def page(path: str, search: str = "") -> Any:
    return render(orrindale.SOURCES, parse(path, search))


def panel_words(name: str, view: Any = record_story.VIEW) -> str:
    return words_of(panels(view, "mm")[name])


def data(node: Any, name: str) -> list[str]:
    return [getattr(found, f"data-{name}") for found in walk(node) if hasattr(found, f"data-{name}")]


def test_a_visit_has_the_boxes_of_every_step_pass_and_round_from_the_start() -> None:
    body = page("/record/ORR-07", f"?draft={KEY}").body
    boxes = set(data(body, "box"))
    assert {
        "b1.1.0.v",
        "b2.6.180.h",
        "p1.s.B.180.h",
        "p3.s.6.0.v",
        "p2.again.180.h",
        "m1.B.v.amount",
        "f1.item",
    } <= boxes
    assert data(body, "step") == ["beam", "p1", "p2", "p3", "m1", "m2", "sign"]
    assert words_of(with_class(body, "steps")) == "BeamAs-foundMovesAs-leftSign"


def test_no_box_is_there_twice_because_a_label_leads_to_one_box() -> None:
    boxes = data(page("/record/ORR-07", f"?draft={KEY}").body, "box")
    assert sorted(boxes) == sorted(set(boxes))
    assert box_id("m1.B.v.amount") == "box-m1_B_v_amount"


def test_every_reading_says_its_axis_roll_and_station_to_a_screen_reader() -> None:
    body = page("/record/ORR-07", f"?draft={KEY}").body
    labels = dict(zip(data(body, "box"), data(body, "label"), strict=True))
    assert labels["p1.s.B.180.h"] == "h at 180°, station B, as the instrument shows it"


def test_a_pair_that_differs_says_what_to_trim_to_in_one_sentence() -> None:
    """Half of 0.030 is 0.015; the figures of the mock-up."""
    text = panel_words("b1-near")
    assert "h: pair differs 0.030 mm: the beam is 0.015 mm off here. Trim until it reads + 0.020 mm." in text
    assert "Leave it at 180° (6 o’clock) and watch h." in text
    assert "v: pair differs" not in text
    assert "0.008 agrees" in text


def test_going_on_waits_until_both_pairs_agree_or_a_reason_is_given() -> None:
    made = panels(record_story.VIEW, "mm")["beam-go"]
    buttons: list[Any] = [found for found in walk(made) if getattr(found, "data-go", None) == "p1"]
    assert [button.disabled for button in buttons] == [True]
    assert "Opens when both pairs agree within 0.025 mm." in words_of(made)
    open_beam = replace(record_story.VIEW.beam, may_go_on=True)
    made = panels(replace(record_story.VIEW, beam=open_beam), "mm")["beam-go"]
    buttons = [found for found in walk(made) if getattr(found, "data-go", None) == "p1"]
    assert [button.disabled for button in buttons] == [False]


def test_a_slip_says_what_was_typed_what_it_gives_what_was_expected_and_what_it_would_be() -> None:
    text = panel_words("p1-slips")
    assert "h at 180° does not fit its pair" in text
    assert "With − 0.047 mm the beam would be 0.057 mm off here." in text
    assert "At the 4 other stations it was 0.010 ± 0.003 mm off." in text
    assert "Most likely the sign. With + 0.047 mm the bore lies 0.057 mm right (operator side)" in text
    assert "and the beam is 0.010 mm off. As typed it would lie 0.010 mm right (operator side)." in text
    assert "Expected: 0.06 mm right ± 0.10 mm." in text
    assert "Nothing changes until you choose. Move no support before this is settled." in text


def test_a_slip_offers_three_choices_and_only_the_first_types_another_text() -> None:
    made = panels(record_story.VIEW, "mm")["p1-slips"]
    typed = [json.loads(text) for text in data(made, "entries")]
    was = ["n.p1-sign-B.was", "-0.047"]
    assert typed[0] == [was, ["n.p1-sign-B.choice", "corrected"], ["p1.s.B.180.h", "+0.047"]]
    assert typed[1] == [was, ["n.p1-sign-B.choice", "read_again"]]
    assert typed[2] == [["n.p1-sign-B.choice", "kept"]]
    texts = [words_of(found) for found in walk(made) if type(found).__name__ == "Button"]
    assert texts[:3] == ["Turn the sign: + 0.047 mm", "Read it again", "Keep − 0.047 mm, say why"]


def test_a_scale_draws_a_beam_off_to_one_side_by_how_far_and_to_both_sides_with_words() -> None:
    left = scale(SlipScale("beam", "h", -57.0, -10.0, -10.0, 3.0, 4), "mm", "sign turned")
    assert "as typed, 0.057" in words_of(left)
    both = scale(SlipScale("beam", "h", 41.0, -11.0, -9.0, 11.0, 5), "mm", "sign turned")
    assert "as typed, 0.041 right" in words_of(both)
    assert "sign turned, 0.011 left" in words_of(both)
    points: list[Any] = with_class(left, "pt")
    # As typed lies farther out than the sign turned, so farther to the right.
    assert float(points[1].style["left"][:-1]) > float(points[0].style["left"][:-1])


def test_so_far_gives_offset_and_expectation_and_marks_the_row_that_does_not_fit() -> None:
    made = panels(record_story.VIEW, "mm")["p1-sofar"]
    assert "from the gearbox axis, at 20 °C; right is the operator side" in words_of(made)
    rows = [words_of(found) for found in walk(made) if type(found).__name__ == "Tr"]
    assert rows[2] == "20.212 low0.21 low ± 0.040.021 right0.02 right ± 0.04"
    assert rows[6] == "6not read0.58 low ± 0.10not read0.06 right ± 0.10"
    assert [words_of(row)[:1] for row in with_class(made, "bad")] == ["B"]


def test_cautions_stand_in_full_above_any_move() -> None:
    body = page("/record/ORR-07", f"?draft={KEY}").body
    (moves,) = [found for found in walk(body) if getattr(found, "data-step", None) == "m1"]
    text = words_of(moves)
    assert len(with_class(moves, "always")) == 1
    assert text.index("it grows about 8 mm in length") < text.index("Raise B")
    assert text.index("This sheet is no permission to work.") < text.index("Raise B")


def test_a_move_is_said_in_the_words_for_moves_with_both_parts_of_the_figure_to_set() -> None:
    text = panel_words("m1-B")
    assert text.startswith("Raise B 0.39 mm, move left 0.04 mm")
    assert "From 0.588 mm low to 0.20 mm low (target 0.26 mm low, 0.06 mm higher against drift)" in text
    assert "from 0.057 mm right to 0.02 mm right (target 0.02 mm right)." in text
    assert "+ 0.06" not in text


def test_moves_wait_while_something_noticed_is_not_settled() -> None:
    assert "Move no support yet." in panel_words("m1-found")
    settled = replace(record_story.VIEW, rounds=(replace(record_story.ROUND, waits_for=()),))
    assert "Move no support yet." not in panel_words("m1-found", settled)


def test_signing_shows_what_was_settled_and_what_still_blocks() -> None:
    assert (
        "Station B, h at 180°: sign turned; corrected from − 0.047 mm to + 0.047 mm, 14:55, M. Adeyrin"
        in panel_words("sign-noticed")
    )
    assert "Before it can be signed" in panel_words("sign-asks")
    text = words_of(page("/record/ORR-07", f"?draft={KEY}").body)
    assert "the record says beside it that it was not verified" in text
    assert "Signing is no permission to start the machine." in text


def test_the_script_is_told_what_the_record_holds_and_what_it_doubts() -> None:
    told = known(record_story.VIEW)
    assert told["version"] == 7
    assert told["fields"] == {"p1.s.B.180.h": "-0.047"}
    assert told["doubted"] == ["p1.s.B.180.h"]
    assert told["odd"]["p1"] == ["B"]


def test_readings_keep_every_figure_as_typed() -> None:
    assert as_typed("-0,0470", "mm").replace("\u00a0", " ") == "− 0,0470 mm"
    assert as_typed(" 0.5", "thou").replace("\u00a0", " ") == "+ 0.5 thou"
    assert as_shown(-47.0, "mm").replace("\u00a0", " ") == "− 0.047 mm"
    assert as_shown(25.4, "thou").replace("\u00a0", " ") == "+ 1.00 thou"


def test_an_instrument_says_how_its_calibration_stands_and_what_it_shows() -> None:
    assert calibrated(record_story.INSTRUMENT).replace("\u00a0", " ") == "I-04, calibrated to 3 Mar 2027"
    lapsed = replace(record_story.INSTRUMENT, calibration="lapsed")
    assert calibrated(lapsed).replace("\u00a0", " ") == "I-04, calibration lapsed 3 Mar 2027"
    assert calibrated(replace(lapsed, calibration="none recorded")) == "I-04, no calibration recorded"
    assert shows(record_story.INSTRUMENT) == "bore from beam, v + high, h + right"
    mixed = InstrumentView("I-05", None, "bore_from_beam", "beam_from_bore", None, None, "none recorded")
    assert shows(mixed) == "v bore from beam, h beam from bore"


def test_open_visits_say_whose_they_are_and_how_old() -> None:
    text = words_of(page("/record").body)
    assert "by M. Adeyrin (not verified)" in text
    assert "22 values stored" in text
    # Begun at 13:58.
    now = record_story.STARTED
    laters: tuple[dict[str, int], ...] = ({"minute": 59}, {"hour": 14, "minute": 33}, {"hour": 17}, {"day": 24})
    ages = [age(now, now.replace(**later)) for later in laters]  # type: ignore[arg-type]
    assert ages == ["just now", "35 minutes ago", "4 hours ago", "4 days ago"]


def test_a_correction_asks_who_and_why_and_what_it_keeps() -> None:
    shown = page("/record/ORR-07", "?corrects=ORR-07-20250617")
    assert shown.title == "Correct ORR-07-20250617"
    assert set(data(shown.body, "box")) == {"technician", "correction_reason"}
    assert "keeps the moment of its visit" in words_of(shown.body)


def test_a_word_that_is_no_form_is_said_and_the_visit_is_offered() -> None:
    shown = page("/record/ORR-07", "?what=lunch")
    assert shown.notes == ("‘lunch’ is nothing that is entered here; the form to begin a visit is shown.",)
    assert page("/record/NO-1").title == "No line NO-1"


def test_a_draft_that_is_gone_says_so_and_leads_on() -> None:
    shown = page("/record/ORR-07", "?draft=elsewhere-0")
    assert shown.title == "No such visit"
    assert "it was discarded" in words_of(shown.body)


def test_a_rise_is_said_as_a_movement_and_where_it_ran() -> None:
    (sentence,) = rise_sentences((record_story.RISEN,), "mm", "operator side")
    assert sentence.replace("\u00a0", " ") == (
        "Station A: 0.310 mm higher and 0.020 mm to the left running than cold, from the gearbox axis; as-left 0.270 "
        "mm low and 0.000 mm on axis, 17 Jun 2025: it ran 0.040 mm high and 0.020 mm left."
    )
    (sentence,) = rise_sentences((replace(record_story.RISEN, from_axis_um=None),), "mm", None)
    assert "from the floor. The gearbox’s own rise is taken off by the heat model" in sentence


def test_entries_are_acknowledged_by_their_highest_number_and_kept_as_typed(
    client: FlaskClient, desk: record_story.Desk
) -> None:
    entry = {"field": "p1.s.B.180.h", "value": " -0,047", "typed_at": "2026-12-20T14:53:00+00:00", "sequence": 5}
    answer = client.post(f"/drafts/{KEY}/entries", json={"device": "d1", "entries": [entry, {**entry, "sequence": 9}]})
    assert answer.status_code == 200
    assert (answer.get_json()["acknowledged"], answer.get_json()["version"]) == (9, 8)
    ((key, entries, device),) = desk.kept
    assert (key, device, entries[0].value, entries[0].sequence) == (KEY, "d1", " -0,047", 5)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"device": "d1"}, "What was sent holds no entries; load the page again."),
        ({"device": "d1", "entries": [{"field": "x"}]}, "An entry has no field, value, typed_at and sequence"),
        ([], "What was sent cannot be read; load the page again."),
    ],
)
def test_what_these_pages_do_not_send_is_refused_with_a_sentence(
    client: FlaskClient, desk: record_story.Desk, body: object, said: str
) -> None:
    answer = client.post(f"/drafts/{KEY}/entries", json=body)
    assert answer.status_code == 400
    assert said in answer.get_data(as_text=True)
    assert desk.kept == []


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
@pytest.mark.parametrize(
    "path",
    [
        "/drafts?line=ORR-07",
        f"/drafts/{KEY}/entries",
        f"/drafts/{KEY}/sign",
        f"/drafts/{KEY}/discard",
        "/drafts/enter/meter?line=ORR-07",
    ],
)
def test_a_page_of_another_site_can_write_nothing(
    client: FlaskClient, desk: record_story.Desk, path: str, headers: dict[str, str]
) -> None:
    body = {"client_key": "12345678", "device": "d", "entries": [], "fields": {}, "name": "X", "version": 7}
    answer = client.post(path, json=body, headers=headers)
    assert answer.status_code == 403
    assert "a page of another site" in answer.get_data(as_text=True)
    assert (desk.begun, desk.kept, desk.ended, desk.entered) == ([], [], [], [])


def test_the_own_pages_and_what_is_no_browser_may_write(client: FlaskClient, desk: record_story.Desk) -> None:
    body = {"name": "M. Adeyrin", "version": 7}
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    answer = client.post(f"/drafts/{KEY}/sign?unit=thou", json=body, headers=own)
    assert answer.get_json()["to"] == "/record/ORR-07?signed=ORR-07-20261220&unit=thou"
    assert client.post(f"/drafts/{KEY}/discard", json=body).get_json() == {"to": "/record"}
    assert desk.ended == [("sign", KEY, "M. Adeyrin", "7"), ("discard", KEY, "M. Adeyrin")]


def test_a_form_begins_a_visit_once_by_its_key(client: FlaskClient, desk: record_story.Desk) -> None:
    fields = {"technician": "M. Adeyrin", "unit": "thou", "rolls": "2"}
    answer = client.post(
        "/drafts?line=ORR-07&unit=thou", json={"client_key": "k2345678", "device": "d", "fields": fields}
    )
    assert answer.get_json() == {"to": "/record/ORR-07?draft=k2345678&unit=thou"}
    assert desk.begun == [("ORR-07", "M. Adeyrin", "k2345678", None, fields)]


def test_a_running_check_becomes_a_row_for_each_station_that_has_a_rise(
    client: FlaskClient, desk: record_story.Desk
) -> None:
    fields = {
        "technician": "P. Oduya", "checked_at": "2026-12-20T10:00", "unit": "mm", "relative_to": "gearbox_axis",
        "gearbox_rise": "0.2", "v_rise.A": "0,310", "h_rise.A": "-0.02", "v_rise.B": " ", "barrel_c": "195",
    }  # fmt: skip
    body = {"client_key": "k2345678", "device": "d", "fields": fields}
    looked = client.post("/drafts/enter/running?line=ORR-07&look=yes", json=body).get_json()
    assert looked["kept"] is True
    assert looked["sentences"][-1] == "Nothing is stored yet."
    stored = client.post("/drafts/enter/running?line=ORR-07", json=body).get_json()
    assert "kept" not in stored
    assert [(sheet, name, look) for sheet, _, name, look in desk.entered] == [
        ("running_checks", "P. Oduya", True),
        ("running_checks", "P. Oduya", False),
    ]
    (row,) = desk.entered[1][1]
    assert (row["line"], row["station"], row["v_rise"], row["h_rise"]) == ("ORR-07", "A", "0,310", "-0.02")
    # The gearbox's own rise belongs to a check from the floor only.
    assert row["gearbox_rise"] == ""


def test_panels_come_as_plain_text_of_a_page_with_every_word_escaped(client: FlaskClient) -> None:
    told = client.get(f"/drafts/{KEY}/panels").get_json()
    assert told["known"]["version"] == 7
    assert "Turn the sign: +\u00a00.047\u00a0mm" in told["panels"]["p1-slips"]
    # What the visit does not have yet is not sent again.
    assert "p3-sofar" not in told["panels"]
    assert client.get("/drafts/elsewhere-0/panels").status_code == 404


def test_plain_text_of_a_page_keeps_markup_that_somebody_typed_as_words() -> None:
    from dash import dcc, html

    made = html.P(["<b>5 & 6</b>", html.Span('a "b"', title='x" onload="y', hidden=True)], className="note")
    assert to_html(made) == (
        '<p class="note">&lt;b&gt;5 &amp; 6&lt;/b&gt;<span hidden title="x&quot; onload=&quot;y">a "b"</span></p>'
    )
    assert to_html(html.I(style={"marginTop": "4px"})) == '<i style="margin-top:4px"></i>'
    with pytest.raises(TypeError, match="Link lives by its own script"):
        to_html(dcc.Link("x", href="/"))


def test_an_address_keeps_what_only_record_reads() -> None:
    address = parse("/record/ORR-07", "?signed=ORR-07-20261220&unit=thou")
    assert address.said("signed") == "ORR-07-20261220"
    assert Address(page="record", code="ORR-07").saying(draft=KEY).said("draft") == KEY
