"""The commands that make papers: `asleft jobsheet`, `asleft report`, `asleft labels`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from fleet import words
from fleet.cli_common import OUT, json_option, opened, print_json, say, sentences, unit_option

html_option = click.option("--html", type=click.Path(path_type=Path, dir_okay=False), help="Write it for paper here.")
pdf_option = click.option("--pdf", type=click.Path(path_type=Path, dir_okay=False), help="Write it as PDF here.")


def written(name: str, html: Callable[[], str], html_file: Path | None, pdf_file: Path | None) -> bool:
    """Write a paper into the files asked for; return whether any was."""
    if html_file is not None:
        write_file(name, html_file, html().encode())
    if pdf_file is not None:
        from dashboard.paper import FACE
        from fleet.reports.pdf import as_pdf

        write_file(name, pdf_file, as_pdf(html(), face=FACE))
    return html_file is not None or pdf_file is not None


def write_file(name: str, file: Path, content: bytes) -> None:
    """Write a file and say so; where that fails, say why and end."""
    try:
        file.write_bytes(content)
    except OSError as error:
        what = name.split(" of ")[0].lower()
        say(f"The {what} could not be written to {file}: {error.strerror}. Choose another file.")
        sys.exit(1)
    say(f"{name} written to {file}")


def _answer(content: Any, text: Callable[[], str], *, as_json: bool, written: bool) -> None:
    if as_json:
        print_json(content)
    elif not written:
        OUT.print(text(), markup=False)


@click.command()
@click.argument("line")
@json_option
@unit_option
@html_option
@pdf_option
@click.pass_context
@sentences
def jobsheet(
    context: click.Context, line: str, as_json: bool, unit: words.ReaderUnit, html: Path | None, pdf: Path | None
) -> None:
    """What was left, what to expect, what to set."""
    from fleet.reports.job_sheet_html import render
    from fleet.reports.job_sheet_text import render_text
    from fleet.services.job_sheet import job_sheet

    with opened(context) as store:
        sheet = job_sheet(store, line)
    done = written(f"Job sheet of {line}", lambda: render(sheet, unit), html, pdf)
    _answer(sheet, lambda: render_text(sheet, unit), as_json=as_json, written=done)


@click.command()
@click.argument("session")
@json_option
@unit_option
@html_option
@pdf_option
@click.pass_context
@sentences
def report(
    context: click.Context, session: str, as_json: bool, unit: words.ReaderUnit, html: Path | None, pdf: Path | None
) -> None:
    """One visit whole: readings as typed, what they came to, moves, corrections, signature."""
    from fleet.reports.session_html import render
    from fleet.reports.session_text import render_text
    from fleet.services.session_page import session_record

    with opened(context) as store:
        record = session_record(store, session)
    done = written(f"Report of session {session}", lambda: render(record, unit), html, pdf)
    _answer(record, lambda: render_text(record, unit), as_json=as_json, written=done)


@click.command()
@click.option("--site", metavar="SITE", help="Lines of this site only.")
@click.option("--line", "lines", metavar="LINE", multiple=True, help="This line only; may be repeated.")
@html_option
@pdf_option
@click.pass_context
@sentences
def labels(
    context: click.Context, site: str | None, lines: tuple[str, ...], html: Path | None, pdf: Path | None
) -> None:
    """Labels for the machines: a line's code in big letters, and a QR code that opens its job sheet."""
    from fleet.reports.labels import SET_BASE_URL
    from fleet.reports.labels_html import render
    from fleet.services.labels import label_sheet

    with opened(context) as store:
        sheet = label_sheet(store, site=site, lines=lines)
    if not any(label.address for label in sheet.labels):
        say(SET_BASE_URL)
    if not written("Labels", lambda: render(sheet), html, pdf):
        for label in sheet.labels:
            OUT.print("  ".join(filter(None, (label.line, label.site, label.address))), markup=False)
