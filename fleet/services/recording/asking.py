"""What stands before a signature: what keeps it from being signed, what asks for a reason, what was settled."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from fleet.intake.layout import SHEET
from fleet.reports.check_words import title
from fleet.services.checks import calibration_facts, warm_facts
from fleet.services.recording import fields
from fleet.services.recording.known import Known
from fleet.services.recording.layout import READ, Layout, reading_um
from fleet.services.recording.moving import Done
from fleet.services.recording.passes import PassRead
from fleet.services.recording.typed import Typed
from fleet.services.recording.view import Ask, BeamView, MovedView, NoticedView, PassView, SettledView, SigningView
from fleet.values import AXES

PHASE_WORDS = {"as_found": "as-found", "interim": "interim", "as_left": "as-left", "hot": "hot"}


@dataclass(frozen=True, slots=True)
class Visit:
    """Everything of a visit that its signature is judged by.

    `certificates` are when its instrument was calibrated and until when that holds, oldest first; None: no instrument.
    `done` are the moves after each pass, `move_problems` what is wrong with them.
    """

    typed: Typed
    layout: Layout
    known: Known
    beam: BeamView
    reads: tuple[PassRead, ...]
    views: tuple[PassView, ...]
    done: Mapping[int, tuple[Done, ...]]
    move_problems: tuple[str, ...]
    instrument: str | None
    certificates: tuple[tuple[date, date | None], ...] | None
    corrects: str | None

    @property
    def kept(self) -> tuple[PassRead, ...]:
        """The passes that will be stored: those with a complete reading."""
        return tuple(read for read in self.reads if read.open and read.taken.rows)


def signing_view(visit: Visit, session: str) -> SigningView:
    """Return what stands before the signature of a visit that would be called `session`."""
    blocks = tuple(_blocks(visit))
    asks = tuple(_asks(visit))
    kept = visit.kept
    final = kept[-1].number if kept else None
    last = next((view for view in visit.views if view.number == final), None)
    return SigningView(
        session=session,
        blocks=blocks,
        asks=asks,
        said_before=tuple(_said_before(visit)),
        final=final,
        farthest_off_um=last.farthest_off_um if last else None,
        good_enough_um=visit.known.sheet.good_enough_um,
        settled=settled_views(visit),
        moved=_moved(visit),
        ready=not blocks and all(ask.settled for ask in asks),
    )


def _blocks(visit: Visit) -> Iterable[str]:
    typed = visit.typed
    sessions = SHEET["sessions"].by_name
    if typed.safe("started_at", sessions["started_at"]) is None:
        shown = typed.field("started_at", sessions["started_at"]).problem
        yield f"When the visit began cannot be read: {shown or 'nothing is typed; give day and time.'}"
    for name in fields.HEAD:
        problem = typed.field(name, sessions[name]).problem if name != "started_at" else None
        if problem:
            yield f"{name.replace('_', ' ').capitalize()}: {problem}"
    if visit.corrects is not None and not typed.text("correction_reason"):
        yield f"This corrects session {visit.corrects}; write why."
    if not visit.kept and visit.corrects is None:
        yield "Nothing is read yet: a visit has at least one complete reading."
    if visit.kept and visit.instrument is None:
        yield "No instrument with both senses is chosen; choose what the readings were taken with."
    for read in visit.reads:
        yield from _pass_blocks(visit, read)
    yield from visit.move_problems
    yield from _late_moves(visit)
    for view in visit.views:
        for each in view.noticed:
            if view.open and not each.settled:
                yield f"{_where(each)} is not settled: {title(each.facts.check).rstrip('?').lower()}."
    yield from _target_blocks(typed, visit.known)
    yield from _finding_blocks(typed)


def _where(each: NoticedView) -> str:
    at = f"station {each.facts.station}" if each.facts.station else "the whole pass"
    return f"What was noticed in pass {each.number} at {at}"


def _pass_blocks(visit: Visit, read: PassRead) -> Iterable[str]:
    typed, number = visit.typed, read.number
    name = PHASE_WORDS.get(read.phase, read.phase)
    for place in visit.layout.places(number):
        texts = {axis: typed.text(field) for axis, field in (("v", place.v), ("h", place.h))}
        if not any(texts.values()) or reading_um(typed, place) is not None:
            continue
        where = f"Station {place.station.code} at {place.roll}° ({name})"
        for axis, field in (("v", place.v), ("h", place.h)):
            problem = typed.field(field, READ).problem
            if problem:
                yield f"{where}, {axis}: {problem}"
            elif not texts[axis]:
                other = "h" if axis == "v" else "v"
                yield f"{where}: {other} is typed and {axis} is not; read it, or empty both."
        if not read.open:
            yield f"{where} is typed, but the visit has no such pass; give it one more round, or empty it."
    if read.taken.rows and not read.open:
        yield f"Pass {number} holds readings and the visit has no such pass; give it one more round, or empty them."
    for condition in fields.CONDITIONS:
        problem = typed.condition_view(number, condition).problem
        if problem:
            yield f"{condition} ({name}): {problem}"
    for support in visit.known.supports:
        for condition in ("barrel_c", "base_c"):
            column = SHEET["support_temperatures"].by_name[condition]
            problem = typed.field(fields.support_field(number, support.code, condition), column).problem
            if problem:
                yield f"{condition} of support {support.code} ({name}): {problem}"
    yield from read.problems


def _late_moves(visit: Visit) -> Iterable[str]:
    last = max((read.number for read in visit.reads if read.open), default=1)
    for number, done in visit.done.items():
        if done and number >= last and number > 1:
            yield f"A move is typed after pass {number}, the last one; give the visit one more round to read it again."


def _target_blocks(typed: Typed, known: Known) -> Iterable[str]:
    column = SHEET["cold_targets"].by_name["v"]
    for station in known.stations:
        views = [typed.field(fields.target_field(station.code, axis), column) for axis in AXES]
        for axis, view in zip(AXES, views, strict=True):
            if view.problem:
                yield f"Cold target of station {station.code}, {axis}: {view.problem}"
        if bool(views[0].text.strip()) != bool(views[1].text.strip()):
            yield f"Cold target of station {station.code}: give v and h, or neither."


def _finding_blocks(typed: Typed) -> Iterable[str]:
    seen: set[str] = set()
    for k in range(1, fields.MOST_FINDINGS + 1):
        item = typed.text(f"f{k}.item")
        rest = [typed.text(f"f{k}.{part}") for part in ("value", "unit", "note")]
        if not item and any(rest):
            yield f"Finding {k} does not say what was found; name it."
        if item and item in seen:
            yield f"'{item}' is found twice; say it in one finding."
        if rest[1] and not rest[0]:
            yield f"Finding {k} has a unit and no value; give the value or empty the unit."
        seen.add(item)


def _asks(visit: Visit) -> Iterable[Ask]:
    typed = visit.typed

    def ask(name: str, sentence: str) -> Ask:
        field = typed.field(f"why.{name}")
        return Ask(sentence, field, bool(field.text.strip()))

    beam = visit.beam
    if not beam.agrees and (beam.nearest is not None or beam.farthest is not None):
        yield ask(
            "beam", "The pairs at the nearest and the farthest station do not both agree; say why the beam stayed so."
        )
    for sentence in _unread(visit):
        yield ask("stations", sentence)
    cold = [PHASE_WORDS[read.phase] for read in visit.kept if _without_temperature(read)]
    if cold:
        yield ask("temperatures", f"No barrel or gearbox temperature at {' and '.join(cold)}; say why.")
    if visit.kept and visit.certificates is not None:
        if not visit.certificates:
            yield ask("calibration", f"No calibration of {visit.instrument} is recorded; sign with a reason.")
        elif found := calibration_facts(str(visit.instrument), visit.certificates, visit.known.day):
            yield ask("calibration", f"{found.note} Sign with a reason.")
    for read in visit.kept:
        if found := warm_facts(read.phase, read.temperatures.barrel_c, visit.known.line.cold_reference_c):
            yield ask("warm", f"{found.note} Sign with a reason.")
            break
    moved = [number for number, done in visit.done.items() if any(each.um for each in done)]
    if moved and not any(read.number > max(moved) for read in visit.kept):
        yield ask("as_left", "Supports were moved and nothing was read afterwards; say why there is no as-left.")


def _without_temperature(read: PassRead) -> bool:
    return read.temperatures.barrel_c is None or read.temperatures.gearbox_c is None


def _unread(visit: Visit) -> Iterable[str]:
    missing = [
        f"{station.station} ({PHASE_WORDS.get(view.phase, view.phase)})"
        for view in visit.views
        if view.open and view.started
        for station in view.stations
        if not station.skipped and not station.complete
    ]
    skipped = [station.station for station in visit.views[0].stations if station.skipped] if visit.views else []
    if missing:
        yield f"Not everything was read at {', '.join(missing)}; say why."
    elif skipped:
        yield f"Left out today: {', '.join(skipped)}; say why."


def _said_before(visit: Visit) -> Iterable[str]:
    for read in visit.kept:
        if read.phase_why:
            yield read.phase_why
    if visit.corrects is not None:
        if visit.kept:
            yield f"This takes the place of session {visit.corrects} in every figure; the old one stays to be read."
        else:
            yield f"Without a reading this withdraws session {visit.corrects}: no figure uses that visit any more."


def settled_views(visit: Visit) -> tuple[SettledView, ...]:
    """Return everything that was noticed and settled, also what stands no longer because it was put right."""
    typed = visit.typed
    now = {each.key: each for view in visit.views for each in view.noticed}
    settled = []
    for name, entry in sorted(typed.entries.items(), key=lambda item: (item[1].typed_at, item[0])):
        if not name.startswith("n.") or not name.endswith(".choice"):
            continue
        key, choice = name.removeprefix("n.").removesuffix(".choice"), entry.text.strip()
        what, stands = fields.noticed_parts(key), now.get(key)
        if (
            what is None
            or choice not in fields.CHOICES
            or (choice == "kept") != (stands is not None and stands.settled)
        ):
            continue
        if choice != "kept" and stands is not None:
            continue
        number, check, _, station, field = what
        put_right = choice != "kept" and field is not None
        settled.append(
            SettledView(
                number=number,
                check=check,
                station=station,
                reading=None if field is None else fields.reading_words(field),
                choice=choice,
                was=typed.text(fields.settle_field(key, "was")) or None if put_right else None,
                now=typed.text(field) or None if put_right and field is not None else None,
                why=typed.text(fields.settle_field(key, "why")) or None,
                at=entry.typed_at.astimezone(typed.zone),
                by=typed.text("technician"),
            )
        )
    return tuple(settled)


def _moved(visit: Visit) -> tuple[MovedView, ...]:
    """Return what was moved at every place, all rounds together."""
    total: dict[str, dict[str, float]] = {}
    hows: dict[str, list[str]] = {}
    for done in visit.done.values():
        for each in done:
            axes = total.setdefault(each.place, {})
            axes[each.axis] = axes.get(each.axis, 0.0) + each.um
            known = hows.setdefault(each.place, [])
            if each.how and each.how not in known:
                known.append(each.how)
    return tuple(
        MovedView(place, axes.get("v"), axes.get("h"), ", ".join(hows[place]) or None) for place, axes in total.items()
    )
