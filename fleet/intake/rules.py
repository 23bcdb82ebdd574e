"""Rules of single sheets that need more than one cell: dates in order, bands, placements, corrections, settings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from typing import Final

from fleet.intake.cells import is_number
from fleet.intake.known import View
from fleet.intake.layout import (
    BORE_SIZE_SHAPES,
    MOVE_PLACES,
    SETTING_CHANCES,
    SETTING_NUMBERS,
    SETTINGS,
)
from fleet.intake.parsing import Places, Table
from fleet.intake.raw import Problem, shown

Rule = Callable[[View, Places], Iterator[Problem]]


def _orders(view: View, _: Places) -> Iterator[Problem]:
    """What ends does not end before it begins."""
    for name, first, last in (
        ("supports", "added_on", "removed_on"),
        ("stations", "added_on", "removed_on"),
        ("placements", "installed_on", "removed_on"),
        ("calibrations", "calibrated_on", "due_on"),
        ("outages", "starts_at", "ends_at"),
    ):
        table = view.tables.get(name)
        if table is None:
            continue
        for position, key in enumerate(table.keys()):
            if None in key:
                continue
            begins, ends = view.value(name, key, first), view.value(name, key, last)
            if begins is not None and ends is not None and ends < begins:
                written = table.typed[last][position] or ends
                yield table.problem(position, last, f"{shown(str(written))} lies before {first}; correct one of them")


def _bands(view: View, _: Places) -> Iterator[Problem]:
    table = view.tables.get("tolerances")
    if table is None:
        return
    values = table.values
    for position, (watch, limit) in enumerate(zip(values["watch_um"], values["limit_um"], strict=True)):
        if watch is not None and limit is not None and watch > limit:
            written = shown(table.typed["watch_um"][position])
            yield table.problem(
                position,
                "watch_um",
                f"{written} is above limit_um {table.typed['limit_um'][position]}; it has to lie within",
            )


def _support_codes(view: View, _: Places) -> Iterator[Problem]:
    table = view.tables.get("supports")
    for position, code in enumerate(table.values["support"] if table else ()):
        if table and code in MOVE_PLACES:
            yield table.problem(
                position, "support", f"{shown(code)} is a place of moves; give the support another code"
            )


def _placements(view: View, _: Places) -> Iterator[Problem]:
    """No two of a kind stand on one line, and no asset stands on two lines, at once."""
    table = view.tables.get("placements")
    if table is None:
        return
    spans = []
    for key in view.keys("placements"):
        line = view.value("placements", key, "line")
        if None in key or line is None:
            continue
        kind, asset, begins = key
        spans.append((line, kind, asset, begins, view.value("placements", key, "removed_on") or date.max, key))
    at = view.position("placements")
    for about in ("line", "asset"):
        groups = defaultdict(list)
        for span in spans:
            line, kind, asset, begins, ends, _key = span
            groups[(kind, line if about == "line" else asset)].append(span)
        for group in groups.values():
            group.sort(key=lambda span: (span[3], span[4], str(span[5])))
            longest = None
            for span in group:
                line, kind, asset, begins, ends, key = span
                if ends <= begins:
                    continue
                if longest is not None and begins < longest[4]:
                    yield from _overlap(table, at, about, longest, span)
                if longest is None or ends > longest[4]:
                    longest = span


_Span = tuple[str, str, str, date, date, tuple[object, ...]]


def _overlap(
    table: Table, at: dict[tuple[object, ...], int], about: str, first: _Span, second: _Span
) -> Iterator[Problem]:
    mine, other = (second, first) if second[5] in at else (first, second)
    if mine[5] not in at:
        return
    until = "without an end" if other[4] == date.max else f"to {other[4]}"
    kind, asset, line = other[1], shown(other[2]), shown(other[0])
    stood = f"{kind} {asset} stands on line {line} from {other[3]} {until}"
    problem = (
        "no two of a kind stand on one line at once" if about == "line" else "it cannot stand in two places at once"
    )
    yield table.problem(at[mine[5]], "installed_on", f"{stood}; {problem}, correct a date or give removed_on")


def _outage_sites(view: View, places: Places) -> Iterator[Problem]:
    table = view.tables.get("outages")
    if table is None:
        return
    for position, key in enumerate(table.keys()):
        site, line = view.value("outages", key, "site"), view.value("outages", key, "line")
        if site and line and line in places.line_site and places.line_site[line] != site:
            there = places.line_site[line]
            stands = f"stands at site {shown(there)}" if there else "has no site"
            yield table.problem(
                position, "line", f"line {shown(line)} {stands}, not at {shown(site)}; give one of them"
            )


def _corrections(view: View, _: Places) -> Iterator[Problem]:
    table = view.tables.get("sessions")
    if table is None:
        return
    values = table.values
    by: dict[str, str] = dict(view.known.corrected_by)
    olds = {code: old for code, old in zip(values["session"], values["corrects"], strict=True) if code and old}
    for position, (code, old) in enumerate(zip(values["session"], values["corrects"], strict=True)):
        reason = values["correction_reason"][position]
        if old is None:
            if reason is not None:
                yield table.problem(
                    position,
                    "correction_reason",
                    "a reason stands without corrects; name the session that is corrected",
                )
            continue
        if reason is None:
            yield table.problem(
                position,
                "correction_reason",
                f"session {shown(code or '')} corrects {shown(old)} without a reason; give it",
            )
        if _goes_round(code, olds):
            yield table.problem(
                position, "corrects", f"the corrections from {shown(code)} lead back to it; correct the codes"
            )
            continue
        if not view.has("sessions", (old,)) or "sessions" in view.unread:
            continue
        stored = view.known.of("sessions").get((old,))
        if stored is not None and stored.state == "draft":
            yield table.problem(
                position, "corrects", f"session {shown(old)} is a draft; sign it before it is corrected"
            )
        line, other = values["line"][position], view.value("sessions", (old,), "line")
        if line and other and line != other:
            yield table.problem(
                position, "line", f"{shown(line)} is not the line of {shown(old)}, which it corrects; write {other}"
            )
        started, before = values["started_at"][position], view.value("sessions", (old,), "started_at")
        if started and before and started != before:
            at = view.position("sessions").get((old,))
            written = table.typed["started_at"][at] if at is not None else f"{before:%Y-%m-%dT%H:%M}Z"
            yield table.problem(
                position,
                "started_at",
                f"{shown(table.typed['started_at'][position])} differs from that of {shown(old)}, which it corrects; "
                f"a correction keeps it, write {written}",
            )
        if by.get(old, code) != code:
            yield table.problem(
                position,
                "corrects",
                f"session {shown(old)} is corrected by {shown(by[old])} already; correct that one instead",
            )
        elif code:
            by[old] = code


def _goes_round(code: str | None, olds: dict[str, str]) -> bool:
    seen: set[str] = set()
    at = code
    while at is not None and at not in seen:
        seen.add(at)
        at = olds.get(at)
    return at is not None and at == code


def _settings(view: View, _: Places) -> Iterator[Problem]:
    table = view.tables.get("settings")
    if table is None:
        return
    for position, (name, value) in enumerate(zip(table.values["name"], table.values["value"], strict=True)):
        if name is None:
            continue
        if name not in SETTINGS:
            yield table.problem(
                position, "name", f"{shown(name)} is not a setting; the settings are {', '.join(SETTINGS)}"
            )
        elif value is not None:
            wrong = _setting_wrong(name, value)
            if wrong:
                yield table.problem(position, "value", f"{shown(value)} does not suit {name}; {wrong}")


def _setting_wrong(name: str, value: str) -> str:
    """Return what the value of a setting should be, where it is not."""
    if name in SETTING_CHANCES:
        return "" if _number_up_to(value, Decimal(1)) else "write a chance from 0 to 1"
    if name in SETTING_NUMBERS:
        most = Decimal(100) if name == "horizon_years" else Decimal(50_000)
        return "" if _number_up_to(value, most) else f"write a number from 0 to {most}"
    if name == "bore_size_shape":
        return "" if value in BORE_SIZE_SHAPES else f"write {' or '.join(BORE_SIZE_SHAPES)}"
    if name == "bore_size_points":
        pairs = [pair.strip().split(":") for pair in value.split(";")]
        bores = [pair[0].strip() for pair in pairs]
        sound = all(
            len(pair) == 2 and _number_up_to(pair[0].strip(), Decimal(20_000)) and _drop(pair[1].strip())
            for pair in pairs
        )
        if sound and len({Decimal(bore) for bore in bores}) == len(bores):
            return ""
        return "write pairs such as 60:50;120:200 (bore_mm:drop_um), each bore once"
    return "" if all(word.strip() for word in value.split(";")) else "write words separated by ;"


def _number_up_to(value: str, most: Decimal) -> bool:
    return is_number(value) and 0 <= Decimal(value) <= most


def _drop(value: str) -> bool:
    return is_number(value) and abs(Decimal(value)) <= 50_000


def _support_temperatures(view: View, _: Places) -> Iterator[Problem]:
    table = view.tables.get("support_temperatures")
    if table is None:
        return
    checks = {(line, at) for line, at, _station in view.keys("running_checks")}
    typed = table.typed
    for position, survey in enumerate(table.values["survey"]):
        session, line, at = (typed[name][position] for name in ("session", "line", "checked_at"))
        of_survey, of_check = (bool(session), bool(typed["survey"][position])), (bool(line), bool(at))
        if (all(of_survey) and not any(of_check)) or (all(of_check) and not any(of_survey)):
            key = (table.values["line"][position], table.values["checked_at"][position])
            if all(of_check) and None not in key and key not in checks and "running_checks" not in view.unread:
                yield table.problem(
                    position,
                    "checked_at",
                    f"line {shown(line)} has no running check at {shown(at)}; add it or correct the time",
                )
        else:
            yield table.problem(
                position,
                None,
                "a support's temperature belongs to session and survey, or to line and checked_at; fill one pair only"
                + (f" (survey {survey})" if survey is not None and not session else ""),
            )


RULES: Final[tuple[Rule, ...]] = (
    _orders,
    _bands,
    _support_codes,
    _placements,
    _outage_sites,
    _corrections,
    _settings,
    _support_temperatures,
)
