"""Typed names: kept as typed, marked, and refused where there is nothing to keep."""

from __future__ import annotations

import pytest

from fleet.errors import InputError
from fleet.services.people import unverified


def test_a_typed_name_is_kept_and_marked_as_not_verified() -> None:
    assert unverified("  M. Adeyrin ") == "M. Adeyrin (not verified)"


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("", "The record keeps who wrote in it; type your name."),
        ("   ", "The record keeps who wrote in it; type your name."),
        ("x" * 81, "The name has 81 characters; write it in 80 or fewer."),
        ("A\nB", "The name holds a line break or a character that cannot be written; type it in one line."),
    ],
)
def test_a_name_that_is_none_is_refused_with_a_sentence(name: str, sentence: str) -> None:
    with pytest.raises(InputError) as refused:
        unverified(name)
    assert str(refused.value) == sentence
