"""What all commands share: the store, errors as sentences, where to print, common options, and who is asking."""

from __future__ import annotations

import getpass
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from datetime import date, datetime
from functools import wraps
from typing import ParamSpec, TypeVar

import click
from rich.console import Console

from fleet import words
from fleet.errors import FleetError
from fleet.services.opening import Store, open_store

P = ParamSpec("P")
T = TypeVar("T")

OUT = Console(highlight=False, soft_wrap=True, markup=False, emoji=False)
ERR = Console(stderr=True, highlight=False, soft_wrap=True, markup=False, emoji=False)


def say(text: str) -> None:
    ERR.print(text, markup=False)


def _plain(value: object) -> object:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    raise TypeError(f"{type(value).__name__} has no place in a JSON answer")


def print_json(document: object) -> None:
    click.echo(json.dumps(document, default=_plain, ensure_ascii=False, allow_nan=False))


def sentences(command: Callable[P, T]) -> Callable[P, T]:
    """Turn an expected error into its sentences on stderr and exit code 1."""

    @wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> T:
        try:
            return command(*args, **kwargs)
        except FleetError as error:
            say(str(error))
            sys.exit(1)

    return run


@contextmanager
def opened(context: click.Context) -> Iterator[Store]:
    store = open_store(context.obj["database"], say=say)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def progress(text: str) -> Iterator[None]:
    """Show that something longer is going on, on a terminal only."""
    if ERR.is_terminal:
        with ERR.status(text):
            yield
    else:
        yield


json_option = click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")
line_option = click.option("--line", metavar="LINE", help="This line only.")
unit_option = click.option(
    "--unit", type=click.Choice(words.READER_UNITS), default="mm", show_default=True, help="Unit of the tables."
)


def who() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        # A container may run under a user number that has no name.
        return "unknown user"
