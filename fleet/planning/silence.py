"""Keep what a library in C prints away from standard output, which belongs to the command that runs."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Final

_STDOUT: Final = 1
_STDERR: Final = 2
_lock: Final = Lock()
_kept: list[int] = []
"""While anybody is within: the real standard output, once."""
_within: int = 0


@contextmanager
def c_prints_to_stderr() -> Iterator[None]:
    """Send what is written to file descriptor 1 to descriptor 2 meanwhile.

    Threads may be within at the same time; the last to leave puts standard output back. What another thread prints
    meanwhile goes to standard error too. Where the process began without either of them nothing is done: the descriptor
    may be anything by now.
    """
    _enter()
    try:
        yield
    finally:
        _leave()


def _enter() -> None:
    global _within
    with _lock:
        _within += 1
        if _within > 1 or sys.__stdout__ is None or sys.__stderr__ is None:
            return
        _flush(python=True)
        _kept.append(os.dup(_STDOUT))
        os.dup2(_STDERR, _STDOUT)


def _leave() -> None:
    global _within
    with _lock:
        _within -= 1
        if _within or not _kept:
            return
        # What C still holds back would come out later, where it does not belong.
        _flush(python=False)
        kept = _kept.pop()
        os.dup2(kept, _STDOUT)
        os.close(kept)


def _flush(*, python: bool) -> None:
    """Write out what Python and C hold back."""
    if python and sys.stdout is not None and not sys.stdout.closed:
        sys.stdout.flush()
    (ctypes.CDLL("ucrtbase") if os.name == "nt" else ctypes.CDLL(None)).fflush(None)
