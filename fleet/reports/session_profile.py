"""The bore's profile of a visit as inline SVG: as-found and as-left in the tolerance band around the target.

Drawn with its own inks and no style sheet, so that print, file and PDF show the same in black on white.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from fleet.reports import session_words as say
from fleet.reports.session_content import SessionRecord, SessionSurvey, StationOffset
from fleet.values import AXES, Axis
from fleet.words import ReaderUnit, day

_WIDTH: Final = 700.0
_LEFT: Final = 52.0
_RIGHT: Final = 112.0
_TALL: Final[dict[Axis, float]] = {"v": 190.0, "h": 110.0}
_GAP: Final = 46.0
_TOP: Final = 22.0
_BAND: Final = "#e9ebf2"
_GREY: Final = "#646a7d"
_INK: Final = "#000"
_ENDS: Final[dict[Axis, tuple[str, str]]] = {"v": ("high", "low"), "h": ("left", "right")}
_FACE: Final = "Atkinson Hyperlegible Next, Liberation Sans, Arial, sans-serif"
_MOST_TICKS: Final = 5
_LEAST_ROOM_UM: Final = 20.0
_LABEL_GAP: Final = 12.0


@dataclass(frozen=True, slots=True)
class _Panel:
    """One view: its axis, where its top lies, and the span of values it shows, in the reader's unit."""

    axis: Axis
    top: float
    low: float
    high: float

    @property
    def index(self) -> int:
        return AXES.index(self.axis)

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        # Seen from above with the gearbox at the left, right is down.
        return self.top + _TALL[self.axis] * (share if self.axis == "h" else 1.0 - share)


def profile_svg(record: SessionRecord, unit: ReaderUnit) -> str:
    """Return the drawing of a visit's cold surveys, elevation above and plan below; nothing without any.

    Parameters
    ----------
    record
        The visit.
    unit
        The reader's unit.
    """
    surveys = _shown(record)
    if not surveys:
        return ""
    places = sorted(
        {offset.station: offset for survey in surveys for offset in survey.offsets}.values(),
        key=lambda offset: offset.distance_mm,
    )
    far = max([offset.distance_mm for offset in places] + [support.distance_mm for support in record.supports]) or 1.0

    def x(distance_mm: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * distance_mm / (far * 1.04)

    per_unit = 1000.0 if unit == "mm" else 25.4
    panels, top = [], _TOP
    for axis in AXES:
        panels.append(_Panel(axis, top, *_span(axis, surveys, places, per_unit)))
        top += _TALL[axis] + _GAP
    height = top - _GAP + 34.0
    drawn = "".join(_panel(panel, record, surveys, places, x, per_unit, unit) for panel in panels)
    return (
        f'<svg class="prof" viewBox="0 0 {_WIDTH:g} {height:g}" width="{_WIDTH:g}" height="{height:g}" role="img" '
        f'aria-label="{escape(_label(record, surveys))}" font-size="11.5" font-family="{_FACE}" fill="{_INK}">'
        f"{drawn}{_stations(places, record, x, height - 30.0)}</svg>"
    )


def key_words(record: SessionRecord) -> tuple[tuple[str, str], ...]:
    """Return the key of the drawing: the mark's name and its words, for the surveys that are drawn."""
    return tuple((survey.phase, f"{say.PHASES[survey.phase]} {day(survey.measured_at)}") for survey in _shown(record))


def mark(phase: str) -> str:
    """Return the mark of a phase as a small SVG for the key."""
    return f'<svg width="14" height="14" viewBox="0 0 14 14" aria-hidden="true">{_disc(phase, 7.0, 7.0)}</svg>'


def _shown(record: SessionRecord) -> list[SessionSurvey]:
    """Return the newest as-found, else the first cold survey, and the newest as-left."""
    cold = [survey for survey in record.surveys if survey.phase != "hot" and survey.offsets]
    chosen = []
    for phase in ("as_found", "as_left"):
        chosen += [survey for survey in cold if survey.phase == phase][-1:]
    return chosen or cold[:1]


def _label(record: SessionRecord, surveys: Sequence[SessionSurvey]) -> str:
    names = " and ".join(say.PHASES[survey.phase] for survey in surveys)
    return (
        f"Profile of the bore along the barrel, {names}, {day(record.started_at)}: elevation above, plan below. "
        "The figures stand in the tables."
    )


def _span(
    axis: Axis, surveys: Sequence[SessionSurvey], places: Sequence[StationOffset], per_unit: float
) -> tuple[float, float]:
    index = AXES.index(axis)
    values = [0.0]
    for place in places:
        target, limit = place.target_um[index] or 0.0, place.limit_um[index] or 0.0
        values += [target - limit, target + limit]
    for survey in surveys:
        for offset in survey.offsets:
            values += [
                offset.cold_um[index] - offset.u95_cold_um[index],
                offset.cold_um[index] + offset.u95_cold_um[index],
            ]
    low, high = min(values), max(values)
    margin = max(0.06 * (high - low), _LEAST_ROOM_UM)
    return (low - margin) / per_unit, (high + margin) / per_unit


def _step(extent: float) -> float:
    raw = extent / _MOST_TICKS
    power = 10.0 ** math.floor(math.log10(raw))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * (1 - 1e-9))


