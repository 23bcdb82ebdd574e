"""Who changed what, what was corrected, and visits that are not signed yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers
from dashboard.components.downloads import table_links
from dashboard.components.records_moment import became, moment, plain_name
from dashboard.components.records_values import named, pairs, value_words
from fleet import words
from fleet.services.records_page import ChangeRow, DraftRow, RecordsView
from fleet.services.records_page_corrections import Became, CorrectionRow
from fleet.words import NBSP, ReaderUnit

_BECAME_SHOWN: Final = 4
_PHASES: Final = {"as_found": "as-found", "as_left": "as-left", "interim": "interim", "hot": "hot"}
_SHEETS: Final = {
    "readings": "reading",
    "offsets": "offset",
    "surveys": "survey",
    "support_temperatures": "support temperature",
    "moves": "move",
    "cold_targets": "cold target",
    "findings": "finding",
    "sessions": "visit",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the audit in the columns of the list; texts, empty where there is nothing to say."""

    what: str
    on: str
    before: str
    after: str


def entry_of(change: ChangeRow, unit: ReaderUnit) -> Entry:
    """Return an entry of the audit as the list says it.

    Parameters
    ----------
    change
        The entry.
    unit
        The reader's unit of lengths.
    """
    before, after = change.before or {}, change.after or {}
    source = str(after.get("source", ""))
    if change.what == "took a source in":
        taken = after.get("taken")
        rows = sum(taken.values()) if isinstance(taken, dict) else 0
        told = [f"{numbers.grouped(rows)} rows"] if rows else []
        if after.get("changed"):
            told.append(f"{numbers.grouped(float(str(after['changed'])))} changes of plant data")
        if left := after.get("left_out"):
            told.append(f"left out {value_words('', left, unit)}")
        return Entry("import", source, "", ", ".join(told))
    if change.what == "refused a source":
        refused = int(str(after.get("rows_refused") or 0))
        plural = "row" if refused == 1 else "rows"
        return Entry("import refused", source, "", f"{numbers.grouped(refused)} {plural} refused, nothing taken")
    if change.what == "found nothing new in a source":
        return Entry("import", source, "", "nothing new")
    if change.what.startswith("changed "):
        on = change.what.removeprefix("changed ")
        return Entry("plant data", on, pairs(before, unit), pairs(after, unit))
    if change.what.startswith("withdrew "):
        on = _where(before, change.what.removeprefix("withdrew ").removeprefix("a ").removeprefix("an "))
        return Entry("withdrawn", on, pairs(before, unit, *_PLACES), _why(after))
    if change.what.startswith("recorded ") and change.what.endswith(" anew"):
        thing = change.what.removeprefix("recorded ").removesuffix(" anew").removeprefix("a ").removeprefix("an ")
        told = [text for text in (pairs(after, unit, "why", *_PLACES), _why(after)) if text]
        return Entry("recorded anew", _where(after, thing), "", "; ".join(told))
    for verb in ("accepted", "refused"):
        beginning = f"{verb} the change of drift "
        if change.what.startswith(beginning):
            why = str(after.get("why") or "")
            return Entry(f"change of drift {verb}", change.what.removeprefix(beginning), "", why)
    line = next((str(values["line"]) for values in (after, before) if values.get("line")), "")
    what = change.what.replace(f" of line {line!r}", "") if line else change.what
    return Entry(what, line, pairs(before, unit, "typed"), pairs(after, unit))


_PLACES: Final = ("station", "support", "asset", "session", "asset_kind")


def _why(values: Mapping[str, object]) -> str:
    return f"“{values['why']}”" if values.get("why") else ""


def _where(values: dict[str, object] | Any, thing: str) -> str:
    place = [str(values[name]) for name in ("line", "asset") if values.get(name)]
    place += [f"{name} {values[name]}" for name in ("station", "support") if values.get(name)]
    place += [f"visit {values['session']}"] if values.get("session") else []
    return f"{thing}, {', '.join(place)}" if place else thing


