"""Cold offsets by way of choosing, group by group and line by line."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from dash import dcc, html

from dashboard.address import Address, href
from dashboard.components import cold, numbers
from dashboard.components.aria import aria
from dashboard.components.pop import choice
from dashboard.components.rich import Bold, Sentence, rich
from fleet import words
from fleet.services.cold_offset_groups import GROUPINGS, Group, GroupBy, LineInWays, Way, WayInGroup, WaysView
from fleet.words import NBSP, ReaderUnit

BY_WORDS: Final[dict[GroupBy, str]] = {"size": "screw size", "saddle": "saddle", "site": "site"}
LINES_SHOWN: Final = 400
_SADDLES: Final = {"vee": "vees", "flat": "flat saddles", "plate": "plates", "centreline": "centreline mounts"}


def group_name(group: Group, by: GroupBy) -> str:
    """Return what a group's lines have in common, in the reader's words: '90 to 105 mm', 'vee', 'ORR'."""
    if by == "size":
        if group.screw_mm is None:
            return "size not recorded"
        low, high = group.screw_mm
        return numbers.diameter(low) if low == high else f"{low:g} to {numbers.diameter(high)}"
    if not group.name:
        return f"{by} not recorded"
    if by == "saddle":
        return cold.joined([_SADDLES.get(saddle, saddle) for saddle in group.name.split("+")])
    return group.name


def by_group(view: WaysView, here: Address, unit: ReaderUnit) -> list[Any]:
    """Return how far off each way came out in every group: the section with its choice of grouping."""
    shown = [group for group in view.groups if group.runs]
    if not shown:
        return []
    most = max((way.rms_um or 0.0 for group in shown for way in group.ways), default=0.0) or 1.0
    rows, cards = [], []
    for group in shown:
        ways = {way.way: way for way in group.ways}
        counted = f"{cold.lines(group.checked)}, {cold.checks(group.runs)}"
        rows.append(
            html.Tr(
                [
                    html.Td([html.B(group_name(group, view.by)), html.Small(counted)], className="wy"),
                    *(html.Td(_off_cell(group, ways[name], most, unit)) for name in cold.ORDER),
                ]
            )
        )
        cards.append(
            html.Li(
                [
                    html.Div(
                        [html.B(group_name(group, view.by)), html.Span(counted, className="note")], className="l1"
                    ),
                    html.Dl(
                        [
                            html.Div(
                                [html.Dt(cold.SHORT[name]), html.Dd(_off_cell(group, ways[name], most, unit))],
                                className="gw",
                            )
                            for name in cold.ORDER
                        ]
                    ),
                ]
            )
        )
    header = html.Tr(
        [html.Th(cold.capital(BY_WORDS[view.by])), *(html.Th(cold.OF_FLEET[name][0]) for name in cold.ORDER)]
    )
    unseen = len(view.groups) - len(shown)
    by = choice(
        "Grouped by",
        BY_WORDS[view.by],
        [(BY_WORDS[each], href(replace(here, by=each))) for each in GROUPINGS],
        stay=True,
    )
    return [
        html.Section(
            [
                html.Div(
                    [html.H2(f"How far off, by {BY_WORDS[view.by]}"), html.Div(by, className="selrow")],
                    className="sh2 ph",
                ),
                html.P(f"Root mean square from the axis, {unit}. {group_verdict(view)}", className="dim ph under"),
                html.Table([html.Thead(header), html.Tbody(rows)], className="tbl gr wide-only"),
                numbers.in_unit(unit),
                html.Ol(cards, className="narrow-only gc"),
                *([html.P(_unseen(unseen, view.by), className="note ph")] if unseen else []),
            ],
            className="sheet later",
        )
    ]


def _unseen(count: int, by: GroupBy) -> str:
    return f"{cold.capital(numbers.count(count))} more by {BY_WORDS[by]} without a running check."


def group_verdict(view: WaysView) -> str:
    """Say in which groups which way comes closest, in a sentence."""
    by_way: dict[Way, list[str]] = {}
    undecided = 0
    for group in view.groups:
        if group.closest is not None:
            by_way.setdefault(group.closest, []).append(group_name(group, view.by))
        elif group.runs:
            undecided += 1
    if not by_way:
        return "Fewer than three checks in each: too few to call a way closest."
    said = [
        f"{cold.CHOOSING[way]} {'at' if view.by == 'site' else 'on'} {cold.joined(names)}"
        for way in cold.ORDER
        if (names := by_way.get(way))
    ]
    tail = f" {cold.capital(numbers.count(undecided))} with too few checks to say." if undecided else ""
    return f"Closest: {'; '.join(said)}.{tail}"


def _off_cell(group: Group, way: WayInGroup, most: float, unit: ReaderUnit) -> list[Any]:
    if way.rms_um is None:
        return [html.Span("–", className="dim3", title="no check to judge by")]
    figure: list[Any] = [words.figure(way.rms_um, unit, fine=True)]
    if way.way == group.closest:
        said: list[Any] = [html.B(figure), *cold.spread(way.u95_rms_um, unit), " ", html.Em("closest")]
    elif way.way in group.as_good:
        said = [*figure, *cold.spread(way.u95_rms_um, unit), " ", html.Em("as good", className="soft")]
    else:
        said = [*figure, *cold.spread(way.u95_rms_um, unit)]
    width = f"{100.0 * way.rms_um / most:.1f}%"
    return [
        html.Span(said, className="num gf"),
        html.Div(html.I(className="sb", style={"width": width}), className="sbw", **aria(hidden="true")),
    ]


def one_way(view: WaysView, here: Address, chosen: Way, unit: ReaderUnit) -> list[Any]:
    """Return one way's figures in every group, and which lines it serves: the section with its choice of way."""
    name = cold.OF_FLEET[chosen][0]
    pick = choice(
        "Way",
        name,
        [(cold.OF_FLEET[way][0], href(replace(here, way=way))) for way in cold.ORDER],
        stay=True,
    )
    rows, cards = [], []
    for group in (view.fleet, *(group for group in view.groups if group.runs)):
        way = next(way for way in group.ways if way.way == chosen)
        every = group is view.fleet
        name_of = "All in view" if every else group_name(group, view.by)
        counted = f"{cold.lines(group.checked)}, {cold.checks(way.runs)}"
        rows.append(
            html.Tr(
                [
                    html.Td([html.B(name_of), html.Small(counted)]),
                    html.Td(cold.bias(way, view.axis, unit)),
                    html.Td(cold.rms(way, unit)),
                    html.Td(cold.share(way.within_watch)),
                    html.Td(cold.share(way.within_limit)),
                    html.Td(_place(group, chosen)),
                ],
                className="all" if every else "",
            )
        )
        cards.append(
            html.Li(
                [
                    html.Div([html.B(name_of), html.Span(counted, className="note")], className="l1"),
                    html.P(["bias ", *cold.bias(way, view.axis, unit), f" · RMS{NBSP}", *cold.rms(way, unit)]),
                    html.P(cold.inside(way, ranges=True)),
                    html.P(cold.capital(_place(group, chosen))),
                ]
            )
        )
    header = [html.Th(cold.capital(BY_WORDS[view.by])), html.Th(f"Bias, {unit}"), html.Th(f"RMS, {unit}")]
    header += [html.Th("Within watch"), html.Th("Within limit"), html.Th("Beside the others")]
    return [
        html.Section(
            [
                html.Div([html.H2(f"{name}: where it serves"), html.Div(pick, className="selrow")], className="sh2 ph"),
                html.P(rich(serves(view, chosen)), className="dim ph under"),
                html.Table([html.Thead(html.Tr(header)), html.Tbody(rows)], className="tbl ow wide-only"),
                numbers.in_unit(unit),
                html.Ol(cards, className="narrow-only gc"),
            ],
            className="sheet later",
        )
    ]


