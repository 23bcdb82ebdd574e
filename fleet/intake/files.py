"""Opening what a person names, and only that: regular files, no links that lead elsewhere, no devices, no pipes."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO, Final

from fleet.intake.layout import FILE_BYTES

_MAKERS: Final = {
    stat.S_ISFIFO: "a pipe",
    stat.S_ISCHR: "a device",
    stat.S_ISBLK: "a device",
    stat.S_ISSOCK: "a socket",
    stat.S_ISDIR: "a folder",
}


class UnopenedError(Exception):
    """A file is not opened; the text says why and what to do, without the file's name."""


def open_regular(folder: Path, name: str) -> BinaryIO:
    """Open a regular file within a folder for reading.

    Parameters
    ----------
    folder
        The folder it has to lie in.
    name
        Its name there; a link is followed where it stays within the folder.

    Raises
    ------
    UnopenedError
        It is not there, no regular file, a link out of the folder, or larger than a file may be.
    """
    path = folder / name
    try:
        if path.is_symlink():
            real = path.resolve(strict=True)
            if not real.is_relative_to(folder.resolve()):
                raise UnopenedError("a link that leads out of the folder is not opened; put the file itself here")
            path = real
        mode = path.lstat().st_mode
        if not stat.S_ISREG(mode):
            what = next((word for is_kind, word in _MAKERS.items() if is_kind(mode)), "no ordinary file")
            raise UnopenedError(f"this is {what}, not a file, and is not opened; put an ordinary file here")
        # What is opened may have changed since it was looked at: ask the open file again, follow no link, wait for none
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        file = os.fdopen(handle, "rb")
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or "a link that leads nowhere"
        raise UnopenedError(f"cannot be read ({reason}); put a readable file here") from error
    state = os.fstat(file.fileno())
    trouble = ""
    if not stat.S_ISREG(state.st_mode):
        trouble = "this is not an ordinary file and is not read; put an ordinary file here"
    elif state.st_size > FILE_BYTES:
        trouble = f"{state.st_size} bytes; at most {FILE_BYTES // 1_000_000} MB a file are read, split it"
    if trouble:
        file.close()
        raise UnopenedError(trouble)
    return file
