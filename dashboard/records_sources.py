"""Where the Records page gets its contents, and what it can have done: services bound to one store."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from fleet.services import exporting, records_page, taking_in, withdrawing
from fleet.services.records_page import ChangeRow, RecordsChoice, RecordsView, SourceRow
from fleet.services.taking_in import BadRow, Outlook, Tell


class BringIn(Protocol):
    """Looks at a source or takes it in; raises FleetError where the record cannot be reached, or it was stopped."""

    def __call__(
        self, place: Path, *, name: str, who: str, by_session: bool, look_only: bool, tell: Tell
    ) -> Outlook: ...


class Decide(Protocol):
    """Withdraws a fact or records it anew, and says so; raises FleetError with a sentence where it cannot."""

    def __call__(self, kind: str, number: int, *, name: str, why: str) -> str: ...


class Written(Protocol):
    """Writes records as one file into an empty folder, and returns it."""

    def __call__(self, folder: Path, form: str, *, line: str | None) -> Path: ...


@dataclass(frozen=True, slots=True)
class RecordsSources:
    """The services of the Records page."""

    view: Callable[[RecordsChoice], RecordsView]
    changes: Callable[[RecordsChoice], tuple[tuple[ChangeRow, ...], str]]
    problems: Callable[[int], tuple[SourceRow, tuple[BadRow, ...], int]]
    bring_in: BringIn
    take_back: Decide
    bring_back: Decide
    export_file: Written
    template: Callable[[Path], str]


def from_store(store: Any) -> RecordsSources:
    """Bind every service to one store.

    Parameters
    ----------
    store
        A `fleet.store.engine.Store`.
    """

    def bring_in(place: Path, *, name: str, who: str, by_session: bool, look_only: bool, tell: Tell) -> Outlook:
        return taking_in.bring_in(
            store, place, name=name, who=who, by_session=by_session, look_only=look_only, tell=tell
        )

    def take_back(kind: str, number: int, *, name: str, why: str) -> str:
        return withdrawing.take_back(store, kind, number, name=name, why=why)

    def bring_back(kind: str, number: int, *, name: str, why: str) -> str:
        return withdrawing.bring_back(store, kind, number, name=name, why=why)

    def export_file(folder: Path, form: str, *, line: str | None) -> Path:
        return exporting.export_file(store, folder, form, line=line)

    return RecordsSources(
        view=lambda choice: records_page.records_view(store, choice),
        changes=lambda choice: records_page.all_changes(store, choice),
        problems=lambda number: records_page.source_problems(store, number),
        bring_in=bring_in,
        take_back=take_back,
        bring_back=bring_back,
        export_file=export_file,
        template=exporting.make_template,
    )
