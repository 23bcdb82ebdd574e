"""The command `asleft`: it parses, calls a service, prints, and turns expected errors into a sentence and an exit code.

Exit 0: done. 1: refused or failed, with sentences on stderr and nothing changed. 2: the call itself is wrong.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date, datetime
from pathlib import Path

import click
from click.core import ParameterSource

from fleet import words
from fleet.cli_audit import audit
from fleet.cli_common import (
    OUT,
    json_option,
    line_option,
    opened,
    print_json,
    progress,
    say,
    sentences,
    unit_option,
    who,
)
from fleet.cli_paper import jobsheet, labels, report
from fleet.cli_plan import plan
from fleet.cli_regime import regime
from fleet.errors import InputError
from fleet.services import tables
from fleet.services.opening import database_url, demo_url, open_store, remove_demo_store, schema_report

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--database",
    metavar="URL",
    envvar="ASLEFT_DATABASE_URL",
    help="Where the records are: an SQLAlchemy URL (else ASLEFT_DATABASE_URL, else a file of your own).",
)
@click.pass_context
def main(context: click.Context, database: str | None) -> None:
    """The memory and the arithmetic of extruder barrel alignment, for a whole fleet of lines.

    This tool is no permission to work on a machine. Local codes, the machine builder's instructions and licensed
    practice come first.
    """
    named = context.get_parameter_source("database") is ParameterSource.COMMANDLINE
    context.obj = {"database": database, "named": database if named else None}


@main.command()
@click.option("--serve", "then_serve", is_flag=True, help="Serve the dashboard on the demo afterwards.")
@click.option("--port", type=click.IntRange(1, 65535), default=8050, show_default=True)
@click.option("--seed", type=int, default=7, show_default=True, help="Another seed makes another fleet.")
@click.pass_context
@sentences
def demo(context: click.Context, then_serve: bool, port: int, seed: int) -> None:
    """Make the demo fleet (an invented company) anew, in a store of its own."""
    from fleet.services.catalog import line_codes
    from fleet.services.importing import import_folder
    from fleet.services.planning.example import keep_example

    # ASLEFT_DATABASE_URL is where the plant's own records are: signed sessions could never be taken out of it again.
    url = context.obj["named"] or demo_url()
    if context.obj["named"] is None:
        remove_demo_store()
    with tempfile.TemporaryDirectory() as folder, progress("making the demo fleet"):
        import seed_demo

        seed_demo.write(Path(folder), seed=seed, today=date.today())  # noqa: DTZ011 - the plant's own calendar day
        store = open_store(url, say=say)
        try:
            if line_codes(store):
                raise InputError(
                    "This store holds lines already, and the demo would stay among them for ever; leave --database "
                    "away for a store of its own, or name an empty one."
                )
            taken = import_folder(store, Path(folder), who="demo")
            plan = keep_example(store)
        finally:
            store.close()
    rows = taken.result.taken
    say(
        f"Demo fleet ready: {rows['lines']} lines, {rows['sessions']} sessions, {rows['readings']} readings, "
        f"{rows['running_checks']} rows of running checks, and {plan} to look back on."
    )
    if then_serve:
        _serve(url, "127.0.0.1", port)
    else:
        say(f"Look at it with: asleft --database {url} serve")


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Only this machine, until there are accounts.")
@click.option("--port", type=click.IntRange(1, 65535), default=8050, show_default=True)
@click.pass_context
@sentences
def serve(context: click.Context, host: str, port: int) -> None:
    """Serve the dashboard."""
    _serve(database_url(context.obj["database"]), host, port)


def _serve(url: str, host: str, port: int) -> None:
    from dashboard.serving import check_host, check_port
    from dashboard.serving import serve as serve_dashboard
    from fleet.services.background import prepare

    check_host(host)
    check_port(host, port)
    store = open_store(url, say=say)
    with progress("bringing the fleet up to date"):
        prepare(store)
    # Worker processes must not share a connection: none is open when they fork.
    store.close()
    say(f"Asleft is served on http://{host}:{port}/ (stop it with Ctrl-C)")
    serve_dashboard(store, host, port)


@main.command("import")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--by-session", is_flag=True, help="Take the sound sessions and list the others.")
@click.option("--dry-run", is_flag=True, help="Tell what would happen; change nothing.")
@click.pass_context
@sentences
def import_(context: click.Context, source: Path, by_session: bool, dry_run: bool) -> None:
    """Take in a folder of CSV files or an XLSX workbook, whole or not at all."""
    from fleet.services.importing import import_folder

    with opened(context) as store, progress("taking in the records"):
        taken = import_folder(store, source, who=who(), by_session=by_session, dry_run=dry_run)
    for sentence in taken.sentences:
        OUT.print(sentence, markup=False)
    for problem in taken.left_out:
        say(problem)
    if taken.left_out:
        sys.exit(1)


@main.command()
@click.argument("target", type=click.Path(path_type=Path))
@click.pass_context
@sentences
def export(context: click.Context, target: Path) -> None:
    """Write all signed sessions and facts as a folder of CSV files, or as a workbook FILE.xlsx."""
    from fleet.services.exporting import export_records

    with opened(context) as store:
        written = export_records(store, target)
    OUT.print(written, markup=False)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@sentences
def template(file: Path) -> None:
    """Write an empty workbook FILE.xlsx, to be filled in without network and imported later."""
    from fleet.services.exporting import make_template

    OUT.print(make_template(file), markup=False)


@main.command()
@json_option
@unit_option
@click.pass_context
@sentences
def status(context: click.Context, as_json: bool, unit: words.ReaderUnit) -> None:
    """Which lines need us, and when?"""
    from fleet.services.fleet_page import whole_fleet

    with opened(context) as store:
        view = whole_fleet(store)
    if as_json:
        print_json(view)
    else:
        tables.print_status(OUT, view, unit)


@main.command()
@json_option
@line_option
@unit_option
@click.option("--session", metavar="SESSION", help="This session only.")
@click.pass_context
@sentences
def offsets(
    context: click.Context, as_json: bool, line: str | None, unit: words.ReaderUnit, session: str | None
) -> None:
    """Every survey reduced: the bore's offsets from the gearbox axis, with uncertainty."""
    from fleet.services.offsets import offset_rows

    with opened(context) as store:
        rows = offset_rows(store, line=line, session=session, unit="mm" if as_json else unit)
    if as_json:
        print_json(rows)
    else:
        tables.print_offsets(OUT, rows, unit)


