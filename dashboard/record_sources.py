"""Where Record gets its contents and where it puts what was typed: services bound to a store."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fleet.services import entering, rise_meaning
from fleet.services.entering import Taken
from fleet.services.recording import beginning, drafts, looking, signing
from fleet.services.recording.beginning import BeginView
from fleet.services.recording.drafts import Entry, KeptEntries
from fleet.services.recording.signing import Signed
from fleet.services.recording.view import DraftHead, RecordView
from fleet.services.rise_meaning import RiseMeaning


@dataclass(frozen=True, slots=True)
class RecordSources:
    """The services behind Record.

    Attributes
    ----------
    begin
        What the form shows with which a visit of a line begins.
    drafts
        The visits that are open, of one line or all.
    view
        A visit being recorded, by its key.
    start
        Begin a visit: line, author, key, the session it corrects, fields.
    keep
        Keep entries of a draft: key, entries, device.
    sign, discard
        End a draft: key, name, version; key, name.
    rises
        What the rises of a running check mean, before they are stored: line, rows.
    enter
        Store rows of one sheet beside a visit, or only look whether they could be: sheet, rows, name, look.
    """

    begin: Callable[[str], BeginView]
    drafts: Callable[[str | None], tuple[DraftHead, ...]]
    view: Callable[[str], RecordView]
    start: Callable[[str, str, str, str | None, Mapping[str, str]], DraftHead]
    keep: Callable[[str, Sequence[Entry], str], KeptEntries]
    sign: Callable[[str, str, int], Signed]
    discard: Callable[[str, str], None]
    rises: Callable[[str, Sequence[Mapping[str, str]]], tuple[RiseMeaning, ...]]
    enter: Callable[[str, Sequence[Mapping[str, str]], str, bool], Taken]


def record_sources(store: Any) -> RecordSources:
    """Bind the services to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`; the screens hand it on and never look inside.
    """
    return RecordSources(
        begin=lambda line: beginning.begin_view(store, line),
        drafts=lambda line: drafts.open_drafts(store, line),
        view=lambda key: looking.record_view(store, key),
        start=lambda line, author, key, corrects, fields: drafts.start(
            store, line, author=author, client_key=key, corrects=corrects, fields=fields
        ),
        keep=lambda key, entries, device: drafts.keep(store, key, entries, device=device),
        sign=lambda key, name, version: signing.sign(store, key, name=name, version=version),
        discard=lambda key, name: drafts.discard(store, key, who=name),
        rises=lambda line, rows: rise_meaning.meaning(store, line, rows),
        enter=lambda sheet, rows, name, look: entering.enter(store, sheet, rows, who=name, dry_run=look),
    )
