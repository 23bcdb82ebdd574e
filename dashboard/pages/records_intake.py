"""What came in: bringing a source, what would happen, the list of sources, and what stood in the way of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import numbers
from dashboard.components.aria import aria
from dashboard.components.downloads import link
from dashboard.components.records_moment import became, moment, plain_name
from fleet.services.records_page import OpenedSource, RecordsView, SourceRow
from fleet.services.taking_in import BadRow

ANSWER: Final = "intake-answer"
SAID: Final = "intake-said"
_SHOWN: Final = 12
"""Changes and notes said at once; the rest stands below, opened when wanted."""
_WORDS: Final = {"taken": "taken", "refused": "refused", "nothing new": "nothing new"}


def data(**told: str | None) -> dict[str, Any]:
    """Return `data-*` properties, without those that are None."""
    return {f"data-{name.replace('_', '-')}": value for name, value in told.items() if value is not None}


def bring() -> html.Section:
    """Return where a source is brought: dropped, or chosen by a button; its boxes are made by the page's script."""
    return html.Section(
        [
            html.Div(
                [
                    html.H2("Import a source"),
                    html.P(
                        "Drop an XLSX workbook or the CSV files of one folder here, or choose them. "
                        "You see what would happen before anything is taken.",
                        className="dim",
                    ),
                    html.Div(
                        [
                            html.Button("Choose files", type="button", className="btn", **data(pick="files")),
                            html.Button("Choose a folder", type="button", className="btn", **data(pick="folder")),
                        ],
                        className="picks",
                    ),
                    html.P("", className="picked", role="status", **data(picked="")),
                ],
                className="drop-what",
            ),
            html.Div(
                [
                    html.Label("Your name", htmlFor="typed-who"),
                    html.Div(**data(typed="who")),
                    html.Button("See what would happen", type="button", className="btn main", **data(look="")),
                    html.P("", className="sending", role="status", **data(sending="")),
                    html.Div(**data(progress="")),
                ],
                className="drop-who",
            ),
        ],
        id="bring",
        className="sheet drop",
        **aria(label="Import a source"),
        **data(drop=""),
    )


def answer_places() -> list[Any]:
    """Return where the answer to a sending is shown; it comes by the page's script."""
    return [dcc.Store(id=ANSWER), html.Div(id=SAID, className="answer-place")]


def outlook(said: Mapping[str, Any] | None) -> list[Any]:
    """Return what a source would do, from the answer the page's script was given; nothing while there is none."""
    if not said or said.get("result") not in ("sound", "nothing new"):
        return []
    name = str(said.get("source", ""))
    if said["result"] == "nothing new":
        return [
            html.Section(
                [
                    html.H2(f"Nothing new in {name}"),
                    html.P("The record holds all of it already, so nothing was taken. The list below says it came."),
                    *_remarks(said),
                ],
                className="say found",
                **data(found=""),
            )
        ]
    taken = [(str(file), int(count)) for file, count in said.get("taken", ())]
    out = said.get("left_out") or []
    parts: list[Any] = [
        html.H2(f"What would happen: {_counted(sum(count for _, count in taken), 'new row')} from {name}"),
        html.P("Nothing is taken yet.", className="dim"),
        html.Ul([html.Li([html.B(numbers.grouped(n)), f" {rows_of(file, n)}"]) for file, n in taken]),
    ]
    if out:
        codes = ", ".join(str(session) for session, _ in out[:_SHOWN])
        more = f" and {len(out) - _SHOWN} more" if len(out) > _SHOWN else ""
        parts.append(html.P([html.B(f"Left out: {_counted(len(out), 'session')}. "), f"{codes}{more}"]))
    parts += [*_changes(said), *_remarks(said), *_notes(said)]
    parts.append(
        html.Div(
            [
                html.Button("Take it in", type="button", className="btn main", **data(take="")),
                html.Button("Leave it", type="button", className="btn plain", **data(leave="")),
            ],
            className="ways",
        )
    )
    return [html.Section(parts, className="say found", **data(found=""))]


