"""What stands on a history beside its visits: rate, over-by bar, events, changed targets, today."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import Any, Final

from dashboard.components import numbers
from dashboard.figures import frame
from dashboard.figures.frame import Figure
from dashboard.figures.palette import colour
from fleet import words
from fleet.services.limits import Band
from fleet.services.line_history import History
from fleet.services.line_page import LineView
from fleet.words import NBSP, ReaderUnit

_FADES: Final = 12
"""Pieces of the over-by bar, each denser than the one before."""
_LABEL_SHARE: Final = 0.25
"""How much of the time axis the words of the over-by bar take."""
_LATE_SHARE: Final = 0.72
"""From here on the time axis there is no room for the words of the rate."""


def moment(value: date | datetime) -> str:
    """Return a moment as the drawing library reads it: the site's own clock."""
    return (
        value.replace(tzinfo=None).isoformat(timespec="minutes") if isinstance(value, datetime) else value.isoformat()
    )


def day_of(value: date | datetime) -> date:
    """Return the day of a moment or a day."""
    return value.date() if isinstance(value, datetime) else value


def draw_rates(figure: Figure, history: History, unit: ReaderUnit, *, phone: bool) -> None:
    """Write the present rate, where it is more than its uncertainty, beside the newest drift line that can carry it."""
    rate, u95 = history.rate_um_per_year, history.u95_rate_um_per_year
    if rate is None or u95 is None or abs(rate) <= u95 or phone:
        return
    lines = [
        (before, after)
        for before, after in pairwise(history.points)
        if after.joins == "drift" and (after.at - before.at).days > 120
    ]
    if not lines:
        return
    before, after = lines[-1]
    at = before.at + (after.at - before.at) * 0.25
    first, last = (datetime.fromisoformat(end) for end in figure["layout"]["xaxis"]["range"])
    if (at.replace(tzinfo=None) - first) / (last - first) > _LATE_SHARE:
        # The words would run into the names of the limits; the lead and the note under the drift table say the rate.
        return
    figure["layout"]["annotations"].append(
        {
            "x": moment(at),
            "xref": "x",
            "yref": "y",
            "y": numbers.scaled(before.deviation_um + (after.deviation_um - before.deviation_um) * 0.25, unit),
            "text": f"{words.said(rate, history.axis, 'movement', unit)} per year {words.plus_minus(u95, unit)}",
            "showarrow": False,
            "xanchor": "left",
            "xshift": 6,
            "yanchor": "bottom",
            "yshift": 2,
            "bgcolor": "rgba(255,255,255,0.75)",
            "borderpad": 1,
        }
    )


