"""The commands `asleft regime`: what a line's drift seems to have changed by, and a person's answer."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import click
from rich.console import Console

from fleet import words
from fleet.services.opening import Store

if TYPE_CHECKING:
    from fleet.services.regimes import RegimeRow

_HOW_TO_DECIDE = (
    "If something was done or befell the line then: asleft regime accept HANDLE --why TEXT. "
    "If not: asleft regime refuse HANDLE --why TEXT. Nothing is changed until somebody decides."
)


@dataclass(frozen=True, slots=True)
class Frame:
    """What all commands of `asleft` share: the store, errors as sentences, where to print, and who is asking."""

    opened: Callable[[click.Context], AbstractContextManager[Store]]
    sentences: Callable[[Callable[..., None]], Callable[..., None]]
    out: Console
    print_json: Callable[[object], None]
    who: Callable[[], str]


def regime_commands(frame: Frame) -> click.Group:
    """Return the group `regime` with its commands."""

    @click.group()
    def regime() -> None:
        """Did a line begin to drift differently? Judge what was noticed."""

    @regime.command("list")
    @click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")
    @click.option("--line", metavar="LINE", help="This line only.")
    @click.option("--decided", is_flag=True, help="What was decided, instead of what waits.")
    @click.pass_context
    @frame.sentences
    def list_(context: click.Context, as_json: bool, line: str | None, decided: bool) -> None:
        """Changes of drift that nobody recorded, with their evidence."""
        from fleet.services.regimes import decisions, proposals

        with frame.opened(context) as store:
            rows = (decisions if decided else proposals)(store, line=line)
        if as_json:
            frame.print_json(rows)
        else:
            _print(frame.out, rows, decided)

    _answer(regime, frame, "accept", "The drift changed: record an event from which its trend begins anew.")
    _answer(regime, frame, "refuse", "The drift did not change: keep the reason and propose it no more.")
    return regime


def _answer(regime: click.Group, frame: Frame, answer: Literal["accept", "refuse"], text: str) -> None:
    @regime.command(answer, help=text)
    @click.argument("handle")
    @click.option("--why", required=True, metavar="TEXT", help="What happened, or why nothing did; kept for ever.")
    @click.pass_context
    @frame.sentences
    def decide(context: click.Context, handle: str, why: str) -> None:
        from fleet.services import regimes

        with frame.opened(context) as store:
            told = (regimes.accept if answer == "accept" else regimes.refuse)(store, handle, frame.who(), why)
        frame.out.print(told, markup=False)


def _print(out: Console, rows: list[RegimeRow], decided: bool) -> None:
    if not rows:
        none = "Nobody decided on a change of drift yet." if decided else "No change of drift waits for a decision."
        out.print(none, markup=False)
        return
    for row in rows:
        out.print(row.handle, markup=False)
        out.print(f"  {row.text}", markup=False)
        if row.decision is not None and row.decided_at is not None:
            since = "" if decided else "; its evidence has clearly grown since"
            on = words.day(row.decided_at)
            out.print(f"  {row.decision.capitalize()} on {on} by {row.decided_by}: {row.why}{since}", markup=False)
    if not decided:
        out.print(_HOW_TO_DECIDE, markup=False)