def _counted(count: int, thing: str) -> str:
    return f"{numbers.grouped(count)} {thing}{'' if count == 1 else 's'}"


def rows_of(file: str, count: int) -> str:
    """Return what rows of a file are, without their number: 'running check', 'sessions', 'wear'."""
    plain = file.replace("_", " ")
    if count != 1 or file == "wear":
        return plain
    return "gearbox" if file == "gearboxes" else plain.removesuffix("s")


def _changes(said: Mapping[str, Any]) -> list[Any]:
    changes, count = said.get("changes") or [], int(said.get("change_count") or 0)
    if not changes:
        return []
    rows = [
        html.Tr(
            [
                html.Td([each["file"], " ", html.Small(each["key"])]),
                html.Td(each["column"]),
                html.Td([each["before"] or html.Span("empty", className="dim3"), became(), html.B(each["after"])]),
            ]
        )
        for each in changes
    ]
    head = html.Thead(html.Tr([html.Th("Plant data"), html.Th("Column"), html.Th("Before and after")]))
    more = f"The first {len(changes)} of {numbers.grouped(count)} changes." if count > len(changes) else ""
    table = html.Table([head, html.Tbody(rows)], className="tbl would")
    title = html.H3(f"{_counted(count, 'change')} of plant data")
    if len(rows) <= _SHOWN:
        return [title, table]
    return [
        title,
        html.Details([html.Summary("Show them"), table, html.P(more, className="note")], className="astable"),
    ]


def _remarks(said: Mapping[str, Any]) -> list[Any]:
    remarks = said.get("remarks") or []
    if not remarks:
        return []
    return [html.H3("Noticed"), *_list([str(text) for text in remarks])]


def _notes(said: Mapping[str, Any]) -> list[Any]:
    notes, count = said.get("notes") or [], int(said.get("note_count") or 0)
    if not notes:
        return []
    texts = [f"{session}: {text}" for session, text in notes]
    if count > len(notes):
        texts.append(f"and {numbers.grouped(count - len(notes))} more")
    return [
        html.H3("What signing would have asked about"),
        html.P("It is noted on the sessions and is no ground to refuse them.", className="dim"),
        *_list(texts),
    ]


def _list(texts: Sequence[str]) -> list[Any]:
    first = html.Ul([html.Li(text) for text in texts[:_SHOWN]], className="said-list")
    if len(texts) <= _SHOWN:
        return [first]
    rest = html.Ul([html.Li(text) for text in texts[_SHOWN:]], className="said-list")
    return [first, html.Details([html.Summary(f"{len(texts) - _SHOWN} more"), rest], className="astable")]


# --- what came in -----------------------------------------------------------------------------------------------


def sources_section(view: RecordsView, address: Address) -> html.Section:
    """Return the list of what came in, newest first."""
    rows = view.sources
    every = view.source_total > len(rows) and view.choice.show is None
    more = dcc.Link(f"All {view.source_total}", href=href(address.saying(show="intake", page=None, source=None)))
    header = html.Div([html.H2("Intake"), more if every else ""], className="ph sh2")
    if not rows:
        return html.Section([header, html.P(_none(view), className="ph none-yet")], className="sheet")
    return html.Section([header, _table(rows, view, address), _cards(rows, view, address)], className="sheet")


def _none(view: RecordsView) -> str:
    chosen = view.choice
    if chosen.line or chosen.who or chosen.from_on or chosen.to_on:
        return "No source matches what is chosen above."
    return "Nothing came in as a file yet. Drop a workbook or a folder’s files above."


def kind_of(row: SourceRow) -> str:
    """Return what a source is, in words: 'folder, 5 files', 'workbook'; nothing where it is not known."""
    if row.container == "folder":
        return f"folder, {_counted(row.files or 0, 'file')}"
    return row.container or ""