def draw_over_by(
    figure: Figure, view: LineView, history: History, unit: ReaderUnit, last: date, *, down: bool, phone: bool
) -> None:
    """Draw the bar on the limit line from the day of 10 % to that of 90 %, growing denser, with its dates in words."""
    if history.limit_um is None or history.over_p10 is None or history.over_p10 >= last:
        return
    leaning = history.fan[-1].mean_um if history.fan else (history.points[-1].deviation_um)
    side = 1.0 if leaning > 0 else -1.0
    y = side * numbers.scaled(history.limit_um, unit)
    begin, finish = history.over_p10, history.over_p90 or view.horizon
    shapes = figure["layout"]["shapes"]
    on_line = {"xref": "x", "yref": "y", "ysizemode": "pixel", "yanchor": y}
    length = (finish - begin) / _FADES
    for number in range(_FADES):
        start = begin + length * number
        if start >= last:
            break
        stop = min(begin + length * (number + 1), last)
        shapes.append(
            {
                "type": "rect",
                **on_line,
                "x0": moment(start),
                "x1": moment(stop),
                "y0": -4.5,
                "y1": 4.5,
                "fillcolor": colour("over"),
                "opacity": 0.25 + 0.75 * number / (_FADES - 1),
                "line": {"width": 0},
                "layer": "above",
            }
        )
    if history.over_p50 is not None and history.over_p50 < last:
        shapes.append(
            {
                "type": "line",
                **on_line,
                "x0": moment(history.over_p50),
                "x1": moment(history.over_p50),
                "y0": -8,
                "y1": 8,
                "line": {"color": colour("ink"), "width": 3},
                "layer": "above",
            }
        )
    stretch = words.month(begin)
    if history.over_p90 is None:
        stretch = f"10 % by {stretch}"
    else:
        ends = words.month(history.over_p90)
        if ends == stretch:
            pass
        elif ends.split(NBSP)[1] == stretch.split(NBSP)[1]:
            stretch = f"{stretch.split(NBSP)[0]} – {ends}"
        else:
            stretch = f"{stretch} – {ends}"
        stretch = f"{'passed the limit' if history.over_p90 <= view.as_of else 'over by'} {stretch}"
    half = f",<br>50 % by {words.month(history.over_p50)}" if history.over_p50 and not phone else ""
    if _record_beyond(history, begin, last, side):
        # The words would cover what was measured; the sentence under the figure says the same.
        return
    # Beyond the limit, away from the record, and left of the bar's end: there the fan is not drawn yet.
    beyond = (side > 0) if down else (side < 0)
    figure["layout"]["annotations"].append(
        {
            "x": moment(min(begin, last)),
            "xref": "x",
            "y": y,
            "yref": "y",
            "xanchor": "right",
            "xshift": 0,
            "yanchor": "top" if beyond else "bottom",
            "yshift": -8 if beyond else 8,
            "align": "right",
            "text": f"<b>{stretch}{half}</b>",
            "showarrow": False,
            "font": {"color": colour("over")},
            "bgcolor": "rgba(255,255,255,0.75)",
            "borderpad": 1,
        }
    )


def _record_beyond(history: History, begin: date, last: date, side: float) -> bool:
    """Return whether a measured point lies past the limit where the words of the over-by bar would stand."""
    if history.limit_um is None or not history.points:
        return False
    reach = (last - day_of(history.points[0].at)) * _LABEL_SHARE
    return any(
        side * point.deviation_um + point.u95_um > history.limit_um and begin - reach <= day_of(point.at) <= begin
        for point in history.points
    )


def draw_events(figure: Figure, history: History, first: date, last: date, *, phone: bool) -> None:
    """Draw each event as a line with a flag and its words, staggered where they would cover each other."""
    shapes, notes = figure["layout"]["shapes"], figure["layout"]["annotations"]
    days = (last - first).days
    taken = [-1e9, -1e9]
    for event in sorted(history.events, key=lambda event: event.at):
        if not first <= day_of(event.at) <= last:
            continue
        x = moment(event.at)
        shapes += [
            {
                "type": "line",
                "xref": "x",
                "x0": x,
                "x1": x,
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": {"color": colour("ink-2"), "width": 1},
                "layer": "below",
            },
            {
                "type": "path",
                "xref": "x",
                "yref": "paper",
                "xsizemode": "pixel",
                "ysizemode": "pixel",
                "xanchor": x,
                "yanchor": 1,
                "path": "M0,0 L0,13 L9,13 L6,9.5 L9,6 L0,6",
                "fillcolor": colour("ink-2"),
                "line": {"color": colour("ink-2"), "width": 1},
                "layer": "above",
            },
        ]
        said = frame.literal(event.kind) + (", the trend starts anew" if event.resets_trend and not phone else "")
        at = (day_of(event.at) - first).days / days * (330 if phone else 1080)
        wide = 20 + 6.6 * len(said)
        row = next((number for number, until in enumerate(taken) if at > until), None)
        if row is None:
            continue  # the list of events under the figure names it
        taken[row] = at + wide
        notes.append(
            {
                "x": x,
                "xref": "x",
                "y": 1,
                "yref": "paper",
                "text": said,
                "showarrow": False,
                "xanchor": "left",
                "xshift": 13,
                "yanchor": "bottom",
                "yshift": 1 + 15 * row,
            }
        )


