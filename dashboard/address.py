"""The address is the view: what a page shows is in its path and query, defaults left out, and read back the same.

A value that cannot be read falls back to its default and the page says so.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final, Literal
from urllib.parse import parse_qsl, quote, unquote, urlencode

from fleet.services.cold_offset_groups import GROUPINGS, WAYS, GroupBy, Way
from fleet.services.fleet_page import FleetFilters
from fleet.values import AXES, STATUSES, Axis, Status
from fleet.words import READER_UNITS, ReaderUnit

Page = Literal[
    "fleet", "line", "job-sheet", "record", "outages", "compare", "cold-offsets", "records", "session", "unknown"
]
_PATHS: Final[dict[str, Page]] = {
    "line": "line",
    "job-sheet": "job-sheet",
    "record": "record",
    "outages": "outages",
    "compare": "compare",
    "cold-offsets": "cold-offsets",
    "records": "records",
    "session": "session",
}
_OWN_KEYS: Final[dict[Page, tuple[str, ...]]] = {
    "record": ("draft", "what", "corrects", "signed"),
    "outages": (
        "site",
        "cap",
        "ahead",
        "into",
        "out",
        "seconds",
        "view",
        "plan",
        "beside",
        "if",
        "edit",
        "page",
        "stops",
    ),
    "compare": ("site", "foundation", "screw", "axis", "at", "by", "event", "line", "page"),
    "records": ("show", "line", "who", "what", "from", "to", "source", "fact", "page"),
}
"""What only one page reads, in the order it stands in the address; the page's own module says what the words mean."""
_AXIS_WORDS: Final[dict[Axis, str]] = {"v": "vertical", "h": "horizontal"}

_WIDEST_SCREW_MM: Final = 10_000
_MOST_PAGES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Address:
    """One view: the page, the line it is about, what is chosen on it and the reader's unit.

    `a` and `b` are the surveys compared on the Line page, by key; `by`, `way` and `beside` are for the cold offsets of
    all lines: what they are grouped by, the way looked at, the line the reader came from. `own` holds what only the
    page itself reads, name and value as they stand in the address. `notes` says what could not be read, a sentence
    each.
    """

    page: Page = "fleet"
    code: str | None = None
    unit: ReaderUnit = "mm"
    filters: FleetFilters = field(default_factory=FleetFilters)
    station: str | None = None
    axis: Axis | None = None
    a: str | None = None
    b: str | None = None
    by: GroupBy = "size"
    way: Way | None = None
    beside: str | None = None
    own: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    def said(self, name: str) -> str | None:
        """Return what the address says under a name that only its page reads; None where it says nothing."""
        return dict(self.own).get(name)

    def saying(self, **values: str | None) -> Address:
        """Return the same view with some of the page's own values changed; None leaves one out."""
        held = {**dict(self.own), **{name: value or "" for name, value in values.items()}}
        kept = tuple((name, held[name]) for name in _OWN_KEYS.get(self.page, ()) if held.get(name))
        return replace(self, own=kept)


def slug(status: Status) -> str:
    """Return a status as it stands in an address: 'no record' becomes 'no-record'."""
    return status.replace(" ", "-")


def parse(pathname: str | None, search: str | None) -> Address:
    """Read a view from a path and a query; never fails.

    Parameters
    ----------
    pathname
        The address's path, still percent-encoded: '/line/ORR-07'.
    search
        The query with or without its question mark: '?unit=thou'.
    """
    query = dict(parse_qsl((search or "").lstrip("?"), keep_blank_values=False))
    notes: list[str] = []
    page, code = _path(pathname or "/")
    own = tuple((name, query.pop(name)) for name in _OWN_KEYS.get(page, ()) if name in query)

    unit: ReaderUnit = "mm"
    if (said := query.get("unit")) is not None:
        known = next((u for u in READER_UNITS if u == said), None)
        if known is None:
            notes.append(f"‘{said}’ is not a unit of these pages; shown in mm.")
        unit = known or "mm"
    axis: Axis | None = None
    if (said := query.get("axis")) is not None:
        axis = next((known for known in AXES if said in (known, _AXIS_WORDS[known])), None)
        if axis is None:
            notes.append(f"‘{said}’ is not an axis; write v or h. Shown without it.")
    by: GroupBy = "size"
    if (said := query.get("by")) is not None:
        grouping = next((known for known in GROUPINGS if known == said), None)
        if grouping is None:
            notes.append(f"‘{said}’ is not what lines are grouped by here; grouped by screw size.")
        by = grouping or "size"
    way: Way | None = None
    if (said := query.get("way")) is not None:
        way = next((known for known in WAYS if known == said), None)
        if way is None:
            notes.append(f"‘{said}’ is not a way of choosing; the closest is shown.")
    return Address(
        page=page,
        code=code,
        unit=unit,
        filters=_filters(query, notes),
        station=query.get("station"),
        axis=axis,
        a=query.get("a"),
        b=query.get("b"),
        by=by,
        way=way,
        beside=query.get("line"),
        own=own,
        notes=tuple(notes),
    )