def changes_section(view: RecordsView, address: Address) -> html.Section:
    """Return the audit: when, who, what, on what, before, after."""
    every = view.change_total > len(view.changes) and view.choice.show is None
    header = html.Div(
        [
            html.H2("Changes"),
            html.Span(
                [
                    dcc.Link(
                        f"All {numbers.grouped(view.change_total)}",
                        href=href(address.saying(show="changes", page=None, source=None)),
                    )
                    if every
                    else "",
                    table_links("changes", address.saying(page=None, source=None), "every change chosen above")
                    if view.changes
                    else "",
                ],
                className="of-list",
            ),
        ],
        className="ph sh2",
    )
    if not view.changes:
        return html.Section([header, html.P(_none(view), className="ph none-yet")], className="sheet later")
    unit = address.unit
    entries = [(change, entry_of(change, unit)) for change in view.changes]
    widths = ("168px", "150px", "170px", "250px", "230px", "auto")
    head = html.Tr([html.Th(name) for name in ("When", "Who", "What", "On", "Before", "After")])
    rows = [
        html.Tr(
            [
                html.Td(moment(change.at), className="num"),
                html.Td(plain_name(change.who)),
                html.Td(html.B(entry.what)),
                html.Td(entry.on),
                html.Td(entry.before, className="dim"),
                html.Td(entry.after),
            ]
        )
        for change, entry in entries
    ]
    columns = html.Colgroup([html.Col(style={"width": width}) for width in widths])
    table = html.Table([columns, html.Thead(head), html.Tbody(rows)], className="tbl wide-only chg")
    cards = html.Ol([_card(change, entry) for change, entry in entries], className="narrow-only lst")
    return html.Section([header, table, cards], className="sheet later")


def _card(change: ChangeRow, entry: Entry) -> html.Li:
    told: list[Any] = [f"{entry.on}: " if entry.on else ""]
    if entry.before:
        told += [entry.before, became()]
    told.append(entry.after)
    return html.Li(
        [
            html.Div([html.B(entry.what), html.Span(moment(change.at), className="dim num")], className="l1"),
            html.P(told),
            html.P(plain_name(change.who), className="dim"),
        ]
    )


def _none(view: RecordsView) -> str:
    chosen = view.choice
    if view.entries and (chosen.line or chosen.who or chosen.what or chosen.from_on or chosen.to_on):
        return f"None of the {numbers.grouped(view.entries)} entries matches what is chosen above."
    return "Nothing was changed yet."


# --- corrections ------------------------------------------------------------------------------------------------


def corrections_section(view: RecordsView, address: Address) -> html.Section:
    """Return the corrected visits: what became what, by whom, why."""
    every = view.correction_total > len(view.corrections) and view.choice.show is None
    parts: list[Any] = [
        html.Div(
            [
                html.Div(
                    [
                        html.H2("Corrections"),
                        dcc.Link(
                            f"All {view.correction_total}",
                            href=href(address.saying(show="corrections", page=None, source=None)),
                        )
                        if every
                        else "",
                    ],
                    className="sh2",
                ),
                html.P(
                    "A signed visit is never changed. A correction stands beside it and says why; "
                    "figures use the newer one.",
                    className="dim",
                ),
            ],
            className="ph",
        )
    ]
    if view.corrections:
        parts.append(html.Ol([_correction(row, address) for row in view.corrections], className="lst"))
    else:
        parts.append(html.P("No visit was corrected.", className="ph none-yet"))
    return html.Section(parts, className="sheet")


def _session_link(code: str, words_: str, address: Address) -> dcc.Link:
    return dcc.Link(words_, href=href(Address(page="session", code=code, unit=address.unit)))


def _correction(row: CorrectionRow, address: Address) -> html.Li:
    head = html.Div(
        [
            html.B(_session_link(row.new, f"{row.line}, {words.day(row.started_at)}", address)),
            html.Span(
                f"corrected {words.day(row.corrected_at)} by {plain_name(row.corrected_by)}", className="dim num"
            ),
        ],
        className="l1",
    )
    told: list[Any] = []
    if row.withdraws:
        told.append(html.P("The whole visit was withdrawn: the correction holds no survey."))
    shown = row.became if len(row.became) <= _BECAME_SHOWN + 1 else row.became[:_BECAME_SHOWN]
    told += [html.P(_became(each)) for each in shown]
    rest = row.became[len(shown) :]
    if rest:
        inside = html.Div([html.P(_became(each)) for each in rest])
        told.append(html.Details([html.Summary(f"{len(rest)} more values"), inside], className="astable"))
    if not row.withdraws and not row.became:
        told.append(html.P("Every value stayed as it was."))
    return html.Li(
        [
            head,
            *told,
            html.P(f"“{row.why}”", className="dim"),
            html.P(["It took the place of ", _session_link(row.old, row.old, address), "."], className="note"),
        ]
    )


