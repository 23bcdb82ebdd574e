"""What the Record page shows of a visit that is being recorded: plain frozen values, lengths in um, aware datetimes.

Every place that can be typed into is a `FieldView` with the name to send; the screen makes up no names of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from fleet.reports.check_words import CheckFacts
from fleet.values import Axis

Pair = tuple[float, float]
"""v and h [um]."""
MaybePair = tuple[float | None, float | None]
"""v and h, each None where nothing is known [um]."""


@dataclass(frozen=True, slots=True)
class FieldView:
    """One thing that can be typed: the name to send, the text as typed (empty: nothing), and what is wrong with it.

    `choices` are the closed words it takes; `carried` is the text of an earlier pass that holds here while it is empty.
    """

    name: str
    text: str = ""
    problem: str | None = None
    choices: tuple[str, ...] = ()
    carried: str | None = None


@dataclass(frozen=True, slots=True)
class Slot:
    """One reading to take: a station at a beam roll, v and h as the instrument shows them, in the visit's unit.

    Attributes
    ----------
    clock
        Where the beam's mark stands, as a clock seen from the gearbox: 12, 9, 6, 3.
    typed_at
        When the later of v and h was typed; None: nothing yet.
    complete
        Both are typed and can be read as numbers.
    from_beam
        The beam's own step already read this station at this roll in the state it was left in: may stay empty.
    sequence
        Its sequence in the survey; None: not complete.
    """

    station: str
    distance_mm: float
    roll_deg: int
    clock: int
    beam_state: int
    v: FieldView
    h: FieldView
    typed_at: datetime | None = None
    complete: bool = False
    from_beam: bool = False
    sequence: int | None = None


@dataclass(frozen=True, slots=True)
class BeamPairView:
    """A reversal pair while the beam is set, in the instrument's own signs [um]; None until both are read.

    `error_um` is where the beam falls from the gearbox axis at 0 (+ high or right), half the difference;
    `trim_to_um` the reading to adjust the beam to without turning anything; `agrees` per axis.
    """

    station: str
    distance_mm: float
    slots: tuple[Slot, Slot]
    difference_um: Pair | None = None
    error_um: Pair | None = None
    trim_to_um: Pair | None = None
    agrees: tuple[bool, bool] | None = None


@dataclass(frozen=True, slots=True)
class BeamStateView:
    """The two pairs of one beam state: nearest station first; `open` where the beam was trimmed that often."""

    state: int
    open: bool
    nearest: BeamPairView
    farthest: BeamPairView


@dataclass(frozen=True, slots=True)
class BeamView:
    """Setting the beam: all states there can be, the newest pair at each station, and whether to go on.

    Attributes
    ----------
    trims
        How often it was trimmed; to trim once more send this field with `next_trims`.
    nearest, farthest
        The newest pair with a reading at each station.
    may_go_on
        Both newest pairs agree in the state that is left, or a reason is given.
    why
        The reason to go on as it is.
    """

    trims: FieldView
    next_trims: str | None
    states: tuple[BeamStateView, ...]
    nearest: BeamPairView | None
    farthest: BeamPairView | None
    agree_um: float
    agrees: bool
    may_go_on: bool
    why: FieldView


@dataclass(frozen=True, slots=True)
class SlipScale:
    """The scale that gives a slip away [um]: what it is as typed and as it would be, beside what it usually is.

    `what` says of what: `beam` how far the beam is off, + high or right; `offset` where the bore lies.
    """

    what: Literal["beam", "offset"]
    axis: Axis
    typed_um: float
    would_um: float | None
    usual_um: float
    u95_usual_um: float
    others: int


@dataclass(frozen=True, slots=True)
class NoticedView:
    """Something noticed in a pass, and how it can be settled.

    Attributes
    ----------
    key
        Its name for as long as what was typed stays the same.
    facts
        What `fleet.reports.check_words` says in words: title, evidence, cause, what it would be.
    field, typed, would_text
        The field whose text is doubted, that text, and the text to put in instead; None where no single text would do.
    unit_text
        The unit of both.
    choice, why, was
        Fields to send the choice in (`corrected` with the new text in `field` and the old in `was`; `read_again`;
        `kept` with a reason in `why`). Nothing is changed by the service.
    settled
        Kept with a reason.
    reads
        Fields that can be read again to settle it (a station's, or the pass's).
    """

    key: str
    number: int
    facts: CheckFacts
    field: str | None
    typed: str | None
    would_text: str | None
    unit_text: str
    choice: FieldView
    why: FieldView
    was: FieldView
    settled: bool
    scale: SlipScale | None = None
    reads: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StationView:
    """A station in a pass, in reading order.

    Attributes
    ----------
    slots
        The readings to take here.
    offset_um, u95_um
        Offset of the gearbox axis at the cold reference, and its expanded uncertainty; None until it can be reduced.
    beam_off_um
        How far the beam is off here by half the difference of its 0/180 pair, + high or right.
    expected_um, u95_expected_um
        What was expected of the as-found today, or of a later pass after the moves.
    target_um, against_drift_um, set_to_um
        The cold target, what is set against the drift, and the figure to set, their sum.
    off_by_um
        Offset minus the figure to set, per axis.
    good_enough
        Whether both axes lie within what is good enough of that figure; None: cannot be told.
    noticed
        Keys of what was noticed here.
    skipped
        Left out today; `skip` is the field that says so.
    """

    station: str
    distance_mm: float
    support: str | None
    slots: tuple[Slot, ...]
    trimmed: FieldView
    skip: FieldView
    skipped: bool
    complete: bool
    offset_um: Pair | None = None
    u95_um: Pair | None = None
    beam_off_um: Pair | None = None
    expected_um: MaybePair = (None, None)
    u95_expected_um: MaybePair = (None, None)
    target_um: MaybePair = (None, None)
    against_drift_um: MaybePair = (None, None)
    set_to_um: MaybePair = (None, None)
    deviation_um: MaybePair = (None, None)
    limit_um: MaybePair = (None, None)
    off_by_um: MaybePair = (None, None)
    good_enough: bool | None = None
    noticed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PassView:
    """One pass over the stations: what was typed, what it comes to, and what was noticed.

    Attributes
    ----------
    phase
        What will be stored: `as_found`, `interim`, `as_left`, `hot`; `phase_why` says why where it is not what the
        step is called (an as-left with loose bolts).
    open
        The visit has this pass (its inputs are given either way).
    readings, wanted
        How many readings are complete, and how many there would be.
    closure_um
        By how much the first station changed when read again, v and h.
    problems
        Why it cannot be reduced as typed, as sentences; empty while it simply is not read yet.
    remarks
        What the reduction has to say.
    """

    number: int
    phase: str
    phase_why: str | None
    open: bool
    started: bool
    complete: bool
    readings: int
    wanted: int
    stations: tuple[StationView, ...]
    again: tuple[Slot, ...]
    conditions: Mapping[str, FieldView]
    support_temperatures: Mapping[str, Mapping[str, FieldView]]
    closure_um: Pair | None = None
    u95_closure_um: Pair | None = None
    good_enough_um: float | None = None
    farthest_off_um: float | None = None
    noticed: tuple[NoticedView, ...] = ()
    problems: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MoveSide:
    """What to do at a support on one axis and what was done [um]; + raise or right.

    `from_um` and `to_um` are the offset at the support before and after the proposed move; `set_to_um` is the figure
    aimed at, `target_um` plus `against_drift_um`. `way` takes `higher`/`lower` or `right`/`left`; `how` is free
    (`screw`, `shim`). `done_um` None: nothing typed. `propose_um` None: this support does not adjust the axis.
    """

    axis: Axis
    propose_um: float | None
    u95_um: float | None
    held_by: Literal["room", "step"] | None
    from_um: float | None
    to_um: float | None
    target_um: float | None
    against_drift_um: float | None
    set_to_um: float | None
    amount: FieldView
    way: FieldView
    how: FieldView
    done_um: float | None = None


@dataclass(frozen=True, slots=True)
class MoveCard:
    """One support to move (or the place `gearbox_feet`, `flange`: only what was done, nothing proposed)."""

    support: str
    place: bool
    distance_mm: float | None
    v: MoveSide
    h: MoveSide


@dataclass(frozen=True, slots=True)
class AfterMove:
    """A station after the moves [um]: where to expect it and the figure to set."""

    station: str
    offset_um: Pair
    u95_um: Pair
    set_to_um: MaybePair


@dataclass(frozen=True, slots=True)
class RoundView:
    """The moves after a pass: the proposal, what was done, and what to expect then.

    Attributes
    ----------
    after
        The pass it follows.
    moved
        Something was moved; `nothing` is the field that says nothing was.
    cards
        Supports by distance, then the gearbox's feet and the flange.
    way, why
        How the proposal was found, vertical then horizontal, and why so; None without a reduced pass.
    flange_um, u95_flange_um
        What the deviations come to at the flange, which no support mends.
    expect, expect_from
        What to expect, from the moves `done` where any is typed, else from those `proposed`.
    waits_for
        Keys of what is not settled yet: move no support before.
    """

    after: int
    open: bool
    nothing: FieldView
    moved: bool
    cards: tuple[MoveCard, ...]
    way: tuple[str, str] | None
    why: tuple[str, str] | None
    rounds_known: int
    flange_um: Pair | None
    u95_flange_um: Pair | None
    expect: tuple[AfterMove, ...]
    expect_from: Literal["proposed", "done"] | None
    good_enough_um: float | None
    problems: tuple[str, ...] = ()
    waits_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ask:
    """Something signing asks a reason for: the sentence, the field for the reason, and whether one is given."""

    sentence: str
    field: FieldView
    settled: bool


@dataclass(frozen=True, slots=True)
class SettledView:
    """Something noticed and how it was settled: station and axis, how (`corrected`, `read_again`, `kept`), when.

    `was` and `now` are the texts before and after, in the visit's unit; `reading` says which (`h at 180°`), None
    for a whole survey.
    """

    number: int
    check: str
    station: str | None
    reading: str | None
    choice: str
    was: str | None
    now: str | None
    why: str | None
    at: datetime | None
    by: str


@dataclass(frozen=True, slots=True)
class MovedView:
    """What was moved in the visit at one place, all rounds together [um]; None: nothing typed on that axis."""

    support: str
    v_um: float | None
    h_um: float | None
    how: str | None


@dataclass(frozen=True, slots=True)
class SigningView:
    """What stands before a signature.

    Attributes
    ----------
    blocks
        Sentences that keep it from being signed.
    asks
        Reasons to give.
    said_before
        What will be stored otherwise than typed, or is worth knowing: an as-left with loose bolts is an interim.
    final
        Number of the pass whose figures are signed (the last with readings); None: none.
    ready
        Nothing blocks and every reason is given.
    """

    session: str
    blocks: tuple[str, ...]
    asks: tuple[Ask, ...]
    said_before: tuple[str, ...]
    final: int | None
    farthest_off_um: float | None
    good_enough_um: float | None
    settled: tuple[SettledView, ...]
    moved: tuple[MovedView, ...]
    ready: bool


@dataclass(frozen=True, slots=True)
class InstrumentView:
    """The instrument: its senses (`bore_from_beam`, `beam_from_bore`) and how its calibration stands on the day."""

    serial: str
    kind: str | None
    sense_v: str | None
    sense_h: str | None
    calibrated_on: date | None
    due_on: date | None
    calibration: Literal["in date", "lapsed", "none recorded"]


@dataclass(frozen=True, slots=True)
class DraftHead:
    """A draft in a list: whose, on which line, since when, and how it stands."""

    client_key: str
    line: str
    site: str | None
    zone: str
    created_by: str
    created_at: datetime
    updated_at: datetime
    version: int
    entries: int
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class RecordView:
    """A visit that is being recorded.

    Attributes
    ----------
    head
        The draft.
    started_at
        In the site's zone; None: cannot be read yet.
    fields
        Everything typed, by field name: text as typed.
    inputs
        The fields of the visit itself by name (`started_at`, `technician`, `instrument`, `reason`, `unit`, `rolls`,
        `outage`, `work_order`, `running_hours`, `ambient_c`, `remarks`, `correction_reason`, `rounds`, `c.basis`,
        `c.reason`).
    targets
        Cold target fields by station: v, h.
    findings
        One mapping a finding: `item`, `value`, `unit`, `note`.
    passes, rounds
        All there can be; `open` where the visit has them. Round k follows pass k.
    instruments
        Serials to choose from.
    length_growth_mm
        How much the barrel grows, for the cautions.
    stored
        How many entries are stored.
    signed
        Code of the session this became; None: still a draft.
    """

    head: DraftHead
    line: str
    site: str | None
    zone: str
    right_hand_side: str | None
    cold_reference_c: float
    length_growth_mm: float | None
    started_at: datetime | None
    technician: str | None
    instrument: InstrumentView | None
    instruments: tuple[str, ...]
    unit: str
    rolls: tuple[int, ...]
    version: int
    stored: int
    fields: Mapping[str, str]
    inputs: Mapping[str, FieldView]
    targets: Mapping[str, tuple[FieldView, FieldView]]
    findings: tuple[Mapping[str, FieldView], ...]
    beam: BeamView
    passes: tuple[PassView, ...]
    rounds: tuple[RoundView, ...]
    signing: SigningView
    corrects: str | None = None
    expected_on: date | None = None
    signed: str | None = None
