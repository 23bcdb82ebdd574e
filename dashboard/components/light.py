"""Elements of a page as plain data, for what stands on it a thousand times.

A component of `dash.html` looks through its properties when it is made and again when it is sent; for the rows of a
large table that is most of a page's time. These are what such a component becomes on its way to the browser.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class Element(dict[str, Any]):
    """An element as it is sent: its type, its library and its properties, which read as attributes too."""

    __slots__ = ()

    def __getattr__(self, name: str) -> Any:
        try:
            return self["props"][name]
        except KeyError:
            raise AttributeError(f"this {self['type']} has no {name}") from None


def _maker(kind: str, library: str = "dash_html_components") -> Callable[..., Element]:
    def make(children: Any = None, **properties: Any) -> Element:
        if children is not None:
            properties["children"] = children
        return Element(type=kind, namespace=library, props=properties)

    make.__doc__ = f"Return a {kind}; children and properties as a component of Dash takes them."
    return make


B = _maker("B")
Br = _maker("Br")
Col = _maker("Col")
Colgroup = _maker("Colgroup")
Details = _maker("Details")
Div = _maker("Div")
H2 = _maker("H2")
H3 = _maker("H3")
Header = _maker("Header")
I = _maker("I")  # noqa: E741 - the element's own name
Li = _maker("Li")
Link = _maker("Link", "dash_core_components")
Nav = _maker("Nav")
Ol = _maker("Ol")
P = _maker("P")
Section = _maker("Section")
Small = _maker("Small")
Span = _maker("Span")
Summary = _maker("Summary")
Table = _maker("Table")
Tbody = _maker("Tbody")
Td = _maker("Td")
Th = _maker("Th")
Thead = _maker("Thead")
Tr = _maker("Tr")
Ul = _maker("Ul")
