"""What can be taken along as a file: one function a table, from the same view as the page or figure it belongs to.

`TABLES` names them all. `/download/NAME.csv?view=/line/ORR-07?station=B` (the view percent-encoded) gives the table of
that view; `dashboard.components.downloads` writes such addresses.
"""

from __future__ import annotations

from typing import Final

from dashboard.tables import became, cold, compare, fleet, kept, line, plan, records, visit
from dashboard.tables.table import Maker

__all__ = ["TABLES", "Maker"]

TABLES: Final[dict[str, Maker]] = {
    **fleet.TABLES,
    **line.TABLES,
    **visit.TABLES,
    **cold.TABLES,
    **compare.TABLES,
    **records.TABLES,
    **plan.TABLES,
    **kept.TABLES,
    **became.TABLES,
}
"""Every table by its name in an address."""
