"""What became of plans, as tables: line by line, and the stated chances by how high they were."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final

from dashboard.address import Address
from dashboard.pages.outages_address import read
from dashboard.sources import Sources
from dashboard.tables.table import DEVIATION, Maker, about, length
from fleet.errors import NotFoundError
from fleet.reports import became_words as said
from fleet.reports.became_content import BecameLine, Found, Looked, ScoreContent
from fleet.reports.table_file import Column, Table

_STATED: Final = "chance of being over before the stop began, at the line's worst place, as the plan stated it"
_FOUND: Final = (
    Column("found_over", kind="yes or no", says="strictly more than the limit of the day, at any place"),
    Column("station", says="the worst place by share of its limit"),
    Column("axis", says="v vertical, h horizontal"),
    length("deviation", DEVIATION),
    length("limit", "of the day it was measured"),
    Column("right_hand_side", says="the plant's word for right"),
)
_LINE: Final = (
    Column("plan"),
    Column("line"),
    Column("site"),
    Column("planned_into"),
    Column("became"),
    Column("session"),
    Column("visited_on", kind="day", says="at the line's site"),
    Column("made_in"),
    Column("planned_work", "h", "number", "crew hours planned"),
    Column("written_work", "h", "number", "crew hours written down at the visit"),
    Column("stated_chance", "1", "number", _STATED),
    *_FOUND,
)
_LOOK: Final = (
    Column("plan"),
    Column("line"),
    Column("site"),
    Column("stop"),
    Column("session"),
    Column("visited_on", kind="day", says="at the line's site"),
    Column("stated_chance", "1", "number", _STATED),
    *_FOUND,
)
_BAND: Final = (
    Column("stated_above", "1", "number", "0 included in the first band"),
    Column("stated_up_to", "1", "number", "included"),
    Column("looked_at", kind="number", says="lines"),
    Column("expected_over", kind="number", says="lines: the sum of their stated chances"),
    Column("found_over", kind="number", says="lines"),
)


def by_line(sources: Sources, address: Address) -> Table:
    """Return every line of the kept plan in view, or every look that the chances of signed plans are judged by."""
    code, site = _asked(address)
    today = datetime.now(UTC).date()
    if code is not None:
        looked = sources.plans.became(code)
        return Table(
            title=f"What became of plan {code}",
            columns=_LINE,
            rows=tuple(_line(code, line) for line in looked.lines),
            about=about(address, today, ("visits", said.lead(looked)), ("stated", said.STATED)),
            dates=(today,),
        )
    score = sources.plans.score(site)
    return Table(
        title="Stated chances beside what was found",
        columns=_LOOK,
        rows=tuple(_look(look) for look in score.lines),
        about=about(address, today, ("lines", f"site {site}" if site else "every line"), *_told(score)),
        dates=(today,),
    )


def by_chance(sources: Sources, address: Address) -> Table:
    """Return how many lines were expected and found over, by how high their chance was stated."""
    code, site = _asked(address)
    score = sources.plans.became(code).score if code is not None else sources.plans.score(site)
    today = datetime.now(UTC).date()
    of = f"plan {code}" if code is not None else f"site {site}" if site else "every line"
    return Table(
        title="Stated chances by how high they were",
        columns=_BAND,
        rows=tuple((one.low, one.high, one.looked_at, one.expected, one.found) for one in score.bands),
        about=about(address, today, ("of", of), *_told(score)),
        dates=(today,),
    )


def _asked(address: Address) -> tuple[str | None, str | None]:
    """Return the kept plan in view, and the site where none is."""
    if address.page != "outages":
        raise NotFoundError("this table belongs to the page Outages; take it from there")
    shown, _ = read(address)
    return shown.plan, shown.asked.site


def _told(score: ScoreContent) -> tuple[tuple[str, str], ...]:
    told = (
        ("found", " ".join(said.score_sentences(score))),
        ("score", said.brier(score)),
        ("Brier score", "" if score.brier is None else repr(score.brier)),
        ("stated", f"{said.STATED} {said.CAME_BACK}"),
    )
    return tuple((name, text) for name, text in told if text)


def _line(plan: str, line: BecameLine) -> tuple[Any, ...]:
    return (
        plan, line.line, line.site, line.planned, said.deed(line), line.session, line.on, line.done,
        line.hours_planned, line.hours_done, line.stated, *_found(line.found),
    )  # fmt: skip


def _look(look: Looked) -> tuple[Any, ...]:
    found = look.found
    return (look.plan, look.line, look.site, look.stop, found.session, found.on, look.stated, *_found(found))


def _found(found: Found | None) -> tuple[Any, ...]:
    if found is None:
        return (None,) * len(_FOUND)
    return (found.over, found.station, found.axis, found.deviation_um, found.limit_um, found.side)


TABLES: Final[dict[str, Maker]] = {"plan-became": by_line, "plan-score": by_chance}
