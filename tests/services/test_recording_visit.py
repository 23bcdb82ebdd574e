"""A whole visit typed entry by entry: caught, corrected, moved, read again, signed, frozen.

Where the bore lies is decided here and what the instrument reads follows from plane geometry (tests/services/
visit_typing.py); the rules of signing are the project's own.
"""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from record_sources import MILLS, NOW, keep_rows
from sqlalchemy import text
from visit_typing import Truth, Typist, of_few_lines

import fleet.intake.taking as gate
from fleet.services.exporting import export_records
from fleet.services.forecasting import forecast_rows
from fleet.services.importing import import_folder
from fleet.services.job_sheet import job_sheet
from fleet.services.recording import RecordingError, Signed, discard, open_drafts, record_view, sign, start
from fleet.store import FrozenError
from fleet.store.engine import Store

KEY = "5f1c2a90-visit"
FOUND: Truth = {"P1": (-50.0, -17.0), "P2": (-102.0, 16.0), "P3": (-77.0, -11.0)}
"""Where the bore of C01 lies before it is moved; near what its record lets expect. [um]"""
LEFT: Truth = {"P1": (-17.0, -17.0), "P2": (-32.0, 16.0), "P3": (-32.0, -11.0)}
"""After U1 (at P2) went 0.070 mm higher and U2 (at P3) 0.045: P1 at 620 of 1300 mm follows with 33 um of the 70."""
WHO = "M. Adeyrin (not verified)"


def begin(store: Store, **fields: str) -> Typist:
    start(
        store, "C01", author="M. Adeyrin", client_key=KEY, now=NOW,
        fields={"unit": "mm", "instrument": "I-12", "started_at": "2026-11-01T08:30", **fields},
    )  # fmt: skip
    return Typist(store, KEY, NOW)


def all_read(store: Store) -> Typist:
    """Return a visit that can be signed: as-found and as-left read, everything asked for given."""
    typist = begin(store)
    typist.cold()
    typist.read_pass(1, FOUND)
    moved(typist)
    typist.read_pass(2, LEFT)
    typist.send(("p2.bolts", "torqued"), ("why.calibration", "certificate is on its way"))
    return typist


def moved(typist: Typist) -> None:
    for support, amount in (("U1", "0.070"), ("U2", "0,045")):
        typist.send(
            (f"m1.{support}.v.amount", amount), (f"m1.{support}.v.way", "higher"), (f"m1.{support}.v.how", "shim")
        )


def signed(typist: Typist) -> Signed:
    return sign(typist.store, KEY, name="M. Adeyrin", version=typist.view().version, now=NOW)


def rows(store: Store, query: str) -> list[tuple[object, ...]]:
    with store.read() as record:
        return [tuple(row) for row in record.execute(text(query))]


