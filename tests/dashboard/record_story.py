"""Invented contents for Record: line ORR-07 on 20 Dec 2026, read as far as station B, where one sign is turned.

The figures are those of the page's mock-up or were chosen by hand; nothing here is computed by the code under test.
Readings in mm with an instrument that shows the bore from the beam. Expected as-found and limits in um.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

from dashboard.record_sources import RecordSources
from fleet.errors import NotFoundError
from fleet.reports.check_words import CheckFacts
from fleet.services.entering import Taken
from fleet.services.recording.beginning import BeginView
from fleet.services.recording.drafts import Entry, KeptEntries
from fleet.services.recording.signing import Signed
from fleet.services.recording.view import (
    AfterMove,
    BeamPairView,
    BeamStateView,
    BeamView,
    DraftHead,
    FieldView,
    InstrumentView,
    MoveCard,
    MoveSide,
    NoticedView,
    PassView,
    RecordView,
    RoundView,
    SettledView,
    SigningView,
    SlipScale,
    Slot,
    StationView,
)
from fleet.services.rise_meaning import RiseMeaning

KEY = "0123456789abcdef"
STARTED = datetime(2026, 12, 20, 13, 58, tzinfo=UTC)
STATIONS = (
    ("1", 150.0, None), ("2", 900.0, None), ("A", 1650.0, "A"), ("4", 2400.0, None), ("B", 3150.0, "B"),
    ("6", 3700.0, None),
)  # fmt: skip
READ = {
    "1": ((-47.0, 18.0), (-50.0, 0.0), (30.0, 30.0)),
    "2": ((-212.0, 21.0), (-210.0, 20.0), (40.0, 40.0)),
    "A": ((-413.0, 26.0), (-410.0, 30.0), (50.0, 50.0)),
    "4": ((-487.0, 45.0), (-490.0, 50.0), (80.0, 80.0)),
    "B": ((-588.0, 10.0), (-590.0, 60.0), (100.0, 100.0)),
    "6": (None, (-580.0, 60.0), (100.0, 100.0)),
}
"""Reduced offset, expected, its expanded uncertainty [um], v then h."""
INSTRUMENT = InstrumentView(
    "I-04", "laser", "bore_from_beam", "bore_from_beam", date(2026, 3, 3), date(2027, 3, 3), "in date"
)


def field(name: str, text: str = "", **more: object) -> FieldView:
    return FieldView(name, text, **more)  # type: ignore[arg-type]


def slot(prefix: str, station: str, distance_mm: float, roll: int, v: str = "", h: str = "", state: int = 1) -> Slot:
    return Slot(
        station, distance_mm, roll, 12 if roll == 0 else 6, state, field(f"{prefix}.{roll}.v", v),
        field(f"{prefix}.{roll}.h", h), complete=bool(v and h),
    )  # fmt: skip


NOTICED = NoticedView(
    key="p1-sign-B",
    number=1,
    facts=CheckFacts(
        check="sign_turned", axis="h", station="B", sequence=10, misfit_um=47.0, u95_misfit_um=6.0, typed_um=-47.0,
        would_read_um=47.0, offset_um=10.0, would_be_um=57.0,
    ),
    field="p1.s.B.180.h",
    typed="-0.047",
    would_text="+0.047",
    unit_text="mm",
    choice=field("n.p1-sign-B.choice"),
    why=field("n.p1-sign-B.why"),
    was=field("n.p1-sign-B.was"),
    settled=False,
    scale=SlipScale("beam", "h", 57.0, 10.0, 10.0, 3.0, 4),
    reads=("p1.s.B.180.h",),
)  # fmt: skip


def station(code: str, distance_mm: float, support: str | None) -> StationView:
    offset, expected, u95 = READ[code]
    prefix = f"p1.s.{code}"
    texts = {"B": (("-0.596", "+0.067"), ("-0.580", "-0.047"))}.get(code, (("", ""), ("", "")))
    return StationView(
        station=code,
        distance_mm=distance_mm,
        support=support,
        slots=(slot(prefix, code, distance_mm, 0, *texts[0]), slot(prefix, code, distance_mm, 180, *texts[1])),
        trimmed=field(f"{prefix}.trimmed"),
        skip=field(f"skip.{code}"),
        skipped=False,
        complete=offset is not None,
        offset_um=offset,
        u95_um=None if offset is None else (24.0, 24.0),
        beam_off_um=None if offset is None else (0.0, 57.0 if code == "B" else 10.0),
        expected_um=expected,
        u95_expected_um=u95,
        target_um=(-260.0, 0.0),
        against_drift_um=(60.0, 0.0),
        set_to_um=(-200.0, 0.0),
        deviation_um=(None, None) if offset is None else (offset[0] + 260.0, offset[1]),
        limit_um=(250.0, 250.0),
        noticed=("p1-sign-B",) if code == "B" else (),
    )


def made_pass(number: int) -> PassView:
    first = STATIONS[0]
    stations = tuple(station(*each) for each in STATIONS)
    if number > 1:
        stations = tuple(
            replace(
                each, offset_um=None, u95_um=None, complete=False, noticed=(), beam_off_um=None,
                slots=tuple(
                    slot(f"p{number}.s.{each.station}", each.station, each.distance_mm, roll) for roll in (0, 180)
                ),
                trimmed=field(f"p{number}.s.{each.station}.trimmed"),
            )
            for each in stations
        )  # fmt: skip
    texts = {"barrel_c": "23", "gearbox_c": "22", "base_c": "21"} if number == 1 else {}
    names = (
        "barrel_c", "gearbox_c", "gearbox_c_at", "base_c", "axis_by", "bolts", "screw", "die", "heats_off_h", "remarks",
    )  # fmt: skip
    return PassView(
        number=number,
        phase="as_found" if number == 1 else "as_left",
        phase_why=None,
        open=number < 3,
        started=number == 1,
        complete=False,
        readings=10 if number == 1 else 0,
        wanted=14,
        stations=stations,
        again=tuple(slot(f"p{number}.again", first[0], first[1], roll) for roll in (0, 180)),
        conditions={name: field(f"p{number}.{name}", texts.get(name, "")) for name in names},
        support_temperatures={},
        good_enough_um=50.0,
        noticed=(NOTICED,) if number == 1 else (),
    )


def pair(state: int, code: str, distance_mm: float, read: bool) -> BeamPairView:
    prefix = f"b{state}.{code}"
    if not read:
        return BeamPairView(
            code, distance_mm, (slot(prefix, code, distance_mm, 0), slot(prefix, code, distance_mm, 180))
        )
    first = slot(prefix, code, distance_mm, 0, "-0.042", "+0.035")
    turned = slot(prefix, code, distance_mm, 180, "-0.050", "0,005")
    return BeamPairView(
        code, distance_mm, (first, turned),
        difference_um=(-8.0, -30.0), error_um=(-4.0, -15.0), trim_to_um=(-46.0, 20.0), agrees=(True, False),
    )  # fmt: skip


def side(after: int, axis: str, propose: float, start: float, to: float, target: float, against: float) -> MoveSide:
    name = f"m{after}.B.{axis}"
    return MoveSide(
        axis=axis,  # type: ignore[arg-type]
        propose_um=propose, u95_um=20.0, held_by=None, from_um=start, to_um=to, target_um=target,
        against_drift_um=against, set_to_um=target + against, amount=field(f"{name}.amount"),
        way=field(f"{name}.way"), how=field(f"{name}.how"),
    )  # fmt: skip


ROUND = RoundView(
    after=1,
    open=True,
    nothing=field("m1.nothing"),
    moved=False,
    cards=(
        MoveCard("B", False, 3150.0, side(1, "v", 390.0, -588.0, -200.0, -260.0, 60.0),
                 side(1, "h", -40.0, 57.0, 20.0, 20.0, 0.0)),
    ),
    way=("response", "response"),
    why=("from this line’s own answer in 3 rounds of moves",) * 2,
    rounds_known=3,
    flange_um=(0.0, 0.0),
    u95_flange_um=(20.0, 20.0),
    expect=(AfterMove("B", (-200.0, 20.0), (40.0, 40.0), (-200.0, 20.0)),),
    expect_from="proposed",
    good_enough_um=50.0,
    waits_for=("p1-sign-B",),
)  # fmt: skip
HEAD = DraftHead(
    KEY, "ORR-07", "ORR", "UTC", "M. Adeyrin (not verified)", STARTED, datetime(2026, 12, 20, 14, 31, tzinfo=UTC), 7, 22
)
VIEW = RecordView(
    head=HEAD,
    line="ORR-07",
    site="ORR",
    zone="UTC",
    right_hand_side="operator side",
    cold_reference_c=20.0,
    length_growth_mm=8.0,
    started_at=STARTED,
    technician="M. Adeyrin",
    instrument=INSTRUMENT,
    instruments=("I-04",),
    unit="mm",
    rolls=(0, 180),
    version=7,
    stored=22,
    fields={"p1.s.B.180.h": "-0.047"},
    inputs={
        name: field(name) for name in ("started_at", "technician", "running_hours", "remarks", "c.basis", "c.reason")
    },
    targets={"B": (field("c.B.v", "-0.26"), field("c.B.h", "0"))},
    findings=({name: field(f"f1.{name}") for name in ("item", "value", "unit", "note")},),
    beam=BeamView(
        trims=field("trims"),
        next_trims="1",
        states=tuple(
            BeamStateView(state, state == 1, pair(state, "1", 150.0, state == 1), pair(state, "6", 3700.0, False))
            for state in (1, 2)
        ),
        nearest=pair(1, "1", 150.0, True),
        farthest=None,
        agree_um=25.0,
        agrees=False,
        may_go_on=False,
        why=field("why.beam"),
    ),
    passes=tuple(made_pass(number) for number in (1, 2, 3)),
    rounds=(
        ROUND,
        replace(ROUND, after=2, open=False, nothing=field("m2.nothing"), waits_for=(), cards=(replace(
            ROUND.cards[0], v=side(2, "v", 0.0, 0.0, 0.0, 0.0, 0.0), h=side(2, "h", 0.0, 0.0, 0.0, 0.0, 0.0)
        ),)),
    ),
    signing=SigningView(
        session="ORR-07-20261220",
        blocks=("Station B, h at 180°: sign turned? is not settled.",),
        asks=(),
        said_before=(),
        final=1,
        farthest_off_um=None,
        good_enough_um=50.0,
        settled=(
            SettledView(1, "sign_turned", "B", "h at 180°", "corrected", "-0.047", "+0.047", None,
                        datetime(2026, 12, 20, 14, 55, tzinfo=UTC), "M. Adeyrin"),
        ),
        moved=(),
        ready=False,
    ),
)  # fmt: skip
BEGIN = BeginView(
    line="ORR-07",
    site="ORR",
    zone="UTC",
    right_hand_side="operator side",
    now=STARTED,
    stations=tuple((code, distance) for code, distance, _ in STATIONS),
    supports=("A", "B"),
    instruments=(INSTRUMENT,),
    length_growth_mm=8.0,
    last_as_left=datetime(2025, 6, 17, 9, tzinfo=UTC),
    outage=None,
)


class Desk:
    """The services behind Record as a test watches them: what was begun, kept, signed, discarded, entered."""

    def __init__(self) -> None:
        self.begun: list[tuple[str, str, str, str | None, dict[str, str]]] = []
        self.kept: list[tuple[str, tuple[Entry, ...], str]] = []
        self.entered: list[tuple[str, list[dict[str, str]], str, bool]] = []
        self.ended: list[tuple[str, ...]] = []

    def start(self, line: str, author: str, key: str, corrects: str | None, fields: Mapping[str, str]) -> DraftHead:
        self.begun.append((line, author, key, corrects, dict(fields)))
        return replace(HEAD, line=line, client_key=key)

    def keep(self, key: str, entries: Sequence[Entry], device: str) -> KeptEntries:
        if key != KEY:
            raise NotFoundError("There is no such draft: it was discarded, or the address is not whole.")
        self.kept.append((key, tuple(entries), device))
        return KeptEntries(max(entry.sequence for entry in entries), 8)

    def view(self, key: str) -> RecordView:
        if key != KEY:
            raise NotFoundError("There is no such draft: it was discarded, or the address is not whole.")
        return VIEW

    def sign(self, key: str, name: str, version: int) -> Signed:
        self.ended.append(("sign", key, name, str(version)))
        return Signed("ORR-07-20261220", "ORR-07", ("46 readings stored.",))

    def discard(self, key: str, name: str) -> None:
        self.ended.append(("discard", key, name))

    def enter(self, sheet: str, rows: Sequence[Mapping[str, str]], name: str, look: bool) -> Taken:
        self.entered.append((sheet, [dict(row) for row in rows], name, look))
        return Taken(len(rows), (f"{len(rows)} running check stored.",), ("ORR-07",), False)

    def sources(self) -> RecordSources:
        return RecordSources(
            begin=_begin, drafts=lambda _: (HEAD,), view=self.view, start=self.start, keep=self.keep, sign=self.sign,
            discard=self.discard, rises=lambda _, rows: (RISEN,) if rows else (), enter=self.enter,
        )  # fmt: skip


def _begin(line: str) -> BeginView:
    if line != "ORR-07":
        raise NotFoundError(f"There is no line '{line}' in the store.")
    return BEGIN


RISEN = RiseMeaning(
    station="A", rise_um=(310.0, -20.0), from_axis_um=(310.0, -20.0), left_um=(-270.0, 0.0),
    left_at=datetime(2025, 6, 17, 9, tzinfo=UTC), ran_um=(40.0, -20.0), warm_zero=False,
)  # fmt: skip
RECORDING = Desk().sources()
