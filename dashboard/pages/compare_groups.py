"""Compare, groups of lines: one kind of group judged, and all kinds on both axes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html

from dashboard.address import Address
from dashboard.components import cold, numbers
from dashboard.components.downloads import table_links
from dashboard.components.pop import choice
from dashboard.components.rich import rich
from dashboard.figures import compare as pictures
from dashboard.pages import compare_words as said
from dashboard.pages.compare_address import BY_WORDS, write
from fleet import words
from fleet.services.compare import COHORTS, Cohort, CompareView, MatrixRow
from fleet.values import AXES, Axis
from fleet.words import NBSP, ReaderUnit


def groups_sheet(view: CompareView, address: Address, unit: ReaderUnit) -> html.Section:
    """Return the groups of the chosen kind with what each differs by from all other lines, and whether that is real."""
    found, filters = view.cohorts, view.filters
    pick = choice(
        "By",
        BY_WORDS[filters.by],
        [(BY_WORDS[by], write(address, replace(filters, by=by))) for by in COHORTS],
        stay=True,
    )
    ends = [
        value
        for group in found.groups
        if group.mean is not None and group.u95_mean is not None
        for value in (group.mean - group.u95_mean, group.mean + group.u95_mean)
    ]
    on = pictures.scale_of(ends or [group.mean for group in found.groups], unit)
    rows = [_group_row(group, view, on, unit) for group in found.groups]
    header = html.Tr(
        [
            html.Th(cold.capital(BY_WORDS[filters.by])),
            html.Th([f"Mean drift {said.A_YEAR}", pictures.head(on, filters.axis, most=4)]),
            html.Th(f"Against all other lines, {said.A_YEAR}"),
            html.Th("Is it real?"),
        ]
    )
    body: list[Any] = [
        html.Div(
            [html.H2("Do groups of lines differ?"), html.Div(pick, className="selrow")],
            className="sh2 ph",
        ),
        html.P(rich(said.groups_said(found, unit)), className="dim ph under"),
    ]
    if rows:
        body += [
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl gcmp"),
            html.P(
                f"{cold.capital(said.place_said(view))}, {unit} {said.A_YEAR}, ± 95 %. Every line counts once, by "
                "its own record. "
                "“Is it real?” allows for all groups of all kinds on both axes: of those called real, at most one in "
                "twenty is expected to be wrong. A group that moves differently need not do so because of its "
                f"{BY_WORDS[filters.by]}: its lines may share something else.",
                className="note ph",
            ),
            html.Div(table_links("compare-groups", address, "every group of every kind"), className="ph under"),
        ]
    return html.Section(body, className="sheet")


def _with_unit(um: float, u95_um: float | None, axis: Axis, unit: ReaderUnit) -> str:
    spread = "" if u95_um is None else f" {words.plus_minus(u95_um, unit, fine=True)}"
    return numbers.rate(um, axis, unit) + spread


def _group_row(group: Cohort, view: CompareView, on: pictures.Scale, unit: ReaderUnit) -> html.Tr:
    axis = view.filters.axis
    behind = f"{cold.lines(group.lines)}, {said.intervals(group.intervals)}, {numbers.grouped(group.visits)} visits"
    mean: list[Any] = ["–"]
    if group.mean is not None:
        mean = [html.Span(_with_unit(group.mean, group.u95_mean, axis, unit), className="num")]
        if group.u95_mean is not None:
            mean.append(pictures.mean_strip(group.mean, group.u95_mean, on, told=group.told_apart, most=4))
    rest = "–"
    if group.from_rest is not None and group.u95_from_rest is not None:
        rest = _with_unit(group.from_rest, group.u95_from_rest, axis, unit)
    word = said.group_verdict(group, axis)
    return html.Tr(
        [
            html.Td([html.B(said.group_name(view.filters.by, group.name)), html.Small(behind)]),
            html.Td(mean, className="gm"),
            html.Td(rest, className="num"),
            html.Td(html.B(word) if group.told_apart else word, className="is"),
        ]
    )


def matrix_sheet(view: CompareView, unit: ReaderUnit) -> html.Section:
    """Return every group of every kind on both axes."""
    rows: list[Any] = []
    last: object = ""
    for row in view.matrix:
        if row.by != last:
            text = "Place on the line" if row.by is None else cold.capital(BY_WORDS[row.by])
            rows.append(html.Tr(html.Th(text, colSpan=3, scope="colgroup"), className="kind"))
            last = row.by
        rows.append(_matrix_row(row, unit))
    header = html.Tr([html.Th("Group"), *(html.Th(cold.capital(numbers.AXIS_WORDS[axis])) for axis in AXES)])
    return html.Section(
        [
            html.H2(f"Group by axis, {unit} {said.A_YEAR}", className="ph"),
            html.Table([html.Thead(header), html.Tbody(rows)], className="tbl mtx"),
            html.P(
                "Bold: drifts, real at 95 %. ± 95 %. Told apart: differs from the lines of the other groups of its "
                "kind, allowing for everything in this table. A lower bore may be a barrel that went down or a gearbox "
                "that tilted; which of the two moved needs a level on the gearbox.",
                className="note ph",
            ),
        ],
        className="sheet",
    )


def _matrix_row(row: MatrixRow, unit: ReaderUnit) -> html.Tr:
    cells = [_cell(cell, axis, unit) for cell, axis in zip(row.cells, AXES, strict=True)]
    name: list[Any] = [
        html.Span(said.group_name(row.by, row.name)),
        " ",
        html.Span(cold.lines(row.lines), className="dim3"),
    ]
    return html.Tr([html.Td(name), *cells])


def _cell(cell: Cohort | None, axis: Axis, unit: ReaderUnit) -> html.Td:
    if cell is None or cell.mean is None:
        return html.Td("–", className="dim3")
    # On a phone the words of a direction may wrap.
    figure = numbers.rate(cell.mean, axis, unit, with_unit=False).replace(NBSP, " ")
    parts: list[Any] = [html.B(figure) if cell.drifts else figure]
    if cell.u95_mean is not None:
        parts += [" ", html.Span(words.plus_minus(cell.u95_mean, unit, fine=True), className="u num")]
    if cell.told_apart:
        parts.append(html.Small("told apart from the others", className="ta"))
    return html.Td(parts)