def test_a_visit_from_its_first_reading_to_the_changed_forecast(own_lines: Store, tmp_path: Path) -> None:
    store = own_lines
    before = {row.station: row for row in forecast_rows(store, line="C01", as_of=NOW.date()) if row.axis == "v"}
    typist = begin(store)
    typist.cold()
    found = typist.view().passes[0]
    assert [station.station for station in found.stations] == ["P1", "P2", "P3"]
    assert found.stations[1].offset_um is None

    # As-found: v at 180 degrees of P2 is typed with its sign turned.
    typed: dict[str, str] = {}
    for station in found.stations:
        for slot in station.slots:
            v, h = typist.texts(slot, FOUND)
            if slot.v.name == "p1.s.P2.180.v":
                right, v = v, v.removeprefix("-")
            typed |= {slot.v.name: v, slot.h.name: h}
            typist.send((slot.v.name, v), (slot.h.name, h))
    found = typist.view().passes[0]
    (noticed,) = found.noticed
    assert (noticed.facts.check, noticed.facts.station, noticed.facts.axis) == ("sign_turned", "P2", "v")
    assert (noticed.field, noticed.typed, noticed.would_text) == ("p1.s.P2.180.v", right[1:], right)
    assert found.stations[1].noticed == (noticed.key,)
    scale = noticed.scale
    assert scale is not None
    # 100 um too high at 180 makes the beam seem off by that much; it is off by some 11 um there.
    assert (scale.what, scale.axis) == ("beam", "v")
    assert scale.typed_um > 80.0
    assert abs(scale.usual_um) < 25.0
    assert scale.would_um == pytest.approx(11.0, abs=12.0)
    assert {name: typist.view().fields[name] for name in typed} == typed, "nothing typed is altered"
    assert typist.view().rounds[0].waits_for == (noticed.key,)
    assert "What was noticed in pass 1 at station P2 is not settled: sign turned." in typist.view().signing.blocks
    typist.send((noticed.was.name, noticed.typed or ""), (noticed.choice.name, "corrected"))
    typist.send((noticed.field or "", noticed.would_text or ""))
    typist.read(found.again, FOUND)
    found = typist.view().passes[0]
    assert (found.noticed, found.complete, found.readings) == ((), True, 8)
    for station in found.stations:
        assert station.offset_um is not None
        assert station.u95_um is not None
        for got, truth, u95 in zip(station.offset_um, FOUND[station.station], station.u95_um, strict=True):
            # The barrel is 1 K warm, which moves the bore by a few um at most.
            assert abs(got - truth) < u95 < 30.0
            assert u95 > 10.0

    # Moves: both supports lie too low, so both are raised.
    proposed = typist.view().rounds[0]
    cards = {card.support: card for card in proposed.cards}
    assert list(cards) == ["U1", "U2", "gearbox_feet", "flange"]
    assert cards["U1"].v.propose_um is not None
    assert cards["U2"].v.propose_um is not None
    assert cards["U1"].v.propose_um > 25.0
    assert cards["U2"].v.propose_um > 25.0
    assert (cards["flange"].v.propose_um, proposed.expect_from) == (None, "proposed")
    moved(typist)
    after = typist.view().rounds[0]
    assert (after.moved, after.expect_from) == (True, "done")
    assert {card.support: card.v.done_um for card in after.cards}["U2"] == 45.0
    for station in after.expect:
        assert station.offset_um[0] == pytest.approx(LEFT[station.station][0], abs=station.u95_um[0])

    # As-left.
    typist.read_pass(2, LEFT)
    left = typist.view().passes[1]
    assert (left.phase, left.complete, left.noticed) == ("as_left", True, ())
    for station in left.stations:
        assert station.offset_um is not None
        assert station.off_by_um[0] is not None
        assert station.set_to_um[0] is not None
        assert station.off_by_um[0] == pytest.approx(station.offset_um[0] - station.set_to_um[0])
        assert station.offset_um[0] == pytest.approx(LEFT[station.station][0], abs=20.0)
    assert left.conditions["barrel_c"].carried == "21"

    # Signing asks about the certificate, which lapsed on 4 June 2024 (tests/data/mill-c/calibrations.csv).
    signing = typist.view().signing
    assert (signing.session, signing.final, signing.blocks) == ("C01-20261101", 2, ())
    (ask,) = signing.asks
    assert ask.sentence.replace("\u00a0", " ") == (
        "The calibration of I-12 held until 4 Jun 2024; this survey is of 1 Nov 2026. Sign with a reason."
    )
    with pytest.raises(RecordingError) as told:
        signed(typist)
    assert told.value.blocks == (ask.sentence,)
    typist.send((ask.field.name, "certificate is on its way"), ("p2.bolts", "torqued"))
    assert typist.view().signing.ready
    assert [(each.choice, each.was, each.now, each.reading) for each in typist.view().signing.settled] == [
        ("corrected", right[1:], right, "v at 180°")
    ]
    done = signed(typist)
    assert (done.session, done.line, done.before) == ("C01-20261101", "C01", False)
    assert done.sentences[0] == "Signed as session C01-20261101: 2 surveys, 16 readings, 2 moves."

    # Frozen, as typed, proven, and once.
    with pytest.raises(FrozenError), store.write() as record:
        record.execute(text("update session set remarks = 'later' where code = 'C01-20261101'"))
    assert rows(
        store,
        "select created_by, signed_by, client_key, state from session where code = 'C01-20261101'",
    ) == [(WHO, WHO, KEY, "signed")]
    checks = rows(store, 'select survey_number, "check", settled, accepted_by, why from session_check order by id')
    assert checks == [
        (1, "sign_turned", "corrected", WHO, "corrected before signing"),
        (None, "calibration_expired", "kept", WHO, "certificate is on its way"),
    ]
    ((shown,),) = rows(store, "select shown from session_signed_view")
    assert json.loads(str(shown))["typed"]["m1.U2.v.amount"] == "0,045"
    told = rows(store, "select who, what from audit order by id desc limit 3")
    assert [entry for entry in told if str(entry[1]).startswith("signed")] == [
        (WHO, "signed session 'C01-20261101' of line 'C01'")
    ]
    assert open_drafts(store) == ()
    assert rows(store, "select count(*) from draft_entry") == [(0,)]
    assert signed_again(store) == ("C01-20261101", True)
    assert rows(store, "select file_name from intake order by id desc limit 1") == [
        ("recorded on the page, C01-20261101",)
    ]
    export_records(store, tmp_path / "out")
    written = (tmp_path / "out" / "readings.csv").read_text(encoding="utf-8")
    exported = [line.split(",") for line in written.splitlines() if line.startswith("C01-20261101,1,")]
    assert len(exported) == 8
    for line in exported[:6]:
        station, roll, v, h = line[3], line[5], line[7], line[8]
        assert (v, h) == (
            right if (station, roll) == ("P2", "180") else typed[f"p1.s.{station}.{roll}.v"],
            typed[f"p1.s.{station}.{roll}.h"],
        )
    moves = [line for line in (tmp_path / "out" / "moves.csv").read_text(encoding="utf-8").splitlines()
             if line.startswith("C01-20261101,")]  # fmt: skip
    assert [line.split(",")[1:6] for line in moves] == [["1", "U1", "0.070", "", "mm"], ["1", "U2", "0.045", "", "mm"]]

    rest = {row.station: row for row in forecast_rows(store, line="C01", as_of=NOW.date()) if row.axis == "v"}
    assert {row.last_session for row in rest.values()} == {"C01-20261101"}
    assert before["P2"].last_session != "C01-20261101"
    # The newest measured offset is that of the as-left, not of before.
    assert rest["P2"].last_measured_um == pytest.approx(-32.0, abs=20.0)