def _became(each: Became) -> list[Any]:
    """Return one value and what took its place: where it stands, in words, then both."""
    where: list[str] = []
    if each.sheet == "sessions":
        where.append("The visit")
    elif each.place is not None:
        kind = "support" if each.sheet in ("support_temperatures", "moves") else "station"
        where.append(each.place if each.sheet == "findings" else f"{kind} {each.place}")
    if each.phase is not None:
        where.append(_PHASES.get(each.phase, each.phase))
    elif each.survey:
        where.append(f"survey {each.survey}")
    if each.column is None:
        where.append(_SHEETS[each.sheet])
    else:
        column = f"{each.column} at {each.roll_deg:g}°" if each.roll_deg is not None else named(each.column)
        where.append(f"reading of {column}" if each.sheet == "readings" else column)
        if each.sheet == "readings":
            where.append("as the instrument shows it")
    text = ", ".join(where)
    unit = f"{NBSP}{each.unit}" if each.unit else _unit(each.column)
    old = html.Span("nothing", className="dim3") if each.before is None else html.Span(each.before, className="num")
    new: Any = html.Span("taken away") if each.after is None else html.B([each.after, unit], className="num")
    return [f"{text[:1].upper()}{text[1:]}: ", old, " ", became(), " ", new]


def _unit(column: str | None) -> str:
    if column is None:
        return ""
    if column.endswith("_c"):
        return f"{NBSP}°C"
    return f"{NBSP}um/m" if column.endswith("_um_per_m") else (f"{NBSP}h" if column.endswith(("_h", "hours")) else "")


# --- what is proven -------------------------------------------------------------------------------------------------


def proof_section(view: RecordsView, address: Address, now: datetime) -> html.Section:
    """Return what stands: signed visits, visits not signed yet, entries of the audit, the newest digest."""
    items: list[Any] = [
        html.Div(
            [html.Dt("Signed visits"), html.Dd([html.B(numbers.grouped(view.signed_visits)), " frozen as signed"])]
        ),
        html.Div([html.Dt("Visits not signed yet"), html.Dd(_drafts(view.drafts, address, now))]),
        html.Div(
            [
                html.Dt("What was changed"),
                html.Dd(
                    [
                        html.B(numbers.grouped(view.entries)),
                        f" entr{'y' if view.entries == 1 else 'ies'}, only ever added to",
                    ]
                ),
            ]
        ),
    ]
    newest = next((row for row in view.sources if row.result == "taken"), None)
    if newest is not None:
        items.append(
            html.Div(
                [
                    html.Dt(f"Digest of {newest.name}"),
                    html.Dd(
                        f"{newest.sha256[:4]}{NBSP}{newest.sha256[4:8]} … {newest.sha256[-4:]}",
                        className="num",
                        title=f"SHA-256 {newest.sha256}",
                    ),
                ]
            )
        )
    return html.Section(
        [html.Div(html.H2("What stands"), className="ph"), html.Dl(items, className="pf")], className="sheet"
    )


def _drafts(drafts: tuple[DraftRow, ...], address: Address, now: datetime) -> Any:
    if not drafts:
        return "none"
    return html.Ul([html.Li(_draft(draft, address, now)) for draft in drafts])


def _draft(draft: DraftRow, address: Address, now: datetime) -> list[Any]:
    to = Address(page="record", code=draft.line, unit=address.unit).saying(draft=draft.key)
    days = (now.astimezone(draft.begun_at.tzinfo).date() - draft.begun_at.date()).days
    age = "begun today" if days == 0 else f"since {words.day(draft.begun_at)}, {days} day{'' if days == 1 else 's'}"
    corrects = f", corrects {draft.corrects}" if draft.corrects else ""
    return [dcc.Link(draft.line, href=href(to)), f", {plain_name(draft.by)}, {age}{corrects}"]