def _line(points: Sequence[tuple[float, float]], stroke: str, width: float, dash: str = "") -> str:
    path = "".join(f"{'L' if k else 'M'}{px:.1f} {py:.1f}" for k, (px, py) in enumerate(points))
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path}" fill="none" stroke="{stroke}" stroke-width="{width:g}"{dashed}/>'


def _text(px: float, py: float, words: str, *, anchor: str = "start", weight: int = 400, ink: str = _INK) -> str:
    return (
        f'<text x="{px:.1f}" y="{py:.1f}" text-anchor="{anchor}" font-weight="{weight}" fill="{ink}">'
        f"{escape(words)}</text>"
    )


def _disc(phase: str, px: float, py: float) -> str:
    fill = _INK if phase == "as_left" else "#fff"
    ring = f'<circle cx="{px:.1f}" cy="{py:.1f}" r="4.2" fill="{fill}" stroke="{_INK}" stroke-width="1.6"/>'
    half = f'<path d="M{px:.1f} {py - 4.2:.1f}a4.2 4.2 0 0 0 0 8.4z" fill="{_INK}"/>' if phase == "interim" else ""
    return ring + half


def _runs(places: Sequence[StationOffset], index: int) -> list[list[StationOffset]]:
    """Return the stretches of neighbouring stations that have a limit: gaps stay gaps."""
    stretches: list[list[StationOffset]] = [[]]
    for place in places:
        if place.limit_um[index] is None:
            stretches.append([])
        else:
            stretches[-1].append(place)
    return [stretch for stretch in stretches if stretch]


def _panel(
    panel: _Panel,
    record: SessionRecord,
    surveys: Sequence[SessionSurvey],
    places: Sequence[StationOffset],
    x: Callable[[float], float],
    per_unit: float,
    unit: ReaderUnit,
) -> str:
    index, axis = panel.index, panel.axis
    bottom, end = panel.top + _TALL[axis], _WIDTH - _RIGHT
    side = f"; {record.right_hand_side} is right" if record.right_hand_side else ""
    heading = (
        f"Elevation, {unit}"
        if axis == "v"
        else f"Plan seen from above, {unit}, left is up, looking from the gearbox{side}"
    )
    parts = [_text(0.0, panel.top - 8.0, heading)]
    labels: list[tuple[float, str]] = [(panel.y(0.0), "gearbox axis")]
    for run in _runs(places, index):
        xs = [x(place.distance_mm) for place in run]
        xs = [xs[0] - 8.0, *xs, xs[-1] + 8.0]
        edges = {}
        for sign in (1.0, -1.0):
            ys = [panel.y(((p.target_um[index] or 0.0) + sign * (p.limit_um[index] or 0.0)) / per_unit) for p in run]
            edges[sign] = [ys[0], *ys, ys[-1]]
        outline = [*zip(xs, edges[1.0], strict=True), *reversed(list(zip(xs, edges[-1.0], strict=True)))]
        shape = " ".join(f"{px:.1f},{py:.1f}" for px, py in outline)
        parts.append(f'<polygon points="{shape}" fill="{_BAND}"/>')
        for sign in (1.0, -1.0):
            parts.append(_line(list(zip(xs, edges[sign], strict=True)), _INK, 1.2))
            labels.append((edges[sign][-1], "limit"))
        aims = [panel.y((p.target_um[index] or 0.0) / per_unit) for p in run]
        if any(p.target_um[index] for p in run):
            parts.append(_line(list(zip(xs, [aims[0], *aims, aims[-1]], strict=True)), _INK, 1.0, "14 3 3 3"))
            labels.append((aims[-1], "cold target"))
    parts.append(_line([(_LEFT, panel.y(0.0)), (end, panel.y(0.0))], _GREY, 1.0, "14 3 3 3"))
    parts += _ticks(panel)
    parts.append(_text(_LEFT - 8.0, panel.top + 4.0, _ENDS[axis][0], anchor="end", weight=600))
    parts.append(_text(_LEFT - 8.0, bottom + 4.0, _ENDS[axis][1], anchor="end", weight=600))
    for survey in surveys:
        parts += _survey(survey, panel, x, per_unit)
    parts += [_text(end + 8.0, py + 4.0, words) for py, words in _apart(labels)]
    return "".join(parts)


