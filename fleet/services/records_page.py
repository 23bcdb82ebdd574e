"""The Records page: what came in, what was refused, who changed what, and what can be taken back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

from fleet.errors import NotFoundError
from fleet.intake.layout import SHEET
from fleet.services.records_page_corrections import CorrectionRow, correction_rows
from fleet.services.records_page_facts import FactRow, fact_of, fact_rows
from fleet.services.site_time import start_of_day, zone_of
from fleet.services.taking_in import BadRow
from fleet.services.withdrawing import KINDS, Along, along
from fleet.store import queries
from fleet.store.engine import Store
from fleet.store.queries import proof
from fleet.store.queries.reading import Record

PAGE: Final = 50
SHORT: Final = 8
"""Rows of a list that is one of several on the page."""
WAITS: Final = timedelta(days=14)
"""How long a refused source is told of at the head of the page."""
SHOWS: Final = ("intake", "corrections", "changes", *KINDS)
WHATS: Final = (*proof.WHAT, "other")
SourceResult = Literal["taken", "refused", "nothing new"]


@dataclass(frozen=True, slots=True)
class RecordsChoice:
    """What is asked for; None means all.

    Attributes
    ----------
    show : one of `SHOWS`, alone and in pages; None: the first of everything
    line, who, what : of one line, by one person, of one kind (`WHATS`)
    from_on, to_on : first and last day, in site time
    source : number of the source to be opened
    fact : list and number of the fact about to be withdrawn or brought back: `meters-12`
    page : from 1
    """

    show: str | None = None
    line: str | None = None
    who: str | None = None
    what: str | None = None
    from_on: date | None = None
    to_on: date | None = None
    source: int | None = None
    fact: str | None = None
    page: int = 1


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A source that came in. `at` is in the page's zone; `taken` counts rows by file; `files` None: not known.

    `again_at` tells of one with nothing new when the same bytes were taken in.
    """

    number: int
    name: str
    container: str | None
    files: int | None
    sha256: str
    at: datetime
    who: str
    result: SourceResult
    rows_taken: int
    rows_refused: int
    rows_read: int | None
    taken: Mapping[str, int] = field(default_factory=dict)
    changed: int = 0
    again_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class OpenedSource:
    """A source with all that is kept of it.

    `sessions` are pairs of code and line. Of a refused one, `bad` are the first problems of `bad_count`.
    """

    row: SourceRow
    sessions: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]
    bad: tuple[BadRow, ...]
    bad_count: int
    sound_sessions: int | None
    other_sessions: int | None


