"""The exchange folder: which columns each file has, how numbers are typed, and the writing itself."""

from __future__ import annotations

import csv
from datetime import date, datetime
from pathlib import Path
from typing import Final

COLUMNS: Final[dict[str, tuple[str, ...]]] = {
    name: tuple(columns.split())
    for name, columns in {
        "sites": "site name time_zone",
        "lines": "line site description screw_diameter_mm commissioned_on running_hours_per_year foundation"
        " cold_reference_c right_hand_side feed_section_mm weight visit_hours visit_cost_days"
        " cool_down_h heat_up_h screw_pull_h",
        "gearboxes": "gearbox frame hollow_shaft_bore_mm centre_height_mm expansion_per_k",
        "barrels": "barrel bore_mm outside_diameter_mm length_mm expansion_per_k",
        "screws": "screw diameter_mm length_mm",
        "placements": "line asset_kind asset installed_on removed_on",
        "supports": "line support distance_mm height_mm saddle vee_angle_deg carries slides adjusts_v adjusts_h"
        " v_step_um base_expansion_per_k added_on",
        "stations": "line station distance_mm support bore segment added_on",
        "instruments": "instrument kind resolution_um repeatability_um target_zero_um beam_offset_um"
        " beam_direction_um_per_m wander_um sense_v sense_h",
        "calibrations": "instrument calibrated_on due_on certificate",
        "tolerances": "line station axis measure from_on watch_um limit_um set_within_um basis",
        "settings": "site name value from_on",
        "sessions": "session line started_at reason outage technician instrument work_order running_hours ambient_c"
        " remarks corrects correction_reason",
        "surveys": "session survey phase measured_at instrument barrel_c gearbox_c gearbox_c_at base_c"
        " gearbox_level_um_per_m axis_by bolts screw die heats_off_h remarks",
        "readings": "session survey sequence station beam_state beam_roll_deg target_roll_deg v h unit",
        "offsets": "session survey station v h unit u_v u_h",
        "moves": "session after_survey support v h unit room_up room_down how",
        "cold_targets": "session station v h unit basis reason",
        "findings": "session item value unit note",
        "running_checks": "line checked_at station v_rise h_rise unit u relative_to gearbox_rise barrel_c gearbox_c"
        " gearbox_c_at base_c hours_since_heats_on screw die method technician",
        "support_temperatures": "session survey line checked_at support barrel_c base_c",
        "meters": "line read_at running_hours starts",
        "wear": "asset_kind asset measured_at distance_mm diameter_v diameter_h unit method",
        "events": "line happened_at kind note resets_trend station support",
        "outages": "outage site line kind starts_at ends_at crew_hours crews state",
    }.items()
}

UM_PER: Final = {"um": 1.0, "mm": 1000.0, "thou": 25.4}
_PLACES: Final = {"um": 0, "mm": 3, "thou": 1}

Cell = str | int | date | datetime | None


def decimal(value: float, places: int) -> str:
    """Return a number with a fixed count of decimals, and zero without a sign."""
    text = f"{value:.{places}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text


def typed(length_um: float, unit: str) -> str:
    """Return a length as somebody would type it: whole um, 0.001 mm or 0.1 thou."""
    return decimal(length_um / UM_PER[unit], _PLACES[unit])


def typed_um(length_um: float, unit: str) -> float:
    """Return what a length is once it has been rounded by typing it [um]."""
    return float(typed(length_um, unit)) * UM_PER[unit]


def _text(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    return value.isoformat() if isinstance(value, date) else str(value)


class Book:
    """Rows by file, in the order they were noted."""

    def __init__(self) -> None:
        self.rows: dict[str, list[dict[str, str]]] = {name: [] for name in COLUMNS}

    def add(self, table: str, **cells: Cell) -> None:
        """Note one row; a cell not given stays empty."""
        unknown = set(cells) - set(COLUMNS[table])
        if unknown:
            raise KeyError(f"{table} has no column {sorted(unknown)}")
        self.rows[table].append({column: _text(cells.get(column)) for column in COLUMNS[table]})

    def take(self, other: Book) -> None:
        """Append another book's rows."""
        for table, rows in other.rows.items():
            self.rows[table].extend(rows)

    def write(self, folder: Path) -> dict[str, int]:
        """Write one CSV file per kind that has rows, and return how many rows each got."""
        folder.mkdir(parents=True, exist_ok=True)
        for table, rows in self.rows.items():
            if not rows:
                continue
            with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as handle:
                writer = csv.DictWriter(handle, COLUMNS[table], lineterminator="\n")
                writer.writeheader()
                writer.writerows(rows)
        return {table: len(rows) for table, rows in self.rows.items() if rows}
