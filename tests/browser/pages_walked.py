"""The addresses that the walks over every page go to; whoever adds a page adds its address here.

The demo fleet is served; ORR-07 is its line with the longest record. A session's address is asked of the store.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from fleet.services.planning.example import AGO

PAGES: Final = (
    "/",
    "/line/ORR-07",
    "/job-sheet/ORR-07",
    "/cold-offsets/ORR-07",
    "/cold-offsets",
    "/compare",
    "/record",
    "/record/ORR-07",
    "/outages",
    "/outages?site=ORR",
    "/outages?site=ORR&view=time",
    "/outages?view=calendar",
    "/outages?site=ORR&edit=new",
    "/outages?site=ORR&if=limit:*:-50",
    f"/outages?plan=PLAN-{(datetime.now(UTC) - AGO).date()}",
    "/records",
    "/session/ORR-07-08",
)
TITLES: Final = {
    "/": "Fleet – Asleft",
    "/line/ORR-07": "ORR-07 over – Asleft",
    "/job-sheet/ORR-07": "Job sheet ORR-07 – Asleft",
    "/cold-offsets/ORR-07": "Cold offsets ORR-07 – Asleft",
}
"""Those whose title is asserted; the others' own tests do."""
MORE_VIEWS: Final = (
    f"/outages?plan=PLAN-{(datetime.now(UTC) - AGO).date()}&beside=now",
    f"/outages?site=ORR&beside=PLAN-{(datetime.now(UTC) - AGO).date()}",
    "/?unit=thou",
    "/?status=due",
    "/line/ORR-07?unit=thou&axis=h",
    "/cold-offsets/ORR-07?unit=thou",
    "/line",
    "/records?show=running-checks&line=ORR-07",
    "/records?show=tolerances&unit=thou",
)
"""Other views of the same pages, walked for their numbers only."""