def signed_again(store: Store) -> tuple[str, bool]:
    again = sign(store, KEY, name="Somebody else", version=1, now=NOW)
    return again.session, again.before


def test_a_signature_that_is_cut_off_leaves_the_draft_whole(own_lines: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    typist = all_read(own_lines)
    stood = typist.view()

    def cut(*_: object, **__: object) -> None:
        raise RuntimeError("the power went")

    with monkeypatch.context() as patched:
        patched.setattr(gate, "close_draft", cut)
        with pytest.raises(RuntimeError, match="the power went"):
            signed(typist)
    assert rows(own_lines, "select count(*) from session where code = 'C01-20261101'") == [(0,)]
    assert rows(own_lines, "select count(*) from session_check") == [(0,)]
    assert (typist.view().fields, typist.view().version) == (stood.fields, stood.version)
    assert signed(typist).session == "C01-20261101"


def test_what_was_typed_since_the_page_was_shown_is_not_signed(own_lines: Store) -> None:
    typist = all_read(own_lines)
    shown = typist.view().version
    tablet = Typist(own_lines, KEY, NOW, device="tablet")
    tablet.sequence = 500
    tablet.send(("remarks", "a word from the other device"))
    with pytest.raises(RecordingError) as told:
        sign(own_lines, KEY, name="M. Adeyrin", version=shown, now=NOW)
    assert told.value.blocks == (
        "Something was typed into this visit since the page was shown, perhaps on another device, so nothing was "
        "signed; look at the page again, then sign.",
    )
    assert signed(typist).session == "C01-20261101"


def test_a_correction_begins_with_what_was_typed_and_keeps_when_the_visit_began(own_lines: Store) -> None:
    first = all_read(own_lines)
    first.send(("f1.item", "soft foot"), ("f1.value", "0.12"), ("f1.unit", "mm"), ("remarks", "=cold \U0001f527"))
    typed = dict(first.view().fields)
    code = signed(first).session
    later = NOW + timedelta(days=3)
    start(
        own_lines, "C01", author="K. Oyelaran", client_key="another-key", corrects=code, now=later,
        fields={"started_at": "2026-11-04T10:00"},
    )  # fmt: skip
    view = record_view(own_lines, "another-key", now=later)
    readings = {name: value for name, value in typed.items() if ".s." in name or ".again." in name or "U" in name}
    readings["m1.U2.v.amount"] = "0.045"
    assert {name: view.fields.get(name) for name in readings} == readings
    assert view.fields["started_at"] == "2026-11-01T08:30"
    assert (view.fields["f1.value"], view.fields["remarks"]) == ("0.12", "=cold \U0001f527")
    assert view.signing.blocks == (f"This corrects session {code}; write why.",)
    # What is expected of it is what was known before that visit, not what that visit measured itself.
    assert view.passes[0].stations[1].expected_um[0] == pytest.approx(-112.0, abs=10.0)

    kim = Typist(own_lines, "another-key", later)
    kim.send(("correction_reason", "P1 read at the wrong mark"), ("p1.s.P1.0.v", "-0.055"))
    kim.send(("why.calibration", "certificate is on its way"))
    view = kim.view()
    assert view.signing.session == f"{code}-2"
    done = sign(own_lines, "another-key", name="K. Oyelaran", version=view.version, now=later)
    assert rows(
        own_lines,
        "select n.code, o.code, n.started_at = o.started_at, n.correction_reason from session n"
        " join session o on o.id = n.corrects_id where n.client_key = 'another-key'",
    ) == [(f"{code}-2", code, 1, "P1 read at the wrong mark")]
    assert done.sentences[1] == (
        f"This takes the place of session {code} in every figure; the old one stays to be read."
    )
    with pytest.raises(RecordingError, match=f"Session {code} is corrected by {code}-2 already; correct that one."):
        start(own_lines, "C01", author="K. Oyelaran", client_key="third-key-", corrects=code, now=later)


def test_a_correction_without_a_reading_withdraws_the_visit(own_lines: Store) -> None:
    code = signed(all_read(own_lines)).session
    start(own_lines, "C01", author="Kim", client_key="another-key", corrects=code, now=NOW)
    kim = Typist(own_lines, "another-key", NOW)
    view = kim.view()
    kim.send(*((name, "") for name in view.fields if name.startswith(("p", "m", "c."))))
    kim.send(("correction_reason", "it was another line"))
    view = kim.view()
    assert view.signing.said_before == (
        f"Without a reading this withdraws session {code}: no figure uses that visit any more.",
    )
    sign(own_lines, "another-key", name="Kim", version=view.version, now=NOW)
    rest = forecast_rows(own_lines, line="C01", as_of=NOW.date())
    assert not {row.last_session for row in rest} & {code, f"{code}-2"}


def test_as_left_with_loose_bolts_is_said_and_stored_as_an_interim(own_lines: Store) -> None:
    typist = all_read(own_lines)
    typist.send(("p2.bolts", "loose"))
    view = typist.view()
    assert view.passes[1].phase == "interim"
    assert view.signing.said_before == (
        "The bolts are loose, so this is stored as an interim: what is not torqued is not left yet.",
    )
    signed(typist)
    assert rows(
        own_lines,
        "select v.number, v.phase from survey v join session s on s.id = v.session_id"
        " where s.code = 'C01-20261101' order by v.number",
    ) == [(1, "as_found"), (2, "interim")]


def test_a_visit_in_which_nothing_was_moved_is_one_pass(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.cold()
    typist.read_pass(1, FOUND)
    typist.send(("m1.nothing", "yes"), ("why.calibration", "on its way"))
    view = typist.view()
    assert [each.open for each in view.passes] == [True, False, False, False]
    assert view.signing.ready
    signed(typist)
    assert rows(own_lines, "select count(*) from move m join session s on s.id = m.session_id"
                            " where s.code = 'C01-20261101'") == [(0,)]  # fmt: skip


def test_a_discarded_draft_is_gone_and_said_to_be(own_lines: Store) -> None:
    typist = begin(own_lines)
    assert [(head.line, head.created_by, head.zone) for head in open_drafts(own_lines, "C01")] == [
        ("C01", WHO, "Europe/London")
    ]
    assert open_drafts(own_lines, "C02") == ()
    discard(own_lines, KEY, who="Kim", now=NOW)
    assert open_drafts(own_lines) == ()
    with pytest.raises(LookupError, match="There is no such draft: it was discarded"):
        typist.view()


def test_a_signed_visit_takes_nothing_more(own_lines: Store) -> None:
    typist = all_read(own_lines)
    signed(typist)
    said = "This visit was signed as session C01-20261101 and takes nothing more"
    with pytest.raises(RecordingError, match=said):
        typist.send(("remarks", "too late"))
    with pytest.raises(RecordingError, match=said):
        typist.view()


@pytest.mark.postgres
def test_a_visit_is_signed_on_postgresql_as_well(postgres_store: Store, tmp_path: Path) -> None:
    import_folder(postgres_store, keep_rows(MILLS / "mill-c", tmp_path / "few", of_few_lines), who="tester", now=NOW)
    typist = all_read(postgres_store)
    assert signed(typist).session == "C01-20261101"
    assert signed_again(postgres_store) == ("C01-20261101", True)
    assert rows(postgres_store, "select count(*) from draft") == [(0,)]
    assert rows(postgres_store, "select count(*) from session_signed_view") == [(1,)]
    with pytest.raises(FrozenError), postgres_store.write() as record:
        record.execute(text("delete from session_check"))


def test_a_support_whose_bore_did_not_follow_is_noticed_before_the_signature(own_lines: Store) -> None:
    typist = begin(own_lines)
    typist.cold()
    typist.read_pass(1, FOUND)
    typist.send(("m1.U1.v.amount", "0.200"), ("m1.U1.v.way", "higher"))
    # P2 lies over U1 (tests/data/mill-c/stations.csv) and should be 200 um higher; it is where it was.
    typist.read_pass(2, FOUND)
    noticed = {each.facts.check: each for each in typist.view().passes[1].noticed}
    assert list(noticed) == ["support_not_answering"]
    facts = noticed["support_not_answering"].facts
    assert (facts.station, facts.axis, facts.typed_um) == ("U1", "v", 200.0)
    assert facts.offset_um == pytest.approx(0.0, abs=20.0)
    assert noticed["support_not_answering"].field is None
    typist.send((noticed["support_not_answering"].choice.name, "kept"))
    typist.send((noticed["support_not_answering"].why.name, "the shim fell out"))
    assert typist.view().passes[1].noticed[0].settled
    typist.send(("m1.U1.v.amount", "0.210"))
    assert not typist.view().passes[1].noticed[0].settled


def test_a_visit_open_elsewhere_does_not_keep_others_from_what_was_just_signed(own_lines: Store) -> None:
    start(own_lines, "C02", author="Kim", client_key="open-elsewhere", now=NOW, fields={"instrument": "I-11"})
    signed(all_read(own_lines))
    record_view(own_lines, "open-elsewhere", now=NOW)
    expected = next(s for s in job_sheet(own_lines, "C01", now=NOW).stations if s.station == "P2").expected_um[0]
    # P2 was left at 32 um low; before it was expected some 112 low.
    assert expected == pytest.approx(-32.0, abs=25.0)
