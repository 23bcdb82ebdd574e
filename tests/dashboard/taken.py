"""Reading a table that was taken along: its about lines and its rows, as the standard library reads them."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from flask.testing import FlaskClient


@dataclass(frozen=True)
class Taken:
    """One CSV file as it came: what stands above the header, the rows by header, the answer itself."""

    about: dict[str, str]
    rows: list[dict[str, str]]
    answer: Any


def take(client: FlaskClient, name: str, view: str) -> Taken:
    """Take a table of a view along as CSV."""
    answer = client.get(f"/download/{name}.csv?view={quote(view)}")
    text = answer.get_data(as_text=True)
    lines = text.splitlines(keepends=True)
    told = [line.removeprefix("# ").strip().partition(": ") for line in lines if line.startswith("# ")]
    rows = list(csv.DictReader(io.StringIO("".join(line for line in lines if not line.startswith("# ")))))
    return Taken({name: said for name, _, said in told}, rows, answer)
