"""What is typed stays as typed, means what the exchange format says, and is asked about where it means nothing.

Numbers of the beam are worked by hand: a reversal pair's mean is where the axis meets the target, half its difference
is what the beam is off (tests/measure has the published side of that).
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from record_sources import NOW
from visit_typing import Truth, Typist

from fleet.errors import InputError, NotFoundError
from fleet.measure.slips import Slip
from fleet.services.recording import Entry, RecordingError, keep, sign, start
from fleet.services.recording.fields import coded, noticed_key, noticed_parts, reading_field, reading_words
from fleet.services.recording.noticing import would_text
from fleet.store.engine import Store

KEY = "77aa-typing"
FOUND: Truth = {"P1": (-50.0, -17.0), "P2": (-102.0, 16.0), "P3": (-77.0, -11.0)}


def begin(store: Store, **fields: str) -> Typist:
    given = {"unit": "mm", "instrument": "I-12", "started_at": "2026-11-01T08:30", **fields}
    start(store, "C01", author="Kim", client_key=KEY, now=NOW, fields=given)
    return Typist(store, KEY, NOW)


def pair(typist: Typist, state: int, station: str, first: tuple[str, str], turned: tuple[str, str]) -> None:
    for roll, (v, h) in ((0, first), (180, turned)):
        typist.send((f"b{state}.{station}.{roll}.v", v), (f"b{state}.{station}.{roll}.h", h))


def test_the_beam_is_trimmed_to_the_mean_of_its_pair_until_both_ends_agree(own_lines: Store) -> None:
    typist = begin(own_lines)
    # v: -0.042 and -0.050 differ by 0.008; h: +0.035 and +0.005 by 0.030, so the beam is 0.015 off there and the
    # axis meets the target at +0.020.
    pair(typist, 1, "P1", ("-0.042", "0.035"), ("-0.050", "0,005"))
    beam = typist.view().beam
    assert beam.nearest is not None
    assert beam.nearest.difference_um == pytest.approx((-8.0, -30.0))
    assert beam.nearest.error_um == pytest.approx((-4.0, -15.0))
    assert beam.nearest.trim_to_um == pytest.approx((-46.0, 20.0))
    assert beam.nearest.agrees == (True, False)
    assert (beam.agree_um, beam.agrees, beam.may_go_on, beam.next_trims) == (25.0, False, False, "1")
    assert [state.open for state in beam.states] == [True, False, False, False, False, False]

    typist.send((beam.trims.name, "1"))
    pair(typist, 2, "P1", ("-0.044", "0.021"), ("-0.048", "0.019"))
    assert not typist.view().beam.agrees, "the farthest station is not read yet"
    pair(typist, 2, "P3", ("-0.075", "0.004"), ("-0.079", "0.010"))
    beam = typist.view().beam
    assert (beam.agrees, beam.may_go_on) == (True, True)
    assert [state.open for state in beam.states][:3] == [True, True, False]

    # The pairs are readings of the as-found, each in its own beam state; what they read need not be read again.
    view = typist.view().passes[0]
    assert view.readings == 6
    assert [station.complete for station in view.stations] == [True, False, True]
    assert [slot.from_beam for slot in view.stations[0].slots] == [True, True]
    assert [slot.beam_state for slot in view.stations[1].slots] == [2, 2]


def test_a_beam_that_stays_off_asks_for_a_reason_at_the_signature(own_lines: Store) -> None:
    typist = begin(own_lines)
    pair(typist, 1, "P1", ("-0.042", "0.035"), ("-0.050", "0.005"))
    asked = {ask.field.name: ask.settled for ask in typist.view().signing.asks}
    assert asked["why.beam"] is False
    typist.send(("why.beam", "the mount is worn"))
    assert typist.view().beam.may_go_on
    assert {ask.field.name: ask.settled for ask in typist.view().signing.asks}["why.beam"] is True


def test_a_text_that_is_no_number_stays_and_is_asked_about(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.send(("p1.s.P1.0.v", " .05"), ("p1.s.P1.0.h", "−0,047"), ("p1.barrel_c", "700"), ("running_hours", "many"))
    view = typist.view()
    slot = view.passes[0].stations[0].slots[0]
    assert (slot.v.text, slot.h.text, slot.complete) == (" .05", "−0,047", False)
    assert slot.v.problem == "'.05' is not a number; write digits, with a decimal point where needed."
    assert slot.h.problem is None
    blocks = view.signing.blocks
    assert f"Station P1 at 0° (as-found), v: {slot.v.problem}" in blocks
    assert "barrel_c (as-found): '700' is out of range; write a number from -50 to 600." in blocks
    assert "Running hours: 'many' is not a number; write digits, with a decimal point where needed." in blocks
    typist.send(("p1.s.P1.0.v", "0.05"))
    slot = typist.view().passes[0].stations[0].slots[0]
    assert (slot.complete, slot.sequence, slot.clock) == (True, 1, 12)


def test_half_a_reading_keeps_the_visit_from_being_signed(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.send(("p1.s.P2.180.v", "-0.1"))
    said = "Station P2 at 180° (as-found): v is typed and h is not; read it, or empty both."
    assert said in typist.view().signing.blocks
    with pytest.raises(RecordingError) as told:
        sign(own_lines, KEY, name="Kim", version=typist.view().version, now=NOW)
    assert said in told.value.blocks
    typist.send(("p1.s.P2.180.v", ""))
    assert typist.view().signing.blocks == ("Nothing is read yet: a visit has at least one complete reading.",)


def test_what_signing_asks_a_reason_for(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.read_pass(1, FOUND, but=["P3"])
    asks = {ask.field.name: ask.sentence.replace("\u00a0", " ") for ask in typist.view().signing.asks}
    assert asks == {
        "why.stations": "Not everything was read at P3 (as-found); say why.",
        "why.temperatures": "No barrel or gearbox temperature at as-found; say why.",
        "why.calibration": "The calibration of I-12 held until 4 Jun 2024; this survey is of 1 Nov 2026. "
        "Sign with a reason.",
    }
    typist.send(("skip.P3", "yes"), ("p1.barrel_c", "45"), ("p1.gearbox_c", "24"), ("instrument", "I-11"))
    typist.send(("m1.U1.v.amount", "0.05"), ("m1.U1.v.way", "higher"))
    asks = {ask.field.name: ask.sentence.replace("\u00a0", " ") for ask in typist.view().signing.asks}
    # I-11 is calibrated until 12 March 2027 (tests/data/mill-c/calibrations.csv); the barrel is 25 K above 20 C.
    assert sorted(asks) == ["why.as_left", "why.stations", "why.warm"]
    assert asks["why.stations"] == "Left out today: P3; say why."
    assert asks["why.warm"].startswith("The barrel was at 45 °C, 25 K above the cold reference;")
    assert asks["why.as_left"] == "Supports were moved and nothing was read afterwards; say why there is no as-left."


def test_an_acceptance_does_not_outlive_the_number_it_was_given_for(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.cold()
    typed = typist.read_pass(1, FOUND)
    turned = typed["p1.s.P2.180.v"].removeprefix("-")
    typist.send(("p1.s.P2.180.v", turned))
    (noticed,) = typist.view().passes[0].noticed
    typist.send((noticed.choice.name, "kept"))
    assert not typist.view().passes[0].noticed[0].settled, "a reason is wanted"
    typist.send((noticed.why.name, "read three times"))
    (kept,) = typist.view().passes[0].noticed
    assert (kept.key, kept.settled) == (noticed.key, True)
    assert [(each.choice, each.why) for each in typist.view().signing.settled] == [("kept", "read three times")]
    assert typist.view().rounds[0].waits_for == ()
    typist.send(("p1.s.P2.180.v", f"{turned[:-1]}{(int(turned[-1]) + 1) % 10}"))
    (again,) = typist.view().passes[0].noticed
    assert again.key != noticed.key
    assert not again.settled


def test_the_same_numbers_in_thou_give_the_same_offsets(own_lines: Store) -> None:
    # 25.4 um is one thou exactly (the international inch, NIST SP 811, B.6).
    def offsets(key: str, unit: str, um_in: float) -> list[float]:
        start(
            own_lines, "C01", author="Kim", client_key=key, now=NOW,
            fields={"unit": unit, "instrument": "I-12", "started_at": "2026-11-01T08:30"},
        )  # fmt: skip
        typist = Typist(own_lines, key, NOW)
        for slot_um in ((0, -2540.0, 508.0), (180, -2032.0, 254.0)):
            roll, v, h = slot_um
            typist.send((f"p1.s.P2.{roll}.v", f"{v / um_in:.4f}"), (f"p1.s.P2.{roll}.h", f"{h / um_in:.4f}"))
        got = next(s for s in typist.view().passes[0].stations if s.station == "P2").offset_um
        assert got is not None
        return list(got)

    assert offsets("key-in-thou", "thou", 25.4) == pytest.approx(offsets("key-in-mm-", "mm", 1000.0), abs=1e-6)


def test_the_unit_is_fixed_once_a_length_was_typed(own_lines: Store) -> None:
    typist = begin(own_lines)
    kept = typist.send(("unit", "thou"), ("remarks", "late"))
    # The cold targets of the job sheet stand there in mm from the start.
    assert kept.refused == ("The unit stays mm: lengths were typed in it already. Begin another visit for another.",)
    assert kept.sequence == typist.sequence
    view = typist.view()
    assert (view.unit, view.fields["remarks"]) == ("mm", "late")


def test_a_visit_begins_with_the_job_sheets_targets_and_they_can_be_changed(own_lines: Store) -> None:
    typist = begin(own_lines)
    view = typist.view()
    assert view.targets["P2"][0].text.startswith("-0.0")
    before = view.passes[0].stations[1]
    assert before.target_um[0] == pytest.approx(float(view.targets["P2"][0].text) * 1000.0)
    typist.send((view.targets["P2"][0].name, "-0.1"))
    after = typist.view().passes[0].stations[1]
    assert after.target_um[0] == -100.0
    # What is set against the drift is added to whatever target is chosen.
    assert after.set_to_um[0] == pytest.approx(-100.0 + (before.against_drift_um[0] or 0.0))
    typist.send((view.targets["P2"][0].name, ""))
    assert "Cold target of station P2: give v and h, or neither." in typist.view().signing.blocks


def test_moves_say_which_way_and_never_with_a_sign(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.send(("m1.U1.v.amount", "0.1"), ("m1.U2.h.amount", "-0.02"), ("m1.U2.h.way", "left"))
    assert typist.view().signing.blocks[1:] == (
        "The move at U1 after pass 1, vertical: choose higher or lower.",
        "The move at U2 after pass 1, horizontal: write the amount without a sign and choose which way it went.",
    )
    typist.send(("m1.U1.v.way", "lower"), ("m1.U2.h.amount", "0.02"), ("m1.U2.h.how", "screw"))
    view = typist.view()
    assert [(each.support, each.v_um, each.h_um, each.how) for each in view.signing.moved] == [
        ("U1", -100.0, None, None),
        ("U2", None, -20.0, "screw"),
    ]
    typist.send(("m1.nothing", "yes"))
    assert (
        "After pass 1 it says that nothing was moved, and a move is typed; take one of them away."
        in typist.view().signing.blocks
    )


def test_what_cannot_be_an_entry_is_refused_whole(own_lines: Store) -> None:
    typist = begin(own_lines)
    naive = [Entry("a", "1", 1, NOW.replace(tzinfo=None))]
    with pytest.raises(InputError, match="has no time zone"):
        keep(own_lines, KEY, naive, device="phone", now=NOW)
    with pytest.raises(InputError, match="at most 4000 are kept"):
        typist.send(("remarks", "x" * 4001))
    with pytest.raises(NotFoundError, match="There is no such draft"):
        keep(own_lines, "no-such-draft", [], device="phone", now=NOW)
    # A device whose clock runs a year ahead does not win over all others for ever.
    keep(own_lines, KEY, [Entry("remarks", "ahead", 1, NOW + timedelta(days=365))], device="other", now=NOW)
    later = NOW + timedelta(days=2)
    keep(own_lines, KEY, [Entry("remarks", "later", 9, later)], device="phone", now=later)
    assert typist.view().fields["remarks"] == "later"


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"author": " "}, "The record keeps who wrote in it; type your name."),
        ({"line": "C99"}, "There is no line 'C99' in the store; choose one of the list."),
        ({"corrects": "A01-01"}, "There is no session 'A01-01' to correct."),
        ({"corrects": "C02-01"}, "Session C02-01 is of line C02, not of C01; correct it there."),
        ({"client_key": "short"}, "A draft's key has 8 to 100 characters; 'short' cannot be used."),
    ],
)
def test_a_visit_that_cannot_begin_says_why(own_lines: Store, fields: dict[str, str], said: str) -> None:
    given: dict[str, str | None] = {
        "line": "C01", "author": "Kim", "client_key": "eight-or-more", "corrects": None, **fields,
    }  # fmt: skip
    with pytest.raises((InputError, NotFoundError, RecordingError)) as told:
        start(
            own_lines, str(given["line"]), author=str(given["author"]), client_key=str(given["client_key"]),
            corrects=given["corrects"], now=NOW,
        )  # fmt: skip
    assert str(told.value) == said


@pytest.mark.parametrize(
    ("written", "typed_um", "would_read_um", "unit", "text"),
    [
        ("-0.047", -47.0, 47.0, "mm", "0.047"),
        ("0,0470", 47.0, -47.0, "mm", "-0.0470"),
        ("+1.85", 46.99, -46.99, "thou", "-1.85"),
        ("−1.850", -46.99, 46.99, "thou", "1.850"),
        # 1.85 typed in mm and meant in thou: 1.85 x 25.4 um = 46.99 um.
        ("1.85", 1850.0, 46.99, "mm", "0.047"),
    ],
)
def test_the_text_to_put_in_instead_turns_the_sign_and_no_figure(
    written: str, typed_um: float, would_read_um: float, unit: str, text: str
) -> None:
    slip = Slip(
        check="sign_turned", axis="h", station=1, other_station=None, sequence=4, cause="sign", misfit_um=None,
        u95_misfit_um=None, typed_um=typed_um, would_read_um=would_read_um, offset_um=None, would_be_um=None,
        expected_um=None, agrees_to_um=None, against_forecast=False, also=(),
    )  # fmt: skip
    assert would_text(slip, written, unit) == text


def test_codes_with_points_and_spaces_make_names_that_can_be_read_back() -> None:
    name = reading_field(2, "B 1.5~ü/🔧", 180, "h")
    assert name.count(".") == 4
    assert coded("B 1.5~") == "B%201%2E5%7E"
    key = noticed_key("0123456789ab", 2, "sign_turned", "h", "B 1.5~ü/🔧", name)
    assert "." not in key
    assert noticed_parts(key) == (2, "sign_turned", "h", "B 1.5~ü/🔧", name)
    assert (reading_words(name), reading_words("p1.barrel_c")) == ("h at 180°", None)


def test_a_correction_of_an_imported_visit_holds_its_own_figures(own_lines: Store) -> None:
    # C01-03 of tests/data/mill-c: readings and moves typed in mm, cold targets in um (-35 um is -0.035 mm).
    start(own_lines, "C01", author="Kim", client_key=KEY, corrects="C01-03", now=NOW)
    view = Typist(own_lines, KEY, NOW).view()
    assert (view.unit, len([each for each in view.passes if each.open])) == ("mm", 3)
    expected = {
        "started_at": "2016-01-18T08:15", "p1.s.P1.0.v": "-0.100", "p1.s.P1.180.h": "0.035", "p3.again.180.v": "-0.117",
        "m1.U1.h.amount": "0.010", "m1.U1.h.way": "left", "m2.U1.v.way": "lower", "m1.U2.room_up": "0.6",
        "c.P1.v": "-0.035", "c.P2.basis": "drop for the size",
    }  # fmt: skip
    assert {name: view.fields.get(name) for name in expected} == expected


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("C03-02", "the target was turned"),
        ("C01-01", "-35 um has no whole figures in thou, the unit of its readings"),
    ],
)
def test_what_the_page_has_no_boxes_for_is_corrected_by_an_import(own_lines: Store, code: str, said: str) -> None:
    with pytest.raises(RecordingError) as told:
        start(own_lines, code[:3], author="Kim", client_key=KEY, corrects=code, now=NOW)
    assert told.value.blocks == (f"Session {code} cannot be corrected on this page: {said}. Correct it by an import.",)
