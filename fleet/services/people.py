"""Who writes while there are no accounts: a typed name, which the record marks as not verified."""

from __future__ import annotations

import unicodedata
from typing import Final

from fleet.errors import InputError

_LONGEST: Final = 80
_UNWRITABLE: Final = ("Cc", "Cs")
"""Control characters and halves of characters; joiners and marks of direction belong to names."""


def unverified(name: str) -> str:
    """Return a typed name as the record keeps it: 'M. Adeyrin (not verified)'.

    Raises
    ------
    InputError
        No name was typed, it is too long, or it holds a line break or a control character.
    """
    typed = name.strip()
    if not typed:
        raise InputError("The record keeps who wrote in it; type your name.")
    if len(typed) > _LONGEST:
        raise InputError(f"The name has {len(typed)} characters; write it in {_LONGEST} or fewer.")
    if any(unicodedata.category(character) in _UNWRITABLE for character in typed):
        raise InputError("The name holds a line break or a character that cannot be written; type it in one line.")
    return f"{typed} (not verified)"