def _place(group: Group, chosen: Way) -> str:
    if group.closest is None:
        return "too few checks to say"
    if chosen == group.closest:
        return "closest" if not group.as_good else "closest, others as good"
    return "as good as the closest" if chosen in group.as_good else f"{cold.CHOOSING[group.closest]} came closer"


def serves(view: WaysView, way: Way) -> Sentence:
    """Say which lines a way serves best, where it is only as good, where another is closer and where none can tell."""
    best = [line.line for line in view.lines if line.group.closest == way]
    good = [line.line for line in view.lines if way in line.group.as_good]
    judged = [line.line for line in view.lines if line.group.closest is not None]
    worse = len(judged) - len(best) - len(good)
    untold = len(view.lines) - len(judged)
    parts: list[str] = []
    if best:
        parts += ["Closest on ", Bold(_named(best)), ". "]
    if good:
        parts += ["As good as the closest on ", Bold(_named(good)), ". "]
    if not best and not good and judged:
        parts.append("Closest on no line that can be judged. ")
    if worse and (best or good):
        parts.append(f"Another way came closer on {numbers.count(worse)} {'line' if worse == 1 else 'lines'}. ")
    if untold:
        have = "line has" if untold == 1 else "lines have"
        parts.append(
            f"{cold.capital(numbers.count(untold))} {have} fewer than three checks: there no way can be called closest."
        )
    return tuple(parts)


