"""Status marks and the axis sketch as inline SVG: prints and files carry them as shapes, never as colour.

Two rails are the limits; the news is what lies between or outside them. A mark never stands without its word.
"""

from __future__ import annotations

from html import escape
from typing import Final

from fleet.values import Status

STATUS_CLASS: Final[dict[Status, str]] = {
    "over": "over",
    "due": "due",
    "watch": "watch",
    "within": "within",
    "no record": "none",
}
STATUS_PATHS: Final[dict[Status, str]] = {
    "over": (
        '<path d="M1 10.5h16M1 16.5h16" stroke="currentColor" stroke-width="1.7"/>'
        '<path d="M4.5 1h9v7h-9z" fill="currentColor"/>'
    ),
    "due": (
        '<path d="M1 6.2h5.2M11.4 6.2H17M1 15.5h16" stroke="currentColor" stroke-width="1.7"/>'
        '<path d="M3 13 12 3" stroke="currentColor" stroke-width="2.3"/>'
        '<path d="M14.6.6 13.4 7 8.6 2.5z" fill="currentColor"/>'
    ),
    "watch": (
        '<path d="M1 2.5h16M1 15.5h16" stroke="currentColor" stroke-width="1.7"/>'
        '<circle cx="9" cy="7.4" r="3" fill="none" stroke="currentColor" stroke-width="2"/>'
    ),
    "within": (
        '<path d="M1 2.5h16M1 15.5h16" stroke="currentColor" stroke-width="1.7"/>'
        '<path d="M6 9h6" stroke="currentColor" stroke-width="2.6"/>'
    ),
    "no record": (
        '<path d="M1 2.5h16M1 15.5h16" stroke="currentColor" stroke-width="1.7" stroke-dasharray="2.6 1.9"/>'
    ),
}
_LONGEST_SIDE_IN_SKETCH: Final = 18


def status_svg(status: Status, size: int = 20) -> str:
    """Return the shape of a status as inline SVG in the current colour; screen readers hear its word."""
    return f'<svg width="{size}" height="{size}" viewBox="0 0 18 18" aria-hidden="true">{STATUS_PATHS[status]}</svg>'


def status_mark(status: Status, size: int = 20, extra_class: str = "") -> str:
    """Return the shape and the word of a status, the only way a status is shown."""
    classes = " ".join(filter(None, ("sti", extra_class, STATUS_CLASS[status])))
    return f'<span class="{classes}">{status_svg(status, size)}{status}</span>'


def axis_sketch(right_hand_side: str | None = None) -> str:
    """Return the small sketch of the two directions: gearbox, its axis toward the discharge end, v up, h to the right.

    A plant's word for the right-hand side stands in it where it is short enough; the note beside always carries it.
    """
    side = "" if right_hand_side is None else escape(right_hand_side)
    label = (
        "Axis sketch: vertical plus is high; horizontal plus is right"
        + (f", the {side}" if side else "")
        + ", looking from the gearbox toward the discharge end"
    )
    in_sketch = (
        f'<text x="88" y="89" font-weight="400">({side})</text>'
        if right_hand_side and len(right_hand_side) <= _LONGEST_SIDE_IN_SKETCH
        else ""
    )
    return (
        f'<svg class="axes" width="170" height="80" viewBox="0 0 196 92" role="img" aria-label="{label}"'
        ' font-size="11.5" font-weight="500" fill="currentColor">'
        '<path d="M8 34h26v34H8zM8 34l8-8h26l-8 8M34 68l8-8V26" fill="none" stroke="currentColor"/>'
        '<path d="M38 47H176" stroke="currentColor" stroke-dasharray="14 3 3 3"/><path d="M182 47l-8-3.5v7z"/>'
        '<path d="M100 47V14M100 47L78 69" fill="none" stroke="currentColor" stroke-width="1.8"/>'
        '<path d="M100 8l-4 8h8z"/><path d="M73 74l8.5-2.7-5.8-5.8z"/>'
        '<text x="108" y="18">v + high</text><text x="88" y="76">h + right</text>'
        f'{in_sketch}<text x="136" y="62">discharge</text><text x="3" y="86">gearbox</text></svg>'
    )
