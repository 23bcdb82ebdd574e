"""Components of `dash.html` as text of a page, for what a script puts in place itself."""

from __future__ import annotations

from html import escape
from typing import Any, Final

from dash.development.base_component import Component

_NAMES: Final = {"className": "class", "htmlFor": "for", "tabIndex": "tabindex"}
_NOT_SAID: Final = ("children", "disable_n_clicks", "n_clicks", "id", "key")
_ALONE: Final = ("br", "hr", "img", "wbr")


def to_html(node: Any) -> str:
    """Return components as the text a browser reads; all words and attributes escaped.

    Parameters
    ----------
    node
        A component of `dash.html`, a text, a number, or a list of them; None is nothing.

    Raises
    ------
    TypeError
        Something in it is no component of `dash.html`.
    """
    if node is None or isinstance(node, bool):
        return ""
    if isinstance(node, (list, tuple)):
        return "".join(to_html(each) for each in node)
    if not isinstance(node, Component):
        return escape(str(node), quote=False)
    if not type(node).__module__.startswith("dash.html"):
        raise TypeError(f"{type(node).__name__} lives by its own script and cannot be written as plain text.")
    tag = type(node).__name__.lower()
    said = node.to_plotly_json()["props"]  # type: ignore[no-untyped-call]
    attributes = "".join(_attribute(name, value) for name, value in said.items() if name not in _NOT_SAID)
    named = said.get("id")
    if isinstance(named, str):
        attributes += f' id="{escape(named)}"'
    if tag in _ALONE:
        return f"<{tag}{attributes}>"
    return f"<{tag}{attributes}>{to_html(said.get('children'))}</{tag}>"


def _attribute(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    name = _NAMES.get(name, name)
    if value is True:
        return f" {name}"
    if name == "style":
        value = ";".join(f"{_dashed(part)}:{text}" for part, text in value.items())
    return f' {name}="{escape(str(value))}"'


def _dashed(name: str) -> str:
    return "".join(f"-{letter.lower()}" if letter.isupper() else letter for letter in name)
