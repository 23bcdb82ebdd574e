"""What can be typed into and pressed on Record: empty elements that say what they are, filled by `assets/draft.js`.

A box belongs to the script, because what a page redraws would be taken from under the person typing.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Literal

from dash import html

from dashboard.components.aria import aria

BoxKind = Literal["reading", "decimal", "whole", "text", "long", "moment"]


def data(**told: str | None) -> dict[str, Any]:
    """Return `data-*` properties, without those that are None: `data(box="unit")` becomes {'data-box': 'unit'}."""
    return {f"data-{name.replace('_', '-')}": value for name, value in told.items() if value is not None}


def box_id(field: str) -> str:
    """Return the id of the input that the script makes for a field; the script makes it in the same way."""
    return "box-" + "".join(
        letter if letter.isascii() and (letter.isalnum() or letter in "_-") else "_" for letter in field
    )


def box(
    field: str,
    label: str,
    kind: BoxKind = "text",
    *,
    spoken: str | None = None,
    unit: str | None = None,
    axis: str | None = None,
    big: bool = False,
    first: str | None = None,
    hint: str | None = None,
    wide: bool = False,
    hide_label: bool = False,
) -> html.Div:
    """Return a labelled box for one field.

    Parameters
    ----------
    field
        The name it is sent under.
    label, spoken
        What stands above it, and what a screen reader is told where that has to say more.
    unit
        The unit beside it.
    axis
        v or h, for a reading.
    big
        40 px figures; otherwise the size of text.
    first
        What a form proposes; for drafts the record knows better.
    hide_label
        Leave the label to screen readers, where a column or row heads it.
    """
    return html.Div(
        [
            html.Label(label, htmlFor=box_id(field), className="vh" if hide_label else None),
            html.Div(
                className="ib" if big else "ib low",
                **data(box=field, kind=kind, label=spoken or label, unit=unit, axis=axis, first=first, hint=hint),
            ),
            html.P(className="prob", hidden=True, **data(prob=field)),
        ],
        className="in wide" if wide else "in",
    )


def choice(
    field: str, label: str, options: Sequence[tuple[str, str]], *, first: str | None = None, one: bool = False
) -> html.Div:
    """Return a row of buttons that sets one field; pressing the pressed one again takes it back, unless `one`.

    Parameters
    ----------
    options
        What each sets, and the word on it.
    """
    return html.Div(
        [
            html.Button(word, type="button", **data(value=value), **aria(pressed="false"), disable_n_clicks=True)
            for value, word in options
        ],
        className="two2",
        role="group",
        **data(choice=field, first=first, one="" if one else None),
        **aria(label=label),
    )


def chosen(field: str, label: str, options: Sequence[tuple[str, str]], **more: Any) -> html.Div:
    """Return a choice with its label above it."""
    return html.Div([html.Span(label, className="lb"), choice(field, label, options, **more)], className="in")


def button(
    text: Any,
    *,
    main: bool = False,
    entries: Sequence[tuple[str, str]] = (),
    go: str | None = None,
    focus: str | None = None,
    disabled: bool = False,
    **told: str | None,
) -> html.Button:
    """Return a button that types, leads on, or both.

    Parameters
    ----------
    entries
        Fields and texts it types.
    go, focus
        The step it leads to, the field it leads to.
    told
        Further `data-*` properties: `reveal`, `send`, `act`, `onward`.
    """
    typed = json.dumps([list(entry) for entry in entries], ensure_ascii=False) if entries else None
    return html.Button(
        text,
        type="button",
        className="btn main" if main else "btn",
        disabled=disabled,
        disable_n_clicks=True,
        **data(entries=typed, go=go, focus=focus, **told),
    )


def panel(name: str, children: Any, class_name: str | None = None) -> html.Div:
    """Return a part of the page that the server makes anew whenever it has stored something."""
    return html.Div(children, className=class_name, **data(panel=name))


def strip() -> list[Any]:
    """Return the strip that says where what was typed is, and what reads its changes aloud."""
    return [
        html.P(className="kept", **data(strip="")),
        html.P(className="vh", role="status", **data(announce="")),
    ]


def not_yet(text: str = "Kept, not reduced yet.") -> html.P:
    """Return what stands above server-made figures while something typed is not in them."""
    return html.P(text, className="not-yet")


def top(crumb: str, title: str | None) -> html.Div:
    """Return the head of every page of Record; without a title the script puts the step's own there."""
    heading = html.H1(title) if title is not None else html.H1(tabIndex="-1", **data(heading=""))
    return html.Div([html.Div([html.P(crumb, className="crumb"), heading]), *strip()], className="top")
