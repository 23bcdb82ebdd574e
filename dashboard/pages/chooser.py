"""What Line, Job sheet and Cold offsets show before a line is chosen."""

from __future__ import annotations

from dash import dcc, html

from dashboard.address import Address, Page, href
from dashboard.components import notices
from dashboard.components.foot import foot
from dashboard.pages.page import Shown, head

NAMES: dict[Page, str] = {
    "fleet": "Fleet",
    "line": "Line",
    "job-sheet": "Job sheet",
    "record": "Record",
    "outages": "Outages",
    "compare": "Compare",
    "cold-offsets": "Cold offsets",
    "records": "Records",
}
OF_A_LINE: tuple[Page, ...] = ("line", "job-sheet", "record", "cold-offsets")
"""Pages about one line, which a reader takes along from one to the next."""
_QUESTIONS: dict[Page, str] = {
    "line": "Which line?",
    "job-sheet": "A job sheet for which line?",
    "cold-offsets": "Cold offsets of which line?",
}
SHOWN_AT_MOST = 400


def chooser_page(codes: tuple[str, ...], address: Address) -> Shown:
    """Return the list of lines a page can be opened for."""
    name = NAMES[address.page]
    if not codes:
        return Shown(name, [*head(_QUESTIONS[address.page], None), notices.empty_store(), foot(address.unit)])
    lead = [
        "Choose one here, or find it by its status in the ",
        dcc.Link("fleet", href=href(Address(unit=address.unit))),
        ".",
    ]
    links = [
        html.Li(dcc.Link(code, href=href(Address(page=address.page, code=code, unit=address.unit)), className="chip"))
        for code in codes[:SHOWN_AT_MOST]
    ]
    body = [*head(_QUESTIONS[address.page], lead), html.Ul(links, className="choose")]
    if len(codes) > SHOWN_AT_MOST:
        body.append(
            html.P(f"The first {SHOWN_AT_MOST} of {len(codes)} lines; the fleet has them all.", className="note")
        )
    return Shown(name, [*body, foot(address.unit)])