def _path(pathname: str) -> tuple[Page, str | None]:
    parts = pathname.strip("/").split("/", 1)
    if parts[0] in ("", "fleet") and len(parts) == 1:
        return "fleet", None
    if parts[0] in _PATHS:
        code = unquote(parts[1]).strip() if len(parts) == 2 else ""
        return _PATHS[parts[0]], code or None
    return "unknown", None


def _filters(query: dict[str, str], notes: list[str]) -> FleetFilters:
    status: Status | None = None
    if (said := query.get("status")) is not None:
        status = next((known for known in STATUSES if said in (known, slug(known))), None)
        if status is None:
            notes.append(f"‘{said}’ is not a status; lines of every status are shown.")
    screw = screw_size(query.get("screw"), notes)
    page = page_number(query.get("page"), notes)
    return FleetFilters(
        site=query.get("site"), status=status, foundation=query.get("foundation"), screw_diameter_mm=screw, page=page
    )


def screw_size(said: str | None, notes: list[str]) -> float | None:
    """Return a screw size as an address says it [mm]; what is none is noted, and every size is meant."""
    if said is None:
        return None
    try:
        size = float(said)
    except ValueError:
        size = 0.0
    if 0 < size < _WIDEST_SCREW_MM:
        return size
    notes.append(f"‘{said}’ is not a screw size in mm; every size is shown.")
    return None


def page_number(said: str | None, notes: list[str]) -> int:
    """Return a page's number as an address says it; what is none is noted, and the first page is meant."""
    if said is None:
        return 1
    if said.isascii() and said.isdigit() and 1 <= int(said) <= _MOST_PAGES:
        return int(said)
    notes.append(f"‘{said}’ is not a page number; the first page is shown.")
    return 1


def href(address: Address) -> str:
    """Return the address of a view, with everything that is at its default left out."""
    path = "/" if address.page in ("fleet", "unknown") else f"/{address.page}"
    if address.page in _PATHS.values() and address.code is not None:
        path += f"/{quote(address.code, safe='')}"
    pairs = query(address)
    # Colons and commas may stand in a query as they are, and pins are easier to read with them.
    return f"{path}?{urlencode(pairs, safe=':,')}" if pairs else path


def query(address: Address) -> list[tuple[str, str]]:
    """Return the query of a view as pairs, in a fixed order; only what its page understands."""
    pairs: list[tuple[str, str | None]] = []
    if address.page == "fleet":
        chosen = address.filters
        pairs += [
            ("site", chosen.site),
            ("status", slug(chosen.status) if chosen.status else None),
            ("foundation", chosen.foundation),
            ("screw", None if chosen.screw_diameter_mm is None else f"{chosen.screw_diameter_mm:g}"),
            ("page", None if chosen.page == 1 else str(chosen.page)),
        ]
    all_lines = address.page == "cold-offsets" and address.code is None
    if all_lines:
        by = None if address.by == "size" else address.by
        pairs += [("site", address.filters.site), ("by", by), ("way", address.way), ("line", address.beside)]
    if address.page in ("line", "cold-offsets"):
        pairs += [("station", None if all_lines else address.station), ("axis", address.axis)]
    if address.page == "line":
        pairs += [("a", address.a), ("b", address.b)]
    pairs += address.own
    pairs.append(("unit", None if address.unit == "mm" else address.unit))
    return [(name, value) for name, value in pairs if value is not None]
