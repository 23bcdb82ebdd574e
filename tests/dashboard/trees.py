"""Reading component trees: every element, and the words a reader gets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dash.development.base_component import Component

from dashboard.components.light import Element


def walk(node: Any) -> Iterator[Component | Element]:
    """Yield every component of a tree, outer first."""
    if isinstance(node, (list, tuple)):
        for child in node:
            yield from walk(child)
    elif isinstance(node, (Component, Element)):
        yield node
        yield from walk(getattr(node, "children", None))


def kind_of(node: Component | Element) -> str:
    """Return what an element is: 'Td', 'Link'."""
    return str(node["type"] if isinstance(node, Element) else type(node).__name__)


def words_of(node: Any) -> str:
    """Return all text of a tree in reading order, with ordinary spaces."""
    if node is None:
        return ""
    if isinstance(node, (list, tuple)):
        return "".join(words_of(child) for child in node)
    if isinstance(node, (Component, Element)):
        return words_of(getattr(node, "children", None))
    return str(node).replace("\u00a0", " ")


def with_class(node: Any, name: str) -> list[Component | Element]:
    """Return the components that carry a class."""
    return [found for found in walk(node) if name in (getattr(found, "className", None) or "").split()]
