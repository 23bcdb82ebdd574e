"""The addresses that Record writes to: begin a visit, keep what is typed, sign, discard, store what is beside it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final
from urllib.parse import quote

from flask import Flask, Response, request

from dashboard import record_beside
from dashboard.pages import record
from dashboard.plain_html import to_html
from dashboard.record_sources import RecordSources
from dashboard.same_origin import refuse_foreign
from fleet.errors import FleetError, InputError, NotFoundError
from fleet.services.recording.drafts import Entry
from fleet.services.recording.errors import RecordingError
from fleet.words import READER_UNITS, ReaderUnit

MOST_BYTES: Final = 1_000_000


def add(server: Flask, sources: RecordSources) -> None:
    """Add the addresses to a server.

    All take and give JSON, refuse pages of other sites, and answer what cannot be done with a sentence under `sentence`
    and status 400, 404 or 413. A failure of the server is no answer: the device keeps what it has and sends it again.
    """

    @server.post("/drafts")
    def begin() -> Response:
        body = _body()
        fields = _texts(body.get("fields"))
        line, corrects = request.args.get("line", ""), request.args.get("corrects")
        author = fields.get("technician", "")
        head = sources.start(line, author, _text(body, "client_key"), corrects, fields)
        return _said({"to": f"{_record(head.line)}?draft={quote(head.client_key, safe='')}{_unit('&')}"})

    @server.post("/drafts/<key>/entries")
    def keep(key: str) -> Response:
        body = _body()
        sent = body.get("entries")
        if not isinstance(sent, list):
            raise InputError("What was sent holds no entries; load the page again.")
        try:
            kept = sources.keep(key, [_entry(each) for each in sent], _text(body, "device"))
        except FleetError as error:
            if isinstance(error, (InputError, NotFoundError, RecordingError)):
                raise
            # The store is busy or away: nothing is wrong with what was typed, so the device tries again.
            return Response(f"{error}\n", status=503, mimetype="text/plain")
        now = datetime.now(UTC).isoformat(timespec="seconds")
        told: dict[str, Any] = {"acknowledged": kept.sequence, "version": kept.version, "at": now}
        if kept.refused:
            told["refused"] = list(kept.refused)
        return _said(told)

    @server.get("/drafts/<key>/panels")
    def panels(key: str) -> Response:
        view = sources.view(key)
        made = record.panels(view, _reader_unit(), whole=False)
        return _said({"known": record.known(view), "panels": {name: to_html(part) for name, part in made.items()}})

    @server.post("/drafts/<key>/sign")
    def sign(key: str) -> Response:
        body = _body()
        version = body.get("version")
        if not isinstance(version, int):
            raise InputError("The page does not say which state of the visit is signed; load it again.")
        signed = sources.sign(key, _text(body, "name"), version)
        to = f"{_record(signed.line)}?signed={quote(signed.session, safe='')}{_unit('&')}"
        return _said({"to": to, "session": signed.session, "sentences": list(signed.sentences)})

    @server.post("/drafts/<key>/discard")
    def discard(key: str) -> Response:
        sources.discard(key, _text(_body(), "name"))
        return _said({"to": f"/record{_unit('?')}"})

    @server.post("/drafts/enter/<what>")
    def enter(what: str) -> Response:
        fields = _texts(_body().get("fields"))
        line, look = request.args.get("line", ""), request.args.get("look") == "yes"
        return _said(record_beside.entered(sources, what, line, fields, look=look, unit=_reader_unit()))


def _body() -> dict[str, Any]:
    """Return the body of a request of these pages.

    Raises
    ------
    InputError
        It is not a JSON object, or too large.
    """
    refuse_foreign(request)
    if (request.content_length or 0) > MOST_BYTES:
        raise InputError("More was sent at once than any visit has; load the page again.")
    if request.mimetype != "application/json":
        raise InputError("What was sent is not what these pages send; load the page again.")
    body = request.get_json(silent=True)
    if not isinstance(body, dict):
        raise InputError("What was sent cannot be read; load the page again.")
    return body


def _said(told: dict[str, Any]) -> Response:
    return Response(json.dumps(told, ensure_ascii=False), mimetype="application/json")


def _text(body: Mapping[str, Any], name: str) -> str:
    found = body.get(name)
    if not isinstance(found, str):
        raise InputError(f"What was sent has no text under {name}; load the page again.")
    return found


def _texts(fields: object) -> dict[str, str]:
    """Return the fields of a form, all of them text."""
    if not isinstance(fields, dict) or not all(isinstance(k, str) and isinstance(v, str) for k, v in fields.items()):
        raise InputError("What was sent holds no fields; load the page again.")
    return dict(fields)


def _entry(sent: object) -> Entry:
    if isinstance(sent, dict):
        field, value, typed_at, sequence = (sent.get(name) for name in ("field", "value", "typed_at", "sequence"))
        if isinstance(field, str) and isinstance(value, str) and isinstance(typed_at, str) and type(sequence) is int:
            try:
                return Entry(field, value, sequence, datetime.fromisoformat(typed_at))
            except ValueError:
                raise InputError(f"'{typed_at}' is no moment; load the page again.") from None
    raise InputError("An entry has no field, value, typed_at and sequence; load the page again.")


def _reader_unit() -> ReaderUnit:
    said = request.args.get("unit")
    return next((unit for unit in READER_UNITS if unit == said), "mm")


def _unit(mark: str) -> str:
    return f"{mark}unit=thou" if _reader_unit() == "thou" else ""


def _record(line: str) -> str:
    return f"/record/{quote(line, safe='')}"
