"""The command `asleft audit show`: who changed what, newest first."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

import click

from fleet import words
from fleet.cli_common import OUT, json_option, line_option, opened, print_json, sentences

if TYPE_CHECKING:
    from fleet.services.records_page import ChangeRow

_DAY = click.DateTime(formats=["%Y-%m-%d"])
_LONGEST = 160


@click.group()
def audit() -> None:
    """Who changed what in the record, and when."""


@audit.command()
@json_option
@line_option
@click.option("--by", "person", metavar="NAME", help="By this person only, the name as the audit keeps it.")
@click.option("--from", "first", type=_DAY, help="From this day on, in the time of the site.")
@click.option("--to", "last", type=_DAY, help="Up to and with this day.")
@click.pass_context
@sentences
def show(
    context: click.Context,
    as_json: bool,
    line: str | None,
    person: str | None,
    first: datetime | None,
    last: datetime | None,
) -> None:
    """Every entry, newest first: when, who, what, before, after."""
    from fleet.services.records_page import RecordsChoice, all_changes

    choice = RecordsChoice(
        line=line, who=person, from_on=first.date() if first else None, to_on=last.date() if last else None
    )
    with opened(context) as store:
        rows, zone = all_changes(store, choice)
    if as_json:
        print_json(list(rows))
    else:
        _print(rows, zone)


def _print(rows: tuple[ChangeRow, ...], zone: str) -> None:
    if not rows:
        OUT.print("No entry of the audit matches what was asked for.", markup=False)
        return
    OUT.print(f"Times in {zone}; lengths in um.", markup=False)
    for row in rows:
        OUT.print(f"{words.day(row.at)}, {row.at:%H:%M}  {row.who}: {row.what}", markup=False)
        for name, values in (("before", row.before), ("after", row.after)):
            if values:
                text = json.dumps(values, ensure_ascii=False, sort_keys=True)
                cut = text if len(text) <= _LONGEST else f"{text[:_LONGEST]}… (--json has all of it)"
                OUT.print(f"    {name} {cut}", markup=False)
