"""What a page says when it has nothing to show: four different things, each with its own sentence and a way on."""

from __future__ import annotations

from datetime import date
from typing import Any

from dash import dcc, html

from fleet import words


def notice(title: str, *body: Any, warn: bool = False, whole_page: bool = False) -> html.Section:
    """Return a heavy-edged panel with a title and its sentences; the title heads a page that is nothing else."""
    heading = html.H1 if whole_page else html.H3
    return html.Section(
        [heading(title), *(part if not isinstance(part, str) else html.P(part) for part in body)],
        className="say warn notice" if warn else "say notice",
    )


def empty_store() -> html.Section:
    """Return what stands in place of everything while the store holds no line."""
    return notice(
        "No lines yet",
        "The store is empty. Take in a folder of records, or look around in the demo fleet first.",
        html.Dl(
            [
                html.Dt("Your own records"),
                html.Dd(html.Code("asleft import FOLDER")),
                html.Dt("The demo fleet"),
                html.Dd(html.Code("asleft demo")),
            ],
            className="next",
        ),
    )


def older(as_of: date, *, failed: bool) -> html.Section:
    """Return what stands above results that are older than the newest records, or than today."""
    title = f"As of {words.day(as_of)}, before the newest records"
    if failed:
        return notice(
            title,
            "Newer results could not be made; what went wrong is in the server’s log. It is tried again within a few "
            "minutes. Nothing of the record is lost.",
            warn=True,
        )
    return notice(title, "Newer results are being made; with this many lines that takes a minute or two. Load again.")


def filtered_away(lines_in_store: int, every: str) -> html.Section:
    """Return what stands in place of the table when the filters leave no line."""
    sentence = (
        "The one line in the store does not match what the address asks for."
        if lines_in_store == 1
        else f"None of the {lines_in_store} lines in the store matches what the address asks for."
    )
    return notice(
        "No line matches",
        sentence,
        html.P(dcc.Link("Show every line", href=every)),
    )


def no_record(line: str, why: str | None) -> html.Section:
    """Return what stands in place of the figures of a line that has no survey to stand on."""
    return notice(
        "No surveys yet",
        f"{line} has no record to show{': ' + why.rstrip('.') if why else ''}. "
        "Import an old sheet, or record the first visit.",
        html.P(html.Code("asleft import FOLDER")),
    )


def no_figure(title: str, sentence: str) -> html.Section:
    """Return what stands in place of one figure or table that cannot be drawn."""
    return notice(title, sentence)


def unknown_line(code: str, fleet: str) -> html.Section:
    """Return what an address with a line that is not in the store shows."""
    return notice(
        f"No line {code}",
        f"The store holds no line with the code {code}. It may be spelt otherwise, or was never taken in.",
        html.P(dcc.Link("Look for it in the fleet", href=fleet)),
        warn=True,
        whole_page=True,
    )


def unknown_page(fleet: str) -> html.Section:
    """Return what an address without a page shows."""
    return notice(
        "No such page",
        "Nothing is kept at this address.",
        html.P(dcc.Link("Go to the fleet", href=fleet)),
        warn=True,
        whole_page=True,
    )


def refused(sentence: str) -> html.Section:
    """Return a problem that a person can put right; the sentence says how."""
    return notice("This cannot be shown", sentence, warn=True, whole_page=True)


def failed(reference: str) -> html.Section:
    """Return what stands in place of a page that failed; the reference finds the details in the server's log."""
    return notice(
        "This page could not be made",
        f"Nothing was changed in the record. Load the page again; if it fails again, give the keeper of the records "
        f"the reference {reference}.",
        warn=True,
        whole_page=True,
    )


def notes(sentences: tuple[str, ...]) -> list[html.P]:
    """Return what could not be read in the address, a line each, above the page."""
    return [html.P(sentence, className="note addressed", role="status") for sentence in sentences]
