"""The commands `asleft regime`: what a line's drift seems to have changed by, and a person's answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fleet import words
from fleet.cli_common import OUT, json_option, line_option, opened, print_json, sentences, who

if TYPE_CHECKING:
    from fleet.services.regimes import RegimeRow

_HOW_TO_DECIDE = (
    "If something was done or befell the line then: asleft regime accept HANDLE --why TEXT. "
    "If not: asleft regime refuse HANDLE --why TEXT. Nothing is changed until somebody decides."
)
_why = click.option("--why", required=True, metavar="TEXT", help="What happened, or why nothing did; kept for ever.")


@click.group()
def regime() -> None:
    """Did a line begin to drift differently? Judge what was noticed."""


@regime.command("list")
@json_option
@line_option
@click.option("--decided", is_flag=True, help="What was decided, instead of what waits.")
@click.pass_context
@sentences
def list_(context: click.Context, as_json: bool, line: str | None, decided: bool) -> None:
    """Changes of drift that nobody recorded, with their evidence."""
    from fleet.services.regimes import decisions, proposals

    with opened(context) as store:
        rows = (decisions if decided else proposals)(store, line=line)
    if as_json:
        print_json(rows)
    else:
        _print(rows, decided)


@regime.command()
@click.argument("handle")
@_why
@click.pass_context
@sentences
def accept(context: click.Context, handle: str, why: str) -> None:
    """The drift changed: record an event from which its trend begins anew."""
    from fleet.services import regimes

    with opened(context) as store:
        OUT.print(regimes.accept(store, handle, who(), why), markup=False)


@regime.command()
@click.argument("handle")
@_why
@click.pass_context
@sentences
def refuse(context: click.Context, handle: str, why: str) -> None:
    """The drift did not change: keep the reason and propose it no more."""
    from fleet.services import regimes

    with opened(context) as store:
        OUT.print(regimes.refuse(store, handle, who(), why), markup=False)


def _print(rows: list[RegimeRow], decided: bool) -> None:
    if not rows:
        none = "Nobody decided on a change of drift yet." if decided else "No change of drift waits for a decision."
        OUT.print(none, markup=False)
        return
    for row in rows:
        OUT.print(row.handle, markup=False)
        OUT.print(f"  {row.text}", markup=False)
        if row.decision is not None and row.decided_at is not None:
            since = "" if decided else "; its evidence has clearly grown since"
            on = words.day(row.decided_at)
            OUT.print(f"  {row.decision.capitalize()} on {on} by {row.decided_by}: {row.why}{since}", markup=False)
    if not decided:
        OUT.print(_HOW_TO_DECIDE, markup=False)
