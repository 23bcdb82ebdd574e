"""What is entered beside a visit: a running check, an hour meter, an event, wear; kept on the device until stored."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import quote

from dash import html

from dashboard.address import Address
from dashboard.components import numbers, running_cautions
from dashboard.components.foot import foot
from dashboard.components.record_boxes import box, button, chosen, data, top
from dashboard.pages.page import Shown
from fleet import words
from fleet.services.recording.beginning import BeginView
from fleet.services.rise_meaning import RiseMeaning
from fleet.values import AXES, Axis
from fleet.words import ReaderUnit

TITLES: Final[dict[str, str]] = {
    "running": "Enter a running check",
    "meter": "Read the hour meter",
    "event": "Enter an event",
    "wear": "Enter measured wear",
}
_EVENTS: Final = (
    "barrel changed",
    "screw changed",
    "gearbox changed",
    "foundation work",
    "flange re-torqued",
    "struck",
)


def form_page(what: str, view: BeginView, address: Address) -> Shown:
    """Return one of the small forms for a line.

    Parameters
    ----------
    what
        `running`, `meter`, `event` or `wear`.
    """
    unit = address.unit
    now = view.now.strftime("%Y-%m-%dT%H:%M")
    made = {
        "running": lambda: _running(view, unit, now),
        "meter": lambda: _meter(now),
        "event": lambda: _event(view, now),
        "wear": lambda: _wear(unit, now),
    }[what]()
    action = f"/drafts/enter/{what}?line={quote(view.line, safe='')}&unit={unit}"
    if what == "running":
        ways: list[Any] = [
            button("Say what it means", main=True, send=f"{action}&look=yes"),
            html.Div(className="answer", hidden=True, role="status", **data(answer="")),
            html.Div([button("Store it", main=True, send=action)], className="ch", hidden=True, **data(after="")),
        ]
    else:
        ways = [
            button("Store it", main=True, send=action),
            html.Div(className="answer", hidden=True, role="status", **data(answer="")),
        ]
    form = html.Section(
        [
            *made,
            html.P(hidden=True, className="said", role="alert", **data(of_form="")),
            html.Div(ways, className="ch"),
        ],
        className="rcform",
        **data(form=f"{what}:{view.line}", action=action, zone=view.zone),
    )
    body: list[Any] = [top(view.line, TITLES[what])]
    if what == "running":
        body += running_cautions.panels()
    body.append(form)
    return Shown(f"{TITLES[what]}, {view.line}", [html.Div([*body, foot(unit, view.right_hand_side)], className="rc")])


def _sheet(title: str, *fields: Any) -> html.Div:
    return html.Div([html.H2(title), html.Div(list(fields), className="fields")], className="sheet")


def _who() -> html.Div:
    return box("technician", "Your name", wide=True)


def _running(view: BeginView, unit: ReaderUnit, now: str) -> list[Any]:
    side = f" (right is the {view.right_hand_side})" if view.right_hand_side else ""
    rows = [
        html.Div(
            [
                html.B(code),
                box(
                    f"v_rise.{code}",
                    "vertical, + higher",
                    "reading",
                    spoken=f"Vertical rise at station {code}, + higher",
                ),
                box(
                    f"h_rise.{code}",
                    "horizontal, + to the right",
                    "reading",
                    spoken=f"Horizontal rise at station {code}, + to the right",
                ),
            ],
            className="risebox",
        )
        for code, _ in view.stations
    ]
    rises = html.Div(
        [
            html.H2("How far each station rose"),
            html.P(
                f"From cold to running, as measured; + is higher, or to the right{side}. Leave empty what was not "
                "measured.",
                className="dim",
            ),
            *rows,
            html.Div(
                [
                    chosen(
                        "unit", "Lengths are typed in", [("mm", "mm"), ("thou", "thou"), ("in", "inch"), ("um", "um")],
                        first=unit, one=True,
                    ),
                    box("u", "Standard uncertainty of a rise, if known", "decimal"),
                ],
                className="fields",
            ),
        ],
        className="sheet",
    )  # fmt: skip
    return [
        _sheet(
            "When and how",
            _who(),
            box("checked_at", "Checked at, local time at the site", "moment", first=now),
            box("hours_since_heats_on", "Hours since the heats went on", "decimal", unit="h"),
            chosen(
                "relative_to",
                "Measured from",
                [("gearbox_axis", "gearbox axis"), ("floor", "floor")],
                first="gearbox_axis",
                one=True,
            ),
            html.Div(
                box("gearbox_rise", "The gearbox axis rose from the floor by", "reading"),
                hidden=True,
                **data(**{"if": "relative_to=floor"}),
            ),
            box("method", "How it was measured", wide=True),
        ),
        rises,
        _sheet(
            "Temperatures",
            box("barrel_c", "Barrel", "decimal", unit="°C"),
            box("gearbox_c", "Gearbox", "decimal", unit="°C"),
            box("base_c", "Base", "decimal", unit="°C"),
            chosen("gearbox_c_at", "Gearbox taken at", [("casing_mean", "casing, mean"), ("oil", "oil")]),
            box("zero_barrel_c", "Barrel when the zero was taken", "decimal", unit="°C"),
            box("zero_gearbox_c", "Gearbox when the zero was taken", "decimal", unit="°C"),
            box("zero_base_c", "Base when the zero was taken", "decimal", unit="°C"),
            chosen("screw", "Screw", [("in", "in"), ("out", "out")]),
            chosen("die", "Die", [("on", "on"), ("off", "off")]),
        ),
    ]


def _meter(now: str) -> list[Any]:
    return [
        _sheet(
            "Hour meter",
            _who(),
            box("read_at", "Read at, local time at the site", "moment", first=now),
            box("running_hours", "Running hours it shows", "decimal", unit="h"),
            box("starts", "Starts, if it counts them", "whole"),
        )
    ]


def _event(view: BeginView, now: str) -> list[Any]:
    return [
        _sheet(
            "What may change how the line moves",
            _who(),
            box("happened_at", "When, local time at the site", "moment", first=now),
            box("kind", "What kind"),
            html.Div(chosen("kind", "Usual kinds", [(kind, kind) for kind in _EVENTS[:3]]), className="wide"),
            chosen(
                "resets_trend", "Rates before it speak for what comes after", [("no", "yes"), ("yes", "no")],
            ),
            box("station", "Only at station", hint=", ".join(code for code, _ in view.stations)),
            box("support", "Only at support", hint=", ".join(view.supports)),
            box("note", "In words", "long", wide=True),
        )
    ]  # fmt: skip


def _wear(unit: ReaderUnit, now: str) -> list[Any]:
    return [
        _sheet(
            "A measured diameter",
            _who(),
            chosen("asset_kind", "Of a", [("barrel", "barrel"), ("screw", "screw")], first="barrel", one=True),
            box("asset", "Its serial number"),
            box("measured_at", "Measured at, local time at the site", "moment", first=now),
            box("distance_mm", "Distance along it", "decimal", unit="mm"),
            chosen(
                "unit",
                "Diameters are typed in",
                [("mm", "mm"), ("in", "inch")],
                first="in" if unit == "thou" else "mm",
                one=True,
            ),
            box("diameter_v", "Diameter, vertical", "decimal"),
            box("diameter_h", "Diameter, horizontal", "decimal"),
            box("method", "How it was measured", wide=True),
        )
    ]


def rise_sentences(risen: tuple[RiseMeaning, ...], unit: ReaderUnit, right_hand_side: str | None) -> tuple[str, ...]:
    """Return what typed rises mean in words, a sentence or two a station."""
    return tuple(_rise(each, unit, right_hand_side) for each in risen)


def _rise(each: RiseMeaning, unit: ReaderUnit, right_hand_side: str | None) -> str:
    def told(um: float, axis: Axis, kind: words.Kind) -> str:
        text = words.said(um, axis, kind, unit, fine=True)
        side = numbers.right_word(words.direction(um, axis, kind, unit, fine=True), right_hand_side)
        return f"{text} {side}".strip()

    def pair(um: tuple[float, float | None], kind: words.Kind) -> str:
        return " and ".join(told(value, axis, kind) for value, axis in zip(um, AXES, strict=True) if value is not None)

    parts = [f"Station {each.station}: {pair(each.rise_um, 'movement')} running than cold"]
    if each.from_axis_um is None:
        parts[0] += ", from the floor. The gearbox’s own rise is taken off by the heat model, because none is typed."
        return " ".join(parts)
    if each.from_axis_um != each.rise_um:
        parts[0] += f" from the floor, {pair(each.from_axis_um, 'movement')} from the gearbox axis"
    else:
        parts[0] += ", from the gearbox axis"
    if each.left_um is None or each.left_at is None or each.ran_um is None:
        parts[0] += ". No as-left of it is on record, so where it ran cannot be told."
        return " ".join(parts)
    left = each.left_um if each.rise_um[1] is not None else (each.left_um[0], None)
    parts[0] += f"; as-left {pair(left, 'offset')}, {words.day(each.left_at)}: it ran {pair(each.ran_um, 'running')}."
    if each.warm_zero:
        parts.append("Its zero was taken warm: the modelled rise up to that is added when it is reduced.")
    return " ".join(parts)
