"""A visit that was typed and signed here, read back whole: signer not verified, what was settled, what was seen.

The typing is that of `visit_typing`; what is expected is what was typed.
"""

from __future__ import annotations

from record_sources import NOW
from visit_typing import Truth, Typist

from fleet.reports.session_html import render
from fleet.services.recording import sign, start
from fleet.services.session_page import session_record
from fleet.store.engine import Store

KEY = "5f1c2a90-shown"
FOUND: Truth = {"P1": (-50.0, -17.0), "P2": (-102.0, 16.0), "P3": (-77.0, -11.0)}
LEFT: Truth = {"P1": (-17.0, -17.0), "P2": (-32.0, 16.0), "P3": (-32.0, -11.0)}


def test_a_visit_signed_here_shows_its_signer_what_was_settled_and_what_was_seen(own_lines: Store) -> None:
    fields = {"unit": "mm", "instrument": "I-12", "started_at": "2026-11-01T08:30"}
    start(own_lines, "C01", author="M. Adeyrin", client_key=KEY, now=NOW, fields=fields)
    typist = Typist(own_lines, KEY, NOW)
    typist.cold()
    typist.read_pass(1, FOUND)
    for support, amount in (("U1", "0.070"), ("U2", "0,045")):
        names = [f"m1.{support}.v.{part}" for part in ("amount", "way", "how")]
        typist.send(*zip(names, (amount, "higher", "shim"), strict=True))
    typist.read_pass(2, LEFT)
    typist.send(("p2.bolts", "torqued"), ("why.calibration", "certificate is on its way"))
    signed = sign(own_lines, KEY, name="M. Adeyrin", version=typist.view().version, now=NOW)

    record = session_record(own_lines, signed.session, now=NOW)
    assert (record.signed_by, record.technician) == ("M. Adeyrin (not verified)", "M. Adeyrin")
    assert [survey.phase for survey in record.surveys] == ["as_found", "as_left"]
    # Three stations and the first again, each at 0 and 180 degrees.
    assert [len(survey.readings) for survey in record.surveys] == [8, 8]
    assert [(move.support, move.moved_um[0]) for move in record.moves] == [("U1", 70.0), ("U2", 45.0)]
    assert "certificate is on its way" in {check.why for check in record.settled}
    assert {check.accepted_by for check in record.settled} == {"M. Adeyrin (not verified)"}
    assert record.signed_view
    paper = render(record, "mm").replace("\u00a0", " ")
    parts = (
        "M. Adeyrin (not verified), 1 Nov 2026, 12:00",
        "certificate is on its way",
        "What the signer saw",
        "Calibration expired",
    )
    assert [part for part in parts if part not in paper] == []