def told_of(row: SourceRow) -> str:
    """Return in a few words what came of a source."""
    if row.result == "refused":
        return "nothing of it was taken"
    if row.result == "nothing new":
        return f"the same content as on {moment(row.again_at)}" if row.again_at else "the record held all of it"
    taken = dict(row.taken)
    if not taken and row.changed:
        return f"{_counted(row.changed, 'change')} of plant data"
    names = [
        name for name in ("sessions", "running_checks", "meters", "events", "wear", "tolerances") if taken.get(name)
    ]
    if not names:
        names = sorted(taken, key=lambda name: -taken[name])[:3]
    said = [f"{numbers.grouped(taken[name])} {rows_of(name, taken[name])}" for name in names[:3]]
    if taken.get("sessions"):
        said[0] += ", signed on import"
    return "; ".join(said) if said else ""


def _source_link(row: SourceRow, address: Address) -> dcc.Link:
    return dcc.Link(row.name, href=href(address.saying(source=str(row.number), page=None)))


def _result(row: SourceRow) -> html.B:
    return html.B(_WORDS[row.result], className="rs")


def _row_class(row: SourceRow) -> str:
    return {"refused": "rf", "nothing new": "nn", "taken": "tk"}[row.result]


def _table(rows: Sequence[SourceRow], view: RecordsView, address: Address) -> html.Table:
    widths = ("168px", "250px", "150px", "120px", "90px", "90px", "auto")
    header = html.Tr(
        [
            html.Th("When"),
            html.Th("Source"),
            html.Th("By"),
            html.Th("Result"),
            html.Th("Rows taken", className="r"),
            html.Th("Rows refused", className="r"),
            html.Th("What came of it"),
        ]
    )
    opened = view.opened.row.number if view.opened else None
    body = [
        html.Tr(
            [
                html.Td(moment(row.at), className="num"),
                html.Td([_source_link(row, address), html.Small(kind_of(row))]),
                html.Td(plain_name(row.who)),
                html.Td(_result(row)),
                html.Td(numbers.grouped(row.rows_taken), className="r num"),
                html.Td(numbers.grouped(row.rows_refused), className="r num"),
                html.Td([told_of(row), "; see below" if row.number == opened else ""], className="dim"),
            ],
            className=_row_class(row),
        )
        for row in rows
    ]
    columns = html.Colgroup([html.Col(style={"width": width}) for width in widths])
    return html.Table([columns, html.Thead(header), html.Tbody(body)], className="tbl wide-only itk")


def _cards(rows: Sequence[SourceRow], view: RecordsView, address: Address) -> html.Ol:
    del view
    return html.Ol(
        [
            html.Li(
                [
                    html.Div([_source_link(row, address), _result(row)], className="l1"),
                    html.P(f"{moment(row.at)}, {plain_name(row.who)}", className="dim"),
                    html.P(
                        f"{numbers.grouped(row.rows_taken)} rows taken, {numbers.grouped(row.rows_refused)} refused; "
                        f"{told_of(row)}"
                    ),
                ],
                className=_row_class(row),
            )
            for row in rows
        ],
        className="narrow-only lst",
    )


def opened_section(view: RecordsView, address: Address) -> list[Any]:
    """Return the source that is opened: what stood in its way, or what it brought; nothing where none is."""
    if view.opened is None:
        return []
    if view.opened.row.result == "refused":
        return [_refused(view.opened, address)]
    return [_brought(view.opened, address)]


def _refused(opened: OpenedSource, address: Address) -> html.Section:
    row = opened.row
    if row.rows_refused and row.rows_read:
        count = numbers.count(row.rows_refused)
        verb = "stands" if row.rows_refused == 1 else "stand"
        title = f"{row.name}: {count} row{'' if row.rows_refused == 1 else 's'} {verb} in the way of "
        title += numbers.grouped(row.rows_read)
    else:
        title = f"{row.name}: it cannot be taken as it is"
    shown = len(opened.bad)
    more = (
        f" The first {numbers.grouped(shown)} of {numbers.grouped(opened.bad_count)} problems are listed."
        if opened.bad_count > shown
        else ""
    )
    parts: list[Any] = [
        html.H3(title),
        html.P(
            f"{moment(row.at)}, {plain_name(row.who)}. The header is row 1. "
            f"A source is taken whole or not at all.{more}",
            className="dim",
        ),
        _bad_table(opened.bad),
        _bad_cards(opened.bad),
        html.Div(_ways_on(opened, address), className="ch2"),
        html.P("", className="sending", role="status", **data(way_said="")),
    ]
    return html.Section(parts, className="say warn big", id="refused")