@main.command()
@json_option
@line_option
@unit_option
@click.pass_context
@sentences
def drift(context: click.Context, as_json: bool, line: str | None, unit: words.ReaderUnit) -> None:
    """What moved between visits while nobody touched the line."""
    from fleet.services.drift import drift_rows

    with opened(context) as store:
        rows = drift_rows(store, line=line)
    if as_json:
        print_json(rows)
    else:
        tables.print_drift(OUT, rows, unit)


@main.command()
@json_option
@line_option
@unit_option
@click.option("--as-of", type=_DAY, help="Use only what had happened by the end of this day at the site.")
@click.option("--at", type=_DAY, multiple=True, help="Expected measurement at noon of this day; may be repeated.")
@click.pass_context
@sentences
def forecast(
    context: click.Context,
    as_json: bool,
    line: str | None,
    unit: words.ReaderUnit,
    as_of: datetime | None,
    at: tuple[datetime, ...],
) -> None:
    """Where each station is going, and the chance that it passes its limit."""
    from fleet.services.forecasting import forecast_rows

    with opened(context) as store, progress("forecasting"):
        rows = forecast_rows(
            store, line=line, as_of=as_of.date() if as_of else None, at=tuple(day.date() for day in at)
        )
    if as_json:
        print_json(rows)
    else:
        tables.print_forecast(OUT, rows, unit)


@main.command()
@json_option
@line_option
@unit_option
@click.pass_context
@sentences
def backtest(context: click.Context, as_json: bool, line: str | None, unit: words.ReaderUnit) -> None:
    """How well the forecast has held: every as-found beside what was expected the day before."""
    from fleet.services.backtest import backtest as hold
    from fleet.services.backtest_tables import print_backtest

    with opened(context) as store, progress("holding the forecast against what came in"):
        view = hold(store, line=line)
    if as_json:
        print_json(view)
    else:
        print_backtest(OUT, view, unit, every_value=line is not None)


main.add_command(regime)
main.add_command(audit)


@main.command("cold-offsets")
@json_option
@line_option
@unit_option
@click.pass_context
@sentences
def cold_offsets(context: click.Context, as_json: bool, line: str | None, unit: words.ReaderUnit) -> None:
    """Which way of choosing the cold offset came out right when running?"""
    from fleet.services.cold_offsets import cold_offset_rows

    with opened(context) as store, progress("comparing"):
        rows = cold_offset_rows(store, line=line)
    if as_json:
        print_json(rows)
    else:
        tables.print_cold_offsets(OUT, rows, unit)


main.add_command(jobsheet)
main.add_command(report)
main.add_command(labels)
main.add_command(plan)


@main.group()
def db() -> None:
    """Look after the store itself."""


@db.command()
@click.pass_context
@sentences
def upgrade(context: click.Context) -> None:
    """Bring the store to this version of the tool."""
    with opened(context) as store:
        OUT.print(schema_report(store).text, markup=False)


@db.command()
@click.pass_context
@sentences
def check(context: click.Context) -> None:
    """Check the store: schema, frozen-record guards, references."""
    with opened(context) as store:
        report = schema_report(store)
    OUT.print(report.text, markup=False)
    if not report.sound:
        sys.exit(1)