def draw_target_changes(
    figure: Figure, history: History, unit: ReaderUnit, first: date, last: date, *, phone: bool
) -> None:
    """Draw each change of target as a small open pair of rails on the lower edge, the newest with its words."""
    view_middle = first + (last - first) / 2
    shapes, notes = figure["layout"]["shapes"], figure["layout"]["annotations"]
    for number, change in enumerate(history.target_changes):
        if day_of(change.at) < first:
            continue
        x = moment(change.at)
        shapes += [
            {
                "type": "line",
                "xref": "x",
                "x0": x,
                "x1": x,
                "yref": "paper",
                "y0": 0,
                "y1": 0.9,
                "line": {"color": colour("ink-2"), "width": 1, "dash": "1px,3px"},
                "layer": "below",
            },
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "xsizemode": "pixel",
                "ysizemode": "pixel",
                "xanchor": x,
                "yanchor": 0,
                "x0": -6,
                "x1": 6,
                "y0": 6,
                "y1": 13,
                "fillcolor": colour("sheet"),
                "line": {"color": colour("ink"), "width": 1.2},
                "layer": "above",
            },
        ]
        before = words.said(change.before_um, history.axis, "offset", unit, with_unit=False)
        after = words.said(change.after_um, history.axis, "offset", unit, with_unit=False)
        if number == len(history.target_changes) - 1:
            late = change.at.date() > view_middle
            text = "target changed" if phone else f"target changed, {before} to {after}"
            notes.append(_beside(x, text, left=late, away=11, up=10))


def _beside(x: Any, text: str, *, left: bool, away: int, up: int) -> dict[str, Any]:
    """Return words beside a day's mark on the lower edge, `away` and `up` pixels from it."""
    return {
        "x": x,
        "xref": "x",
        "y": 0,
        "yref": "paper",
        "text": text,
        "showarrow": False,
        "xanchor": "right" if left else "left",
        "xshift": -away if left else away,
        "yanchor": "middle",
        "yshift": up,
        "bgcolor": "rgba(255,255,255,0.75)",
        "borderpad": 1,
    }


def draw_limit_changes(
    figure: Figure, bands: Sequence[Band], unit: ReaderUnit, first: date, last: date, *, phone: bool
) -> None:
    """Draw the day of each new limit as a dotted line up to the corridor's step, the newest with its words."""
    shapes, notes = figure["layout"]["shapes"], figure["layout"]["annotations"]
    changes = [(band, before) for before, band in pairwise(bands) if band.from_on is not None]
    for number, (band, before) in enumerate(changes):
        if band.from_on is None or not first <= band.from_on <= last:
            continue
        x = moment(band.from_on)
        shapes.append(
            {
                "type": "line",
                "name": "limit changed",
                "xref": "x",
                "x0": x,
                "x1": x,
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": {"color": colour("ink-2"), "width": 1, "dash": "1px,3px"},
                "layer": "below",
            }
        )
        if number == len(changes) - 1:
            was, now = (
                "none" if width is None else words.figure(width, unit) for width in (before.limit_um, band.limit_um)
            )
            late = band.from_on > first + (last - first) / 2
            text = "limit changed" if phone else f"limit changed, {was} to {now}"
            notes.append(_beside(x, text, left=late, away=7, up=28))


def draw_today(figure: Figure, today: date) -> None:
    """Draw the line of today with its inverted label."""
    figure["layout"]["shapes"].append(
        {
            "type": "line",
            "xref": "x",
            "x0": moment(today),
            "x1": moment(today),
            "yref": "paper",
            "y0": 0,
            "y1": 1,
            "line": {"color": colour("ink"), "width": 1.5},
            "layer": "above",
        }
    )
    figure["layout"]["annotations"].append(
        {
            "x": moment(today),
            "xref": "x",
            "y": 1,
            "yref": "paper",
            "yanchor": "bottom",
            "yshift": 18,
            "text": "<b>today</b>",
            "showarrow": False,
            "bgcolor": colour("ink"),
            "font": {"color": colour("sheet")},
            "borderpad": 2,
        }
    )
