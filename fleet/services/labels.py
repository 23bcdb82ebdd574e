"""Labels for the machines: which lines, and where a label's code leads."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from urllib.parse import quote

from fleet.errors import NotFoundError
from fleet.reports.labels import Label, LabelSheet
from fleet.services.job_sheet import BASE_URL
from fleet.services.site_time import site_today, zone_of
from fleet.store import queries
from fleet.store.engine import Store


def label_sheet(
    store: Store,
    *,
    site: str | None = None,
    lines: tuple[str, ...] = (),
    base_url: str | None = None,
    now: datetime | None = None,
) -> LabelSheet:
    """Return the labels of a site's lines, of some lines, or of all.

    Parameters
    ----------
    store : the record
    site : a site's code; None: every site
    lines : codes of lines; none: every line of the site
    base_url : where phones reach this Asleft; None: as ASLEFT_BASE_URL says, and without that no codes
    now : the present moment, for tests

    Raises
    ------
    NotFoundError
        No site or line has a code that was asked for.
    """
    with store.read() as record:
        known = queries.lines(record)
    if site is not None and site not in {row.site for row in known}:
        raise NotFoundError(f"There is no line at a site '{site}'; the Fleet page lists the sites there are.")
    for line in lines:
        if line not in {row.code for row in known}:
            raise NotFoundError(f"There is no line '{line}' in the store; `asleft status` lists the lines there are.")
    base = (base_url or os.environ.get(BASE_URL) or "").rstrip("/")
    chosen = [row for row in known if site in (None, row.site) and (not lines or row.code in lines)]
    zone = zone_of(chosen[0].time_zone if chosen else None)
    return LabelSheet(
        labels=tuple(
            Label(
                row.code,
                row.site_name or row.site,
                row.description,
                f"{base}/job-sheet/{quote(row.code, safe='')}" if base else None,
            )
            for row in chosen
        ),
        chosen=_words(site, lines, {row.site: row.site_name for row in known}),
        as_of=site_today(zone, now or datetime.now(UTC)),
    )


def _words(site: str | None, lines: tuple[str, ...], names: dict[str | None, str | None]) -> str:
    where = f" at {names.get(site) or site}" if site else ""
    if lines:
        return f"{'Line' if len(lines) == 1 else 'Lines'} {', '.join(lines)}{where}"
    return f"Every line{where}"
