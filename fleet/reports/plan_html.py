"""A plan as one HTML file for paper, file and PDF: what goes into each stop, with a box to tick; it loads nothing."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Final

from fleet.reports import plan_tables
from fleet.reports import plan_words as say
from fleet.reports.cautions import HEADING, LAST, cautions
from fleet.reports.marks import status_mark
from fleet.reports.plan_content import PlanContent, PlanRow, Stop
from fleet.reports.session_style import style
from fleet.reports.session_tables import Table
from fleet.words import ReaderUnit, day

_MORE: Final = """
.stk td:first-child{white-space:nowrap}.sti{white-space:nowrap}.sti svg{width:15px;height:15px;vertical-align:-2px;\
margin-right:5px}.tick{display:none}
.pf th{width:150px;white-space:nowrap}.pf td{width:auto}
@media print{
.tick{display:table-cell}.tick i{display:inline-block;width:4.5mm;height:4.5mm;border:1pt solid #000;\
border-radius:.4mm}.visits{table-layout:fixed}.visits th,.visits td{overflow-wrap:anywhere}
.visits .t{width:10mm}.ln{width:25mm;font-weight:600}.st{width:23mm}.visits .c{width:13mm}.wd{width:46mm}\
.sk{width:37mm}.nd{width:46mm}.visits .w{width:27mm}td.w{border-bottom:.8pt solid #000}.why,.nd{font-size:7.8pt}
.pf th{width:32mm}.stop>.note{break-after:avoid}thead{break-after:avoid}
}
@page{size:A4 landscape;@bottom-left{content:"FOOT";\
font:8pt "Atkinson Hyperlegible Next","Liberation Sans",Arial,sans-serif;vertical-align:top;padding-top:2mm;width:100%}}
"""
_CLASSES: Final = {
    "Line": "ln", "Status": "st", "Crew h": "c", "Window": "wd", "Over before": "c", "If skipped": "sk", "Why": "why",
    "Needs": "nd",
}  # fmt: skip


def title(plan: PlanContent) -> str:
    """Return what the paper is: 'Plan of visits, Orrindale'."""
    return f"Plan of visits, {'every site' if plan.site is None else plan.site_name or plan.site}"


def kept_words(plan: PlanContent) -> str:
    """Return how the plan is kept in a few words: 'plan P-3, signed off', 'not saved'."""
    if plan.kept is None:
        return "not saved"
    return f"plan {plan.kept.code}, {'signed off' if plan.kept.state == 'signed_off' else 'not signed off'}"


def render(plan: PlanContent, unit: ReaderUnit) -> str:
    """Return a plan as a full HTML document that needs nothing beside itself.

    Parameters
    ----------
    plan : PlanContent
        The plan, kept or not.
    unit : {'mm', 'thou'}
        The reader's choice.

    Returns
    -------
    str
        The document: black on white on A4, landscape; head and foot stand on every page.
    """
    running = " · ".join(
        (
            title(plan),
            kept_words(plan),
            "hours in h, chances in %",
            plan_tables.zone_words(plan),
            f"as of {day(plan.as_of)}",
        )
    )
    more = _MORE.replace("FOOT", say.NO_PERMISSION)
    sections = [
        _cautions(unit),
        *(_stop(plan, stop) for stop in plan.stops),
        _section(plan_tables.above_table(plan), plan),
        _section(plan_tables.unvisited_table(plan), plan),
        _aside(plan),
        f'<section><p class="note">{escape(say.CHANCES)} {escape(say.NO_PERMISSION)}</p></section>',
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title(plan))}, {day(plan.as_of)}</title><style>{style(running)}{more}</style></head>\n"
        f'<body><main><article class="rep">{_head(plan)}\n' + "\n".join(filter(None, sections)) + "</article>\n"
        '<div class="acts noprint"><button type="button" class="btn" onclick="window.print()">Print</button>'
        "</div></main></body></html>\n"
    )


def _head(plan: PlanContent) -> str:
    facts = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td>{escape(value)}</td></tr>'
        for name, value in plan_tables.facts(plan)
    )
    told = "".join(f'<p class="say">{escape(text)}</p>' for text in (plan.older, *plan.dropped) if text)
    note = "" if plan.kept is None or not plan.kept.note else f'<p class="note">{escape(plan.kept.note)}</p>'
    return (
        f'<header><p class="crumb">Outages · {escape(kept_words(plan))} · record of {day(plan.as_of)}</p>'
        f"<h1>{escape(title(plan))}</h1>"
        f'<p class="lead">{escape(say.lead(plan))}</p>{told}{note}'
        f'<table class="fx pf"><tbody>{facts}</tbody></table></header>'
    )


def _cautions(unit: ReaderUnit) -> str:
    items = "".join(f"<li><b>{escape(lead)}</b> {escape(rest)}</li>" for lead, rest in cautions(None, unit))
    last = LAST.replace("This sheet", "This plan")
    return (
        f'<div class="caut" role="region" aria-label="Cautions"><h3>{HEADING}</h3><ul>{items}</ul>'
        f"<p><b>{escape(last)}</b></p></div>"
    )


def _stop(plan: PlanContent, stop: Stop) -> str:
    table = plan_tables.stop_table(plan, stop)
    notes = "".join(f'<p class="note">{escape(note)}</p>' for note in stop.notes)
    body = _table(table, plan, tick=True) if table.rows else '<p class="note">No visit planned.</p>'
    return (
        f'<section class="stop"><h2>{escape(table.title)}</h2><p class="note">{escape(table.note)}</p>'
        f"{notes}{body}</section>"
    )


def _section(table: Table | None, plan: PlanContent) -> str:
    return "" if table is None else f"<section><h2>{escape(table.title)}</h2>{_table(table, plan)}</section>"


def _aside(plan: PlanContent) -> str:
    items = "".join(f"<li>{escape(stop.why)}</li>" for stop in plan.aside)
    return f'<section><h2>Outages not planned into</h2><ul class="sl">{items}</ul></section>' if items else ""


def _table(table: Table, plan: PlanContent, *, tick: bool = False) -> str:
    by_line = {row.line: row for row in plan.rows}
    box = '<th scope="col" class="tick t">Done</th>' if tick else ""
    sign = '<th scope="col" class="tick w">Day and sign</th>' if tick else ""
    heads = "".join(f'<th scope="col" class="{_CLASSES.get(c, "")}">{escape(c)}</th>' for c in table.columns)
    body = "".join(_row(table.columns, cells, by_line[cells[0]], tick=tick) for cells in table.rows)
    kind = "stk visits" if tick else "stk"
    return f'<table class="{kind}"><thead><tr>{box}{heads}{sign}</tr></thead><tbody>{body}</tbody></table>'


def _row(columns: Iterable[str], cells: Iterable[str], row: PlanRow, *, tick: bool) -> str:
    shown = "".join(
        f'<td class="{_CLASSES.get(column, "")}" data-label="{escape(column)}">'
        f"{status_mark(row.status, 15) if column == 'Status' else escape(cell)}</td>"
        for column, cell in zip(columns, cells, strict=True)
    )
    if not tick:
        return f"<tr>{shown}</tr>"
    return f'<tr><td class="tick"><i></i></td>{shown}<td class="tick w"></td></tr>'
