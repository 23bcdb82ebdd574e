"""The plain addresses of the Records page: sources in, records out, facts taken back and recorded anew.

What is sent is laid down in a folder of its own, looked at, and taken away again. How far it has come, and whether
somebody wants it stopped, stands in files that all workers of this server share.
"""

from __future__ import annotations

import atexit
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from flask import Flask, Response, jsonify, request, send_file
from werkzeug.datastructures import FileStorage
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.records_sources import RecordsSources
from dashboard.same_origin import refuse_foreign
from fleet.errors import FleetError, InputError, NotFoundError
from fleet.services.people import unverified
from fleet.services.taking_in import WORKBOOK_ENDINGS as ENDINGS
from fleet.services.taking_in import StoppedError

MOST_BYTES: Final = 1_000_000_000
"""What a source holds at most; a file of it at most 200 MB."""
_AROUND: Final = 4_000_000
"""What a browser wraps around the files of one request."""
_MOST_FORM: Final = 100_000
_KEY: Final = re.compile(r"[0-9a-f]{16,48}")
_TOO_MUCH: Final = (
    "More than 1 GB was sent, and nothing of it was looked at; split the source, for example by site or by year."
)
_MEDIA: Final = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}


def add(server: Flask, records: RecordsSources) -> None:
    """Add the addresses to a server."""
    jobs = Jobs()

    @server.post("/records/intake/<any(look, take):what>")
    def intake(what: str) -> Response:
        refuse_foreign(request)
        request.max_content_length = MOST_BYTES + _AROUND
        request.max_form_memory_size = _MOST_FORM
        try:
            files, form = request.files.getlist("files"), request.form
        except RequestEntityTooLarge:
            return _answer({"error": _TOO_MUCH}, 413)
        try:
            who = unverified(form.get("who", ""))
            with tempfile.TemporaryDirectory(prefix="asleft-") as folder, jobs.job(form.get("key", "")) as tell:
                place, name = laid_down(files, Path(folder))
                outlook = records.bring_in(
                    place,
                    name=name,
                    who=who,
                    by_session=form.get("by_session") == "yes",
                    look_only=what == "look",
                    tell=tell,
                )
        except StoppedError as error:
            return _answer({"stopped": str(error)})
        except FleetError as error:
            return _answer({"error": str(error)}, 400)
        return _answer(asdict(outlook))

    @server.get("/records/intake/<key>")
    def how_far(key: str) -> Response:
        return _answer(jobs.said(key))

    @server.post("/records/intake/<key>/stop")
    def stop(key: str) -> Response:
        refuse_foreign(request)
        return _answer({"asked": jobs.stop(key)})

    @server.post("/records/<any(withdraw, anew):what>")
    def decide(what: str) -> Response:
        refuse_foreign(request)
        request.max_content_length = _MOST_FORM
        said = request.get_json(silent=True) if request.is_json else None
        if not isinstance(said, dict):
            return _answer({"error": "Nothing was changed: what was sent cannot be read; load the page again."}, 400)
        act = records.take_back if what == "withdraw" else records.bring_back
        kind, number = said.get("kind"), said.get("number")
        try:
            if not isinstance(number, int) or isinstance(number, bool):
                raise InputError("Nothing was changed: it was not said which entry is meant; load the page again.")
            text = act(str(kind), number, name=str(said.get("who") or ""), why=str(said.get("why") or ""))
        except FleetError as error:
            return _answer({"error": str(error)}, 404 if isinstance(error, NotFoundError) else 400)
        return _answer({"said": text})

    @server.get("/records/export.<any(xlsx, zip):form>")
    def export(form: str) -> Response:
        line = request.args.get("line") or None
        with tempfile.TemporaryDirectory(prefix="asleft-") as folder:
            data = records.export_file(Path(folder), form, line=line).read_bytes()
        name = f"records-{_plain_name(line)}.{form}" if line else f"records.{form}"
        return _file(data, name, _MEDIA[form])

    @server.get("/records/template.xlsx")
    def template() -> Response:
        with tempfile.TemporaryDirectory(prefix="asleft-") as folder:
            target = Path(folder) / "records-to-fill-in.xlsx"
            records.template(target)
            data = target.read_bytes()
        return _file(data, target.name, _MEDIA["xlsx"])