def _ways_on(opened: OpenedSource, address: Address) -> list[Any]:
    row = opened.row
    ways: list[Any] = [
        html.Button("Send the corrected source", type="button", className="btn", **data(pick="again")),
        html.A(
            "Refused rows as CSV",
            href=link("refused-rows", "csv", address.saying(source=str(row.number))),
            className="btn",
        ),
    ]
    if opened.sound_sessions:
        others = opened.other_sessions or 0
        sound = "session" if opened.sound_sessions == 1 else "sessions"
        ways.append(
            html.Button(
                f"Take the {numbers.grouped(opened.sound_sessions)} sound {sound} without the other "
                f"{numbers.grouped(others)}",
                type="button",
                className="btn plain",
                **data(sound=str(row.number)),
            )
        )
    return ways


def _bad_table(bad: Sequence[BadRow]) -> html.Table:
    header = html.Tr(
        [
            html.Th("File"),
            html.Th("Row", className="r"),
            html.Th("Column"),
            html.Th("Found there"),
            html.Th("What would be right"),
        ]
    )
    rows = [
        html.Tr(
            [
                html.Td(row.file),
                html.Td("" if row.row is None else numbers.grouped(row.row), className="r num"),
                html.Td(row.column or ""),
                html.Td(row.found, className="vq"),
                html.Td(row.right),
            ]
        )
        for row in bad
    ]
    return html.Table([html.Thead(header), html.Tbody(rows)], className="tbl wide-only bad")


def place_of(row: BadRow) -> str:
    """Return where a bad row stands: 'readings.csv row 41, column unit'."""
    place = row.file if row.row is None else f"{row.file} row {row.row}"
    return place if row.column is None else f"{place}, column {row.column}"


def _bad_cards(bad: Sequence[BadRow]) -> html.Ol:
    return html.Ol(
        [html.Li([html.B(place_of(row)), html.Br(), f"‘{row.found}’ " if row.found else "", row.right]) for row in bad],
        className="narrow-only badp",
    )


def _brought(opened: OpenedSource, address: Address) -> html.Section:
    row = opened.row
    parts: list[Any] = [
        html.H3(f"{row.name}: {_WORDS[row.result]}"),
        html.P([f"{moment(row.at)}, {plain_name(row.who)}. {_sentence(told_of(row))}"], className="dim"),
    ]
    if row.taken:
        files = [
            html.Li([html.B(numbers.grouped(count)), f" {rows_of(name, count)}"]) for name, count in row.taken.items()
        ]
        parts.append(html.Ul(files, className="counts"))
    if opened.left_out:
        parts.append(html.P([html.B("Left out: "), ", ".join(opened.left_out)]))
    if opened.sessions:
        links = [
            html.Li(
                dcc.Link(code, href=href(Address(page="session", code=code, unit=address.unit)), title=f"line {line}")
            )
            for code, line in opened.sessions
        ]
        inside: Any = html.Ul(links, className="codes")
        if len(links) > _SHOWN:
            inside = html.Details(
                [html.Summary(f"The {numbers.grouped(len(links))} sessions it brought"), inside], className="astable"
            )
        parts.append(inside)
    parts.append(html.P(["SHA-256 ", html.Span(row.sha256, className="digest")], className="note"))
    parts.append(html.P(dcc.Link("Close", href=href(address.saying(source=None)))))
    return html.Section(parts, className="say opened")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""
