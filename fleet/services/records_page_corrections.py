"""Corrected visits: what became what, by whom and why; both stay, and figures use the newer one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from fleet.services.site_time import zone_of
from fleet.store.queries import proof
from fleet.store.queries.reading import Record


@dataclass(frozen=True, slots=True)
class Became:
    """One value that another one took the place of.

    Attributes
    ----------
    sheet : which part of the visit: `readings`, `offsets`, `surveys`, `moves`, `cold_targets`, ...
    survey, phase : which pass; None: the visit as a whole
    place : station or support, or the item of a finding
    roll_deg : the beam's roll of a reading
    column : which of its values; None: the whole row was added or taken away
    before, after : as typed where it was typed; None: nothing
    unit : of a typed length
    """

    sheet: str
    survey: int | None
    phase: str | None
    place: str | None
    roll_deg: float | None
    column: str | None
    before: str | None
    after: str | None
    unit: str | None


@dataclass(frozen=True, slots=True)
class CorrectionRow:
    """A visit and the one that corrects it; moments in the site's zone. `withdraws`: it holds no survey of its own."""

    line: str
    old: str
    new: str
    started_at: datetime
    corrected_at: datetime
    corrected_by: str
    why: str
    withdraws: bool
    became: tuple[Became, ...]


_KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "sessions": (),
    "surveys": ("number",),
    "readings": ("number", "sequence"),
    "offsets": ("number", "station"),
    "support_temperatures": ("number", "support"),
    "moves": ("number", "support"),
    "cold_targets": ("station",),
    "findings": ("item",),
}
_ORDER: Final = ("readings", "offsets", "surveys", "support_temperatures", "moves", "cold_targets", "findings")
_NOT_COMPARED: Final = ("number", "phase", "station", "support", "unit", "item", "sequence", "typed")


def correction_rows(
    record: Record,
    line: str | None,
    *,
    since: datetime | None,
    until: datetime | None,
    limit: int,
    offset: int,
) -> tuple[CorrectionRow, ...]:
    """Return corrected visits, the one corrected last first.

    Parameters
    ----------
    record : an open session
    line : of one line only; None: all
    since, until : when they were corrected, aware, until excluded; None: always
    limit, offset : how many, from where
    """
    found = proof.corrections(record, line, since=since, until=until, limit=limit, offset=offset)
    return tuple(_correction(record, row) for row in found)


def _correction(record: Record, row: Any) -> CorrectionRow:
    here = zone_of(row.time_zone)
    became: tuple[Became, ...] = ()
    if row.surveys:
        became = tuple(differences(proof.session_contents(record, row.old_id), proof.session_contents(record, row.id)))
    return CorrectionRow(
        line=row.line,
        old=row.old,
        new=row.code,
        started_at=row.started_at.astimezone(here),
        corrected_at=row.signed_at.astimezone(here),
        # The digest of the source a visit came in with stands in its proof; here the person counts.
        corrected_by=row.signed_by.split(" (import, sha256 ")[0],
        why=row.correction_reason,
        withdraws=not row.surveys,
        became=became,
    )


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Became]:
    """Yield what differs between two visits, part by part, row by row, in the order they were recorded in.

    Parameters
    ----------
    old, new : what hangs from each, as `queries.proof.session_contents` gives it
    """
    for sheet in (*_ORDER, "sessions"):
        before = {_key(sheet, row): row for row in _mappings(old[sheet])}
        after = {_key(sheet, row): row for row in _mappings(new[sheet])}
        for key in dict.fromkeys((*before, *after)):
            yield from _differing(sheet, before.get(key), after.get(key))


def _mappings(rows: Any) -> Iterator[Mapping[str, Any]]:
    for row in rows:
        yield row._mapping if hasattr(row, "_mapping") else row


def _key(sheet: str, row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row[name] for name in _KEYS[sheet])


def _differing(sheet: str, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> Iterator[Became]:
    row = new if new is not None else old
    if row is None:
        return
    place = next((row[name] for name in ("station", "support", "item") if row.get(name)), None)
    head = (sheet, row.get("number"), row.get("phase"), place, row.get("beam_roll_deg"))
    if old is None or new is None:
        whole = _whole(sheet, row)
        unit = row.get("unit")
        yield Became(*head, None, None if old is None else whole, None if new is None else whole, unit)
        return
    moved = "station" in row and old["station"] != new["station"]
    if moved:
        yield Became(*head, "station", old["station"], new["station"], None)
    for name in row:
        if name in _NOT_COMPARED and not (name == "phase" and sheet == "surveys"):
            continue
        if name.endswith("_entered"):
            continue
        if old[name] != new[name]:
            column = name.removesuffix("_um") if f"{name.removesuffix('_um')}_entered" in row else name
            unit = new.get("unit") if column != name else None
            yield Became(*head, column, _said(old, name, new), _said(new, name, new), unit)


def _said(row: Mapping[str, Any], name: str, new: Mapping[str, Any]) -> str | None:
    """Return a value as it was typed, with its unit where the two differ in it."""
    value = row[name]
    if value is None:
        return None
    entered = f"{name.removesuffix('_um')}_entered"
    if entered in row and row[entered] is not None:
        return f"{row[entered]} {row['unit']}" if row["unit"] != new["unit"] else str(row[entered])
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime | date):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def _whole(sheet: str, row: Mapping[str, Any]) -> str:
    if sheet == "surveys":
        return f"survey {row['number']}"
    if sheet == "findings":
        return str(row["item"])
    pairs = [(axis, row.get(f"{axis}_entered")) for axis in ("v", "h")]
    told = ", ".join(f"{axis} {text}" for axis, text in pairs if text is not None)
    if told:
        return told
    return ", ".join(f"{name} {row[name]:g}" for name in ("barrel_c", "base_c") if row.get(name) is not None)
