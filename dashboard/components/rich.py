"""Sentences with bold words in them: built as data, shown as components, read back as plain text."""

from __future__ import annotations

from typing import Any

from dash import html


class Bold(str):
    """A stretch of a sentence that is set bold."""

    __slots__ = ()


Sentence = tuple[str, ...]
"""Stretches of text in order, some of them `Bold`."""


def plain(sentence: Sentence) -> str:
    """Return the sentence's words alone, with ordinary spaces, as a screen reader gets them."""
    return "".join(sentence).replace("\u00a0", " ")


def rich(sentence: Sentence) -> list[Any]:
    """Return the sentence as children of a paragraph."""
    return [html.B(str(part)) if isinstance(part, Bold) else part for part in sentence]


def pieces(parts: tuple[tuple[str, bool], ...]) -> Sentence:
    """Return a report's pieces of text and emphasis as a sentence."""
    return tuple(Bold(text) if strong else text for text, strong in parts)
