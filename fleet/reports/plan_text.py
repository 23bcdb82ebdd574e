"""A plan as text for the terminal; the same sentences and figures as on paper."""

from __future__ import annotations

from fleet.reports import plan_tables
from fleet.reports import plan_words as say
from fleet.reports.plan_content import PlanContent
from fleet.reports.plan_html import title
from fleet.reports.session_tables import Table
from fleet.words import ReaderUnit, day


def render_text(plan: PlanContent, unit: ReaderUnit) -> str:
    """Return a plan as lines of text.

    Parameters
    ----------
    plan : PlanContent
        The plan, kept or not.
    unit : {'mm', 'thou'}
        The reader's choice; a plan holds no length, so both read the same.
    """
    del unit
    lines = [title(plan), say.lead(plan), *(text for text in (plan.older, *plan.dropped) if text)]
    lines += ["", *(f"  {name}: {value}" for name, value in plan_tables.facts(plan))]
    for stop in plan.stops:
        table = plan_tables.stop_table(plan, stop)
        lines += ["", table.title, f"  {table.note}", *(f"  {note}" for note in stop.notes)]
        if not table.rows:
            lines.append("  No visit planned.")
        for row in table.rows:
            line, status, hours, window, before, skipped, why, needs = row
            lines.append(f"  {line}  {status}  {hours} crew h, {before} over before, {skipped} if skipped")
            lines.append(f"    {window}; {why}")
            lines += [] if needs == plan_tables.NONE else [f"    needs {needs}"]
    lines += _listed(plan_tables.above_table(plan))
    lines += _listed(plan_tables.unvisited_table(plan))
    if plan.aside:
        lines += ["", "Outages not planned into", *(f"  {stop.why}" for stop in plan.aside)]
    zone = plan_tables.zone_words(plan)
    lines += ["", f"{say.CHANCES} State of {day(plan.as_of)}; {zone}. {say.NO_PERMISSION}"]
    return "\n".join(lines)


def _listed(table: Table | None) -> list[str]:
    if table is None:
        return []
    widths = [max(len(row[k]) for row in table.rows) for k in range(len(table.columns))]
    return [
        "",
        table.title,
        *(
            "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in table.rows
        ),
    ]