def _answer(document: object, status: int = 200) -> Response:
    response = jsonify(document)
    response.status_code = status
    response.headers["Cache-Control"] = "no-store"
    return response


def _file(data: bytes, name: str, media: str) -> Response:
    response = send_file(BytesIO(data), mimetype=media, as_attachment=True, download_name=name)
    response.headers["Cache-Control"] = "no-store"
    return response


def _plain_name(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-") or "line"


def laid_down(files: list[FileStorage], folder: Path) -> tuple[Path, str]:
    """Lay the files of one source down and return where it lies, and what it is called.

    Parameters
    ----------
    files
        As sent; a folder's files are named with the folder before them.
    folder
        An empty folder.

    Returns
    -------
    tuple
        The workbook, or a folder with the CSV files; its name. What is neither is left aside, as in a folder.

    Raises
    ------
    InputError
        There is nothing of either kind, or a workbook together with other files.
    """
    named = [(file, (file.filename or "").replace("\\", "/").split("/")) for file in files]
    wanted = [(file, parts) for file, parts in named if parts[-1].lower().endswith((".csv", *ENDINGS))]
    # A folder's own files only: what lies deeper is another folder.
    depth = min((len(parts) for _, parts in wanted), default=0)
    wanted = [(file, parts) for file, parts in wanted if len(parts) == depth]
    books = [parts[-1] for _, parts in wanted if not parts[-1].lower().endswith(".csv")]
    if not wanted:
        raise InputError("There is no workbook and no CSV file among what was sent; nothing was looked at.")
    if books and len(wanted) > 1:
        raise InputError(
            f"{books[0]} came together with other files; send one workbook alone, or the CSV files of one folder."
        )
    target = folder / "source"
    target.mkdir()
    for file, parts in wanted:
        name = parts[-1]
        if "\0" in name or len(name.encode()) > 200:
            raise InputError(f"The name {name[:40]!r} is no name of a file of the format; nothing was looked at.")
        if (target / name).exists():
            raise InputError(f"{name} was sent twice; send each file once.")
        file.save(target / name)
    first = wanted[0][1]
    if books:
        return target / books[0], books[0]
    if depth > 1:
        return target, first[-2]
    names = sorted(parts[-1] for _, parts in wanted)
    return target, names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


class Jobs:
    """What is going on, told in files of a folder that the workers of a server share: they are made after it."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="asleft-jobs-"))
        atexit.register(_take_away, self.folder, os.getpid())

    @contextmanager
    def job(self, key: str) -> Iterator[Any]:
        """Give a way to tell what is done, that stops it when somebody asked for that while it could be stopped."""
        if not _KEY.fullmatch(key):
            raise InputError("Nothing was looked at: the page did not say which sending this is; load it again.")
        state, stopped = self.folder / f"{key}.json", self.folder / f"{key}.stop"

        def tell(what: str, can_stop: bool) -> None:
            if can_stop and stopped.exists():
                raise StoppedError("Stopped. Nothing was taken; the record is as it was.")
            part = state.with_suffix(".part")
            part.write_text(json.dumps({"what": what, "can_stop": can_stop}), encoding="utf-8")
            part.replace(state)

        try:
            yield tell
        finally:
            for path in (state, stopped):
                path.unlink(missing_ok=True)

    def said(self, key: str) -> dict[str, object]:
        """Return what a job last told, nothing where there is none."""
        if _KEY.fullmatch(key):
            with suppress(FileNotFoundError):
                told: dict[str, object] = json.loads((self.folder / f"{key}.json").read_text(encoding="utf-8"))
                return told
        return {}

    def stop(self, key: str) -> bool:
        """Ask a job to stop; return whether there is one that can still be stopped."""
        told = self.said(key)
        if not told.get("can_stop"):
            return False
        (self.folder / f"{key}.stop").touch()
        return True


def _take_away(folder: Path, owner: int) -> None:
    # A worker that ends leaves the folder to the others.
    if os.getpid() == owner:
        shutil.rmtree(folder, ignore_errors=True)