def _ticks(panel: _Panel) -> list[str]:
    size = _step(panel.high - panel.low)
    decimals = max(0, -math.floor(math.log10(size) + 1e-9))
    parts = []
    for n in range(math.ceil(panel.low / size), math.floor(panel.high / size) + 1):
        py = panel.y(n * size)
        parts.append(_line([(_LEFT - 5.0, py), (_LEFT, py)], _GREY, 1.0))
        near_end = min(abs(py - panel.top), abs(py - panel.top - _TALL[panel.axis])) < _LABEL_GAP
        if not near_end:
            shown = "0" if n == 0 else f"{abs(n * size):.{decimals}f}"
            parts.append(_text(_LEFT - 8.0, py + 4.0, shown, anchor="end"))
    return parts


def _survey(survey: SessionSurvey, panel: _Panel, x: Callable[[float], float], per_unit: float) -> list[str]:
    index = panel.index
    points = [(x(o.distance_mm), panel.y(o.cold_um[index] / per_unit)) for o in survey.offsets]
    parts = [_line(points, _GREY if survey.phase == "as_found" else _INK, 1.4)]
    for (px, py), offset in zip(points, survey.offsets, strict=True):
        reach = abs(panel.y(offset.u95_cold_um[index] / per_unit) - panel.y(0.0))
        if survey.phase == "as_found":
            for edge in (py - reach, py + reach):
                parts.append(_line([(px - 3.0, edge), (px + 3.0, edge)], _INK, 1.0))
            parts.append(_line([(px, py - reach), (px, py + reach)], _INK, 1.0))
        parts.append(_disc(survey.phase, px, py))
    return parts


def _apart(labels: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
    """Return labels at the right edge, the same word once where it falls together, none over another."""
    kept: list[tuple[float, str]] = []
    for py, words in sorted(labels):
        if kept and kept[-1][1] == words and py - kept[-1][0] < _LABEL_GAP:
            continue
        kept.append((max(py, kept[-1][0] + _LABEL_GAP) if kept else py, words))
    return kept


def _stations(places: Sequence[StationOffset], record: SessionRecord, x: Callable[[float], float], py: float) -> str:
    """Return the stations' codes along the foot, a triangle under each support."""
    parts, last = [], -100.0
    carried = {support.code: support for support in record.supports}
    for place in places:
        px = x(place.distance_mm)
        parts.append(_line([(px, py), (px, py + 5.0)], _GREY, 1.0))
        if px - last >= 18.0:
            parts.append(_text(px, py + 17.0, place.station, anchor="middle", weight=600))
            last = px
    parts.append(_line([(_LEFT, py), (_WIDTH - _RIGHT, py)], _GREY, 1.0))
    for support in carried.values():
        px = x(support.distance_mm)
        parts.append(f'<path d="M{px:.1f} {py - 9:.1f}l5 9h-10z" fill="none" stroke="{_INK}" stroke-width="1.2"/>')
    parts.append(_text(_WIDTH - _RIGHT + 8.0, py + 17.0, "stations; triangles"))
    parts.append(_text(_WIDTH - _RIGHT + 8.0, py + 29.0, "are supports"))
    return "".join(parts)
