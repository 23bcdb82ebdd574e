"""An XLSX file before anything in it is understood: is it one, is it safe to unpack, does it carry what we do not take.

A workbook is a ZIP archive of XML parts. Whatever is judged here is judged by the archive's list of contents, by the
bytes of the parts and by their checksums; no part is parsed.
"""

from __future__ import annotations

import hashlib
import re
import zipfile
import zlib
from pathlib import Path
from typing import IO, BinaryIO, Final

from fleet.intake.files import UnopenedError, open_regular
from fleet.intake.layout import TOTAL_BYTES
from fleet.intake.raw import IntakeError

_CHUNK: Final = 1 << 20
_OVERLAP: Final = 64
_OLE: Final = bytes.fromhex("d0cf11e0a1b11ae1")
_ENCRYPTED: Final = "EncryptedPackage".encode("utf-16-le")
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06")
_TYPES: Final = "[Content_Types].xml"
_DOCTYPE: Final = re.compile(rb"<\0?!\0?D\0?O\0?C\0?T\0?Y\0?P\0?E")
_ESCAPED_UNDERSCORE: Final = b"_x005F_"
_STRICT: Final = b"http://purl.oclc.org/ooxml/spreadsheetml/main"
_AGAIN: Final = "save it again as an XLSX workbook"


def open_workbook_file(path: Path) -> tuple[BinaryIO, str]:
    """Open an XLSX file and make sure that it may be unpacked and read.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    tuple
        The open file, to be closed by the caller, and the SHA-256 of its bytes.

    Raises
    ------
    IntakeError
        It cannot be opened, is damaged, encrypted, too large unpacked, of another kind, or carries macros or links to
        other files.

    References
    ----------
    ECMA-376-2:2021, "Open Packaging Conventions", 6.2 (parts), 6.5 (content types), annex B (mapping to ZIP, which
    allows no encryption and no two items of one name); 6.2.5 forbids DTD declarations in XML parts.
    """
    try:
        # The file itself may stand under a name with a folder before it; links are judged by the folder it lies in
        file = open_regular(path.parent, path.name)
    except UnopenedError as error:
        raise IntakeError((f"{path}: {error}",)) from error
    try:
        trouble = _trouble(file)
        if trouble:
            raise IntakeError((f"{path}: {trouble}",))
        return file, _digest(file)
    except OSError as error:
        file.close()
        raise IntakeError((f"{path}: cannot be read ({error.strerror}); put a readable file here",)) from error
    except BaseException:
        file.close()
        raise


def damaged() -> str:
    """Return the sentence about a workbook that does not hold together."""
    return "the workbook is damaged; open it in a spreadsheet program and save it again, or take an undamaged copy"


def _digest(file: BinaryIO) -> str:
    file.seek(0)
    digest = hashlib.sha256()
    while chunk := file.read(_CHUNK):
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()


def _trouble(file: BinaryIO) -> str:
    head = file.read(len(_OLE))
    if not head:
        return "the file is empty; put the workbook itself here"
    if head == _OLE:
        if _holds(file, _ENCRYPTED):
            return f"the workbook is encrypted; take its password off and {_AGAIN}"
        return f"this is a workbook of the old binary kind, whatever its name; {_AGAIN}"
    if not head.startswith(_ZIP):
        return (
            f"this is not an XLSX workbook, whatever its name; {_AGAIN}, or put CSV files into a folder and name that"
        )
    try:
        with zipfile.ZipFile(file) as archive:
            return _contents_trouble(archive.infolist()) or _parts_trouble(archive)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, KeyError):
        return damaged()


def _holds(file: BinaryIO, wanted: bytes) -> bool:
    tail = b""
    while chunk := file.read(_CHUNK):
        if wanted in tail + chunk:
            return True
        tail = chunk[-len(wanted) :]
    return False


def _contents_trouble(entries: list[zipfile.ZipInfo]) -> str:
    """Return what the list of contents alone tells against a file; nothing has been unpacked by then."""
    names = [entry.filename for entry in entries]
    total = sum(entry.file_size for entry in entries)
    if any(entry.flag_bits & 0x1 for entry in entries):
        return f"the workbook is encrypted; take its password off and {_AGAIN}"
    if total > TOTAL_BYTES:
        return (
            f"unpacked it would take {total} bytes; at most {TOTAL_BYTES // 1_000_000_000} GB is read, "
            "split the workbook"
        )
    if _TYPES not in names:
        kind = "an OpenDocument file" if "mimetype" in names else "a ZIP archive, but no workbook"
        return f"this is {kind}; {_AGAIN}"
    if len({name.lower() for name in names}) < len(names):
        return damaged()
    if any(name.lower().endswith("vbaproject.bin") or name.startswith("xl/macrosheets/") for name in names):
        return f"the workbook carries macros; {_AGAIN} (without macros)"
    if any(name.startswith("xl/externalLinks/") for name in names):
        return "the workbook links to other files; break the links in the spreadsheet program and save it again"
    if "xl/workbook.bin" in names:
        return f"this is a binary workbook; {_AGAIN}"
    return ""


def _parts_trouble(archive: zipfile.ZipFile) -> str:
    """Return what the content types tell, and what stands in the parts' bytes; every checksum is verified."""
    types = archive.read(_TYPES)
    if b"macroEnabled" in types:
        return f"the workbook is of the kind that carries macros; {_AGAIN} (without macros)"
    if b"spreadsheetml.template.main+xml" in types:
        return f"this is a spreadsheet program's template; {_AGAIN}"
    if b"spreadsheetml.sheet.main+xml" not in types:
        return f"this is an office file, but no workbook; {_AGAIN}"
    for entry in archive.infolist():
        with archive.open(entry) as part:
            xml = entry.filename.lower().endswith((".xml", ".rels"))
            found = _part_trouble(part, entry.filename) if xml else _drained(part)
        if found:
            return found
    return ""


def _part_trouble(part: IO[bytes], name: str) -> str:
    strings = "sharedstrings" in name.lower()
    trouble, tail = "", b""
    # What is found early does not end the reading: only at the end is the checksum compared
    while chunk := part.read(_CHUNK):
        text = tail + chunk
        if _DOCTYPE.search(text):
            trouble = f"its part {name} declares a document type, which no workbook does; {_AGAIN}"
        elif name == "xl/workbook.xml" and _STRICT in text:
            trouble = "this is a workbook of the kind called Strict Open XML; save it as an ordinary XLSX workbook"
        elif strings and _ESCAPED_UNDERSCORE in text:
            # The library that reads strings drops these characters, so that one text could be taken for another
            trouble = (
                "a text in it holds '_x' with a code and '_', which cannot be read for certain; write it otherwise"
            )
        tail = text[-_OVERLAP:]
    return trouble


def _drained(part: IO[bytes]) -> str:
    while part.read(_CHUNK):
        pass
    return ""