def _named(codes: list[str], most: int = 8) -> str:
    return cold.joined(codes) if len(codes) <= most else f"{', '.join(codes[:most])} and {len(codes) - most} more"


def line_by_line(view: WaysView, address: Address, chosen: Way | None) -> list[Any]:
    """Return every line with the way closest on it: also the way to its own page."""
    unit = address.unit
    shown = view.lines[:LINES_SHOWN]
    # Where a line's own closest way is the one looked at, its figure would stand there twice.
    other = chosen
    header = [html.Th("Line"), html.Th("Checks", className="r"), html.Th("Came out closest")]
    header += [html.Th(f"RMS, {unit}")]
    if other is not None:
        header += [html.Th(f"{cold.OF_FLEET[other][0]}, RMS, {unit}", className="wide-only")]
    rows = [_line_row(line, address, other, unit) for line in shown]
    more = len(view.lines) - len(shown)
    return [
        html.Section(
            [
                html.H2("Line by line", className="ph"),
                html.P(
                    "Over all stations of a line. Open a line for the target to set next, station by station.",
                    className="dim ph under",
                ),
                html.Table([html.Thead(html.Tr(header)), html.Tbody(rows)], className="tbl lw"),
                *(
                    [html.P(f"The first {LINES_SHOWN} of {len(view.lines)} lines; choose a site, or open a line from "
                            "the fleet.", className="note ph")]
                    if more
                    else []
                ),
            ],
            className="sheet later",
        )
    ]  # fmt: skip


def _line_row(line: LineInWays, address: Address, other: Way | None, unit: ReaderUnit) -> html.Tr:
    group = line.group
    ways = {way.way: way for way in group.ways}
    to = href(Address(page="cold-offsets", code=line.line, unit=unit, axis=address.axis))
    machine = [numbers.diameter(group.screw_mm[0])] if group.screw_mm else []
    machine += [group_name(replace(group, name=line.saddle), "saddle")] if line.saddle else []
    if group.closest is None:
        said = "no running check" if not group.runs else "too few checks to say"
        closest: list[Any] = [html.Span(said, className="dim3")]
        figure: list[Any] = [html.Span("–", className="dim3")]
    else:
        good = [cold.SHORT[way] for way in cold.ORDER if way in group.as_good]
        closest = [
            html.Span(cold.capital("its own checks" if group.closest == "own_record" else cold.SHORT[group.closest]))
        ]
        closest += [html.Small(f"as good: {', '.join(good)}")] if good else []
        figure = cold.rms(ways[group.closest], unit)
    cells = [
        html.Td([dcc.Link(line.line, href=to, className="ln"), html.Small(", ".join(machine))]),
        html.Td(numbers.grouped(group.runs), className="r"),
        html.Td(closest),
        html.Td(figure),
    ]
    if other is not None:
        cells.append(html.Td(cold.rms(ways[other], unit), className="wide-only"))
    return html.Tr(cells, className="mine" if line.line == address.beside else "")