@dataclass(frozen=True, slots=True)
class DraftRow:
    """A visit that is being recorded and not signed; moments in its site's zone."""

    key: str
    line: str
    by: str
    begun_at: datetime
    updated_at: datetime
    entries: int
    corrects: str | None


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One entry of the audit: `before` and `after` hold values by name, None where there was nothing."""

    number: int
    at: datetime
    who: str
    what: str
    before: Mapping[str, object] | None
    after: Mapping[str, object] | None


@dataclass(frozen=True, slots=True)
class FactOpened:
    """A fact about to be withdrawn, or brought back where it was withdrawn, and what goes with that."""

    row: FactRow
    along: Along


@dataclass(frozen=True, slots=True)
class RecordsView:
    """What the page shows.

    Attributes
    ----------
    choice : what was asked for
    zone, zone_of : the zone of all times without one of their own, and whose it is; None: sites differ, so UTC
    lines, people : what the filters can choose from
    lines_in_store, signed_visits, entries : counts
    sources, source_total, opened : what came in, and the one that is opened
    waiting : lately refused sources, newest first, where nothing came in under the same name since
    corrections, correction_total : corrected visits
    drafts : visits not signed yet
    changes, change_total : the audit
    facts, fact_total : of the list that is shown
    fact : the one about to be withdrawn or brought back
    counts : per list of facts how many stand, how many were withdrawn
    notes : what could not be followed
    """

    choice: RecordsChoice
    zone: str
    zone_of: str | None
    lines: tuple[str, ...]
    people: tuple[str, ...]
    lines_in_store: int
    signed_visits: int
    entries: int
    sources: tuple[SourceRow, ...] = ()
    source_total: int = 0
    opened: OpenedSource | None = None
    waiting: tuple[SourceRow, ...] = ()
    corrections: tuple[CorrectionRow, ...] = ()
    correction_total: int = 0
    drafts: tuple[DraftRow, ...] = ()
    changes: tuple[ChangeRow, ...] = ()
    change_total: int = 0
    facts: tuple[FactRow, ...] = ()
    fact_total: int = 0
    fact: FactOpened | None = None
    counts: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        """How many rows the list has that is shown alone."""
        shown = self.choice.show
        if shown == "intake":
            return self.source_total
        if shown == "corrections":
            return self.correction_total
        return self.fact_total if shown in KINDS else self.change_total


def records_view(store: Store, choice: RecordsChoice | None = None, *, now: datetime | None = None) -> RecordsView:
    """Return what the Records page shows for a choice; what names nothing is said in `notes` and left out.

    Parameters
    ----------
    store : the record
    choice : what is asked for; none: the first of everything
    now : the present moment, for tests
    """
    asked = choice or RecordsChoice()
    show, whole = asked.show, asked.show is None
    notes: list[str] = []
    with store.read() as record:
        places = proof.line_zones(record)
        zone, whose = _zone(places, asked.line)
        (counted,) = proof.standing(record)
        if asked.line is not None and asked.line not in {row.code for row in places}:
            notes.append(f"The store holds no line ‘{asked.line}’; what names it is shown all the same.")
        wanted = _wanted(asked, zone)
        sources = _sources(record, wanted, zone, *_part(asked, "intake")) if whole or show == "intake" else ()
        waiting = _waiting(record, zone, now or datetime.now(UTC))
        opened = _opened(record, asked.source, zone, notes) if asked.source is not None else None
        if opened is None and whole and waiting:
            opened = _opened(record, waiting[0].number, zone, notes)
        corrections: tuple[CorrectionRow, ...] = ()
        if whole or show == "corrections":
            limit, offset = _part(asked, "corrections")
            corrections = correction_rows(
                record, asked.line, since=wanted.since, until=wanted.until, limit=limit, offset=offset
            )
        changes: tuple[ChangeRow, ...] = ()
        if whole or show == "changes":
            limit, offset = _part(asked, "changes")
            changes = _changes(proof.audit_entries(record, wanted, limit=limit, offset=offset), zone)
        facts: tuple[FactRow, ...] = ()
        fact_total = 0
        if show is not None and show in KINDS:
            of_kind = proof.FactsAsked(asked.line, wanted.since, wanted.until)
            facts = fact_rows(record, show, of_kind, zone, limit=PAGE, offset=PAGE * (asked.page - 1))
            fact_total = proof.fact_count(record, show, of_kind)
        view = RecordsView(
            choice=asked,
            zone=zone.key,
            zone_of=whose,
            lines=tuple(row.code for row in places),
            people=proof.people(record),
            lines_in_store=counted.lines,
            signed_visits=counted.signed,
            entries=counted.entries,
            sources=sources,
            source_total=proof.source_count(record, wanted),
            opened=opened,
            waiting=waiting,
            corrections=corrections,
            correction_total=proof.correction_count(record, asked.line, wanted.since, wanted.until),
            drafts=_drafts(record, asked.line) if whole or show == "corrections" else (),
            changes=changes,
            change_total=proof.audit_count(record, wanted),
            facts=facts,
            fact_total=fact_total,
            counts=proof.withdrawn_counts(record),
        )
        row = _fact(record, asked.fact, zone, notes) if asked.fact is not None else None
    return replace(view, fact=_with_along(store, row) if row is not None else None, notes=tuple(notes))


def all_changes(store: Store, choice: RecordsChoice) -> tuple[tuple[ChangeRow, ...], str]:
    """Return every entry of the audit that a choice asks for, newest first, and the zone its moments are in."""
    with store.read() as record:
        zone, _ = _zone(proof.line_zones(record), choice.line)
        return _changes(proof.audit_entries(record, _wanted(choice, zone)), zone), zone.key


def source_problems(store: Store, number: int) -> tuple[SourceRow, tuple[BadRow, ...], int]:
    """Return a refused source, its first problems, and how many there were.

    Raises
    ------
    NotFoundError
        There is no such source, or nothing of it was refused.
    """
    with store.read() as record:
        opened = _opened(record, number, _zone(proof.line_zones(record), None)[0], [])
    if opened is None or not opened.bad:
        raise NotFoundError(f"there is no refused source {number}; look at the list of what came in")
    return opened.row, opened.bad, opened.bad_count


def _part(asked: RecordsChoice, of: str) -> tuple[int, int]:
    """Return limit and offset of a list: a page of it where it is shown alone, else its beginning."""
    return (PAGE, PAGE * (asked.page - 1)) if asked.show == of else (SHORT, 0)


def _zone(places: queries.Rows, line: str | None) -> tuple[ZoneInfo, str | None]:
    """Return the zone of the page and whose it is: the line's site's, else that of all sites, else UTC of nobody."""
    of_line = [row for row in places if row.code == line]
    rows = of_line or places
    zones = {row.time_zone for row in rows}
    if len(zones) != 1 or None in zones:
        return ZoneInfo("UTC"), None
    names = {row.site_name or row.site for row in rows}
    return ZoneInfo(zones.pop()), names.pop() if len(names) == 1 else "all sites"


def _wanted(asked: RecordsChoice, zone: ZoneInfo) -> proof.Asked:
    return proof.Asked(
        line=asked.line,
        who=asked.who,
        what=asked.what,
        since=start_of_day(asked.from_on, zone) if asked.from_on else None,
        until=start_of_day(asked.to_on + timedelta(days=1), zone) if asked.to_on else None,
    )


def _sources(record: Record, wanted: proof.Asked, zone: ZoneInfo, limit: int, offset: int) -> tuple[SourceRow, ...]:
    return tuple(_source(record, row, zone) for row in proof.sources(record, wanted, limit=limit, offset=offset))


def _source(record: Record, row: Any, zone: ZoneInfo) -> SourceRow:
    told = json.loads(row.told)
    again = proof.taken_before(record, row.sha256) if row.result == "nothing_new" else None
    return SourceRow(
        number=row.id,
        name=row.file_name,
        container=row.container,
        files=row.files,
        sha256=row.sha256,
        at=row.taken_at.astimezone(zone),
        who=row.taken_by,
        result=row.result.replace("_", " "),
        rows_taken=row.rows_taken,
        rows_refused=row.rows_refused,
        rows_read=row.rows_read,
        taken={name: told["taken"][name] for name in SHEET if name in told.get("taken", {})},
        changed=told.get("changed", 0),
        again_at=again.astimezone(zone) if again else None,
    )


def _waiting(record: Record, zone: ZoneInfo, now: datetime) -> tuple[SourceRow, ...]:
    """Return the lately refused sources nothing was taken of since under the same name, newest first, one a name."""
    recent = proof.sources(record, proof.Asked(since=now - WAITS), limit=4 * PAGE)
    settled: set[str] = set()
    found = []
    for row in recent:
        if row.file_name not in settled and row.result == "refused":
            found.append(_source(record, row, zone))
        settled.add(row.file_name)
    return tuple(found)


def _opened(record: Record, number: int, zone: ZoneInfo, notes: list[str]) -> OpenedSource | None:
    rows = proof.source(record, number)
    if not rows:
        notes.append(f"No source has the number {number}; the list of all is shown.")
        return None
    told = json.loads(rows[0].told)
    return OpenedSource(
        row=_source(record, rows[0], zone),
        sessions=tuple((row.session, row.line) for row in proof.sessions_of_source(record, number)),
        left_out=tuple(told.get("left_out", ())),
        bad=tuple(BadRow(**each) for each in told.get("problems", ())),
        bad_count=told.get("problem_count", 0),
        sound_sessions=told.get("sound_sessions"),
        other_sessions=told.get("other_sessions"),
    )


def _drafts(record: Record, line: str | None) -> tuple[DraftRow, ...]:
    return tuple(
        DraftRow(
            key=row.client_key,
            line=row.line,
            by=row.created_by,
            begun_at=row.created_at.astimezone(zone_of(row.time_zone)),
            updated_at=row.updated_at.astimezone(zone_of(row.time_zone)),
            entries=row.entries,
            corrects=row.corrects,
        )
        for row in queries.drafts(record, line)
    )


def _changes(rows: queries.Rows, zone: ZoneInfo) -> tuple[ChangeRow, ...]:
    return tuple(
        ChangeRow(
            number=row.id,
            at=row.at.astimezone(zone),
            who=row.who,
            what=row.what,
            before=None if row.before is None else json.loads(row.before),
            after=None if row.after is None else json.loads(row.after),
        )
        for row in rows
    )


def _fact(record: Record, name: str, zone: ZoneInfo, notes: list[str]) -> FactRow | None:
    kind, _, number = name.rpartition("-")
    row = fact_of(record, kind, int(number), zone) if kind in KINDS and number.isascii() and number.isdigit() else None
    if row is None:
        notes.append(f"There is no entry ‘{name}’ to withdraw; it may be spelt otherwise.")
    return row


def _with_along(store: Store, row: FactRow) -> FactOpened:
    return FactOpened(row, along(store, row.kind, row.number, resets_trend=row.resets_trend))
