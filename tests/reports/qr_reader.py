"""Reading a QR code back from what is printed: its modules, its mask, its bytes.

After ISO/IEC 18004 (from memory): byte mode, versions 1 to 3 at a level that keeps all codewords in one block, without
error correction, because a printed file has no smudges.
"""

from __future__ import annotations

import re
from collections.abc import Callable

_FORMAT_MASK = 0b101010000010010
_BYTE_MODE = 4
# ruff: noqa: ARG005 - every mask is asked with row and column
_MASKS: tuple[Callable[[int, int], int], ...] = (
    lambda r, c: (r + c) % 2,
    lambda r, c: r % 2,
    lambda r, c: c % 3,
    lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2,
    lambda r, c: (r * c) % 2 + (r * c) % 3,
    lambda r, c: ((r * c) % 2 + (r * c) % 3) % 2,
    lambda r, c: ((r + c) % 2 + (r * c) % 3) % 2,
)


def modules(svg: str) -> list[list[int]]:
    """Return the dark modules of a code that is drawn as strokes, one unit a module."""
    found = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    path = re.search(r'\sd="([^"]+)"', svg)
    assert found is not None
    assert path is not None
    size = int(found[1])
    grid = [[0] * size for _ in range(size)]
    x = y = 0.0
    for letter, numbers in re.findall(r"([Mmh])([^Mmh]*)", path[1]):
        values = [float(value) for value in re.findall(r"-?\d*\.?\d+", numbers)]
        if letter == "h":
            for column in range(int(x), int(x + values[0])):
                grid[int(y)][column] = 1
            x += values[0]
        else:
            x, y = (values[0], values[1]) if letter == "M" else (x + values[0], y + values[1])
    return grid


def _is_function(row: int, column: int, size: int) -> bool:
    corner = (row < 9 and (column < 9 or column >= size - 8)) or (row >= size - 8 and column < 9)
    alignment = size > 21 and abs(row - (size - 7)) <= 2 and abs(column - (size - 7)) <= 2
    return corner or alignment or 6 in (row, column)


def read(svg: str) -> str:
    """Return the text of a code."""
    grid = modules(svg)
    size = len(grid)
    assert size in (21, 25, 29), "only versions 1 to 3 are read here"
    places = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    form = 0
    for r, c in places:
        form = form << 1 | grid[r][c]
    form ^= _FORMAT_MASK
    assert size < 29 or form >> 13 in (0, 1), "levels L and M keep version 3 in one block"
    mask = _MASKS[form >> 10 & 7]
    bits, column, upward = [], size - 1, True
    while column > 0:
        column -= column == 6
        for row in range(size - 1, -1, -1) if upward else range(size):
            bits += [grid[row][c] ^ (mask(row, c) == 0) for c in (column, column - 1) if not _is_function(row, c, size)]
        column, upward = column - 2, not upward

    def number(start: int, length: int) -> int:
        return int("".join(str(int(bit)) for bit in bits[start : start + length]), 2)

    assert number(0, 4) == _BYTE_MODE
    count = number(4, 8)
    return bytes(number(12 + 8 * k, 8) for k in range(count)).decode()
