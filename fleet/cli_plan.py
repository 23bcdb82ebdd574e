"""The command `asleft plan`: which line goes into which outage, on the terminal and as files."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from urllib.parse import unquote

import click

from fleet import words
from fleet.cli_common import OUT, json_option, opened, print_json, progress, sentences, unit_option
from fleet.cli_paper import html_option, pdf_option, write_file, written
from fleet.services.planning.asking import AHEAD_MONTHS, SECONDS, Asked

Pins = tuple[tuple[str, str], ...]


def _pins(context: click.Context, parameter: click.Parameter, given: tuple[str, ...]) -> Pins:
    """Read LINE:OUTAGE; a colon within a code is written %3A, as in the page's address."""
    del context
    pins = []
    for text in given:
        halves = [unquote(half).strip() for half in text.split(":")]
        if len(halves) != 2 or not all(halves):
            raise click.BadParameter(
                f"‘{text}’ is not a line and an outage; write LINE:OUTAGE, a colon within a code as %3A.",
                param=parameter,
            )
        pins.append((halves[0], halves[1]))
    return tuple(dict.fromkeys(pins))


@click.command("plan")
@click.option("--site", metavar="SITE", help="Lines of this site only.")
@click.option("--cap", type=click.FloatRange(0.0, 100.0), metavar="PERCENT",
              help="Highest chance of being over before a visit (else the setting).")  # fmt: skip
@click.option("--ahead", type=click.IntRange(0, 120), default=AHEAD_MONTHS, show_default=True, metavar="MONTHS",
              help="Outages that start within so many months; 0: the next two of every site, for planning anew before "
                   "each.")  # fmt: skip
@click.option("--into", multiple=True, callback=_pins, metavar="LINE:OUTAGE",
              help="Hold the line in the outage; may be repeated.")  # fmt: skip
@click.option("--out", "kept_out", multiple=True, callback=_pins, metavar="LINE:OUTAGE",
              help="Keep the line out of the outage; may be repeated.")  # fmt: skip
@click.option("--plan", "code", metavar="CODE", help="A kept plan as it was kept, instead of one worked out now.")
@click.option("--seconds", type=click.FloatRange(0.1, 3600.0), default=SECONDS, show_default=True,
              help="Time for the solver; the plan says how far from the best it may be.")  # fmt: skip
@json_option
@unit_option
@html_option
@pdf_option
@click.option("--ics", type=click.Path(path_type=Path, dir_okay=False), help="Write its visits as a calendar here.")
@click.pass_context
@sentences
def plan(
    context: click.Context,
    site: str | None,
    cap: float | None,
    ahead: int,
    into: Pins,
    kept_out: Pins,
    code: str | None,
    seconds: float,
    as_json: bool,
    unit: words.ReaderUnit,
    html: Path | None,
    pdf: Path | None,
    ics: Path | None,
) -> None:
    """Which line goes into which outage, why, and what skipping it risks.

    A plan is no permission to work on a machine.
    """
    from fleet.reports import plan_words as say
    from fleet.reports.plan_html import render
    from fleet.reports.plan_text import render_text
    from fleet.services.planning.feeds import calendar_of
    from fleet.services.planning.keeping import kept_plan
    from fleet.services.planning.planned import plan_content

    if code is not None and (site, cap, into, kept_out) != (None, None, (), ()):
        raise click.UsageError("A kept plan is shown as it was kept; leave --site, --cap, --into and --out away.")
    asked = Asked(
        site=site,
        cap=None if cap is None else cap / 100.0,
        ahead_months=ahead,
        into=into,
        out=kept_out,
        seconds=seconds,
    )
    with opened(context) as store:
        if code is not None:
            found = kept_plan(store, code)
        else:
            with progress("working the plan out"):
                found = plan_content(store, asked)
    done = written("Plan", lambda: render(found, unit), html, pdf)
    if ics is not None:
        write_file("Calendar of the plan", ics, calendar_of(found))
        done = True
    if as_json:
        said = {"lead": say.lead(found), "state": say.state(found), "sums": say.sums(found), "proved": say.gap(found)}
        print_json({**asdict(found), "visits": found.visits, "said": said, "note": say.NO_PERMISSION})
    elif not done:
        OUT.print(render_text(found, unit), markup=False)
