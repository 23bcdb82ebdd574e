"""Little pictures of a profile before and after, between two rails.

Each is a few drawn shapes that the style sheet fills with its own inks, so that dark theme and print follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from dash import html

from dashboard.components.aria import aria

_WIDTH: Final = 132.0
_HEIGHT: Final = 60.0
_MIDDLE: Final = 30.0
_RAIL: Final = 24.0
_LEFT: Final = 8.0
_RIGHT: Final = 124.0
_TOO_SMALL: Final = 4.0
_DRAWN_LARGER: Final = 10.0
_ROOM: Final = 27.0


@dataclass(frozen=True, slots=True)
class Scale:
    """How a part is drawn: pixels per um, and whether that is larger or smaller than between the limits."""

    px_per_um: float
    note: str


def scale(drawn_um: Sequence[float], limit_um: float | None) -> Scale:
    """Return the scale for one part; rails are the limits unless the part is too small or too large to be seen so.

    Parameters
    ----------
    drawn_um
        What the part does at every station, (n,). [um]
    limit_um
        The limit the rails stand for; None: none is recorded, the part is drawn as large as fits. [um]
    """
    largest = max((abs(um) for um in drawn_um), default=0.0)
    if largest == 0.0:
        return Scale(0.0, "")
    if not limit_um:
        return Scale(_RAIL / largest, "not to scale")
    usual = _RAIL / limit_um
    if largest * usual < _TOO_SMALL:
        return Scale(_DRAWN_LARGER / largest, "drawn larger")
    if largest * usual > _ROOM:
        return Scale(_ROOM / largest, "drawn smaller")
    return Scale(usual, "")


def picture(
    distance_mm: Sequence[float], drawn_um: Sequence[float], at_scale: Scale, *, up_is_plus: bool, label: str
) -> html.Div:
    """Return the picture: grey before, ink after.

    Parameters
    ----------
    distance_mm, drawn_um
        Stations from the flange [mm], and what happened at each [um]; (n,).
    at_scale
        From `scale`.
    up_is_plus
        Plus is drawn up (elevation); otherwise down (plan from above, right is down).
    label
        What a screen reader is told.
    """
    far = max(distance_mm, default=0.0) or 1.0
    x = [_LEFT + (_RIGHT - _LEFT) * mm / far for mm in distance_mm]
    sign = -1.0 if up_is_plus else 1.0
    y = [_MIDDLE + sign * um * at_scale.px_per_um for um in drawn_um]
    places = list(zip(x, y, strict=True))
    before = f"<path d='M{_LEFT} {_MIDDLE}H{_RIGHT}' stroke='#000' stroke-width='1.3'/>" + "".join(
        f"<circle cx='{px:.1f}' cy='{_MIDDLE}' r='1.8'/>" for px in x
    )
    line = "".join(f"{'L' if k else 'M'}{px:.1f} {py:.1f}" for k, (px, py) in enumerate(places))
    after = f"<path d='{line}' fill='none' stroke='#000' stroke-width='1.4'/>"
    dots = "".join(f"<circle cx='{px:.1f}' cy='{py:.1f}' r='3.3'/>" for px, py in places)
    holes = "".join(f"<circle cx='{px:.1f}' cy='{py:.1f}' r='1.9'/>" for px, py in places)
    layers = (("before", before), ("after", after + dots), ("holes", holes))
    return html.Div(
        [html.I(className=f"lay {name}", style=_mask(shapes)) for name, shapes in layers],
        className="little",
        role="img",
        **aria(label=label),
    )


def _mask(shapes: str) -> dict[str, Any]:
    svg = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {_WIDTH:.0f} {_HEIGHT:.0f}'>{shapes}</svg>"
    image = f'url("data:image/svg+xml,{quote(svg)}")'
    return {"maskImage": image, "WebkitMaskImage": image}
