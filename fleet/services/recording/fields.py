"""Names of what is typed at a visit: one field, one name, one text.

The screen takes field names from the view and never makes any up; this is how they are built, for whoever reads a
draft. `<ST>` and `<SU>` are the codes of a station and of a support, percent-encoded with the point too; `<n>` counts
the passes over the stations (1 the as-found), `<b>` the beam's states while it is set (1 before the first trimming).

| name | what it holds |
| --- | --- |
| `started_at`, `technician`, `instrument`, `reason`, `outage`, `work_order`, `running_hours`, `ambient_c`, `remarks` | as in `sessions`; `started_at` is local time at the site, `YYYY-MM-DDTHH:MM` |
| `unit` | `mm`, `in`, `thou` or `um`, for every length of the visit; fixed by `start` |
| `rolls` | how many beam rolls a station is read at: `2` (0, 180) or `4` (0, 90, 180, 270) |
| `skip.<ST>` | `yes`: the station is left out today |
| `correction_reason` | why a signed session is corrected |
| `trims` | how often the beam was trimmed while it was set, `0` to `5` |
| `b<b>.<ST>.<roll>.v`, `.h` | a reading while the beam is set, as the instrument shows it |
| `rounds` | how many passes there are, `1` to `4`; `2` where nothing is typed: as-found and as-left |
| `p<n>.phase` | overrides the phase: the first pass is `as_found`, the last of several `as_left`, others `interim` |
| `p<n>.measured_at`, `.barrel_c`, `.gearbox_c`, `.gearbox_c_at`, `.base_c`, `.gearbox_level_um_per_m`, `.axis_by`, `.bolts`, `.screw`, `.die`, `.heats_off_h`, `.remarks` | as in `surveys` |
| `p<n>.t.<SU>.barrel_c`, `.base_c` | a support's own temperatures |
| `p<n>.s.<ST>.<roll>.v`, `.h` | a reading at a station |
| `p<n>.s.<ST>.trimmed` | `yes`: the beam was adjusted before this station was read; its next state begins |
| `p<n>.again.<roll>.v`, `.h` | the first station read again at the end |
| `m<n>.<SU>.v.amount`, `.v.way` (`higher`, `lower`), `.v.how`; `.h.` with `right`, `left` | what was done after pass n |
| `m<n>.<SU>.room_up`, `.room_down` | room left after the move, as in `moves`; only a correction brings it |
| `m<n>.nothing` | `yes`: nothing was moved after pass n |
| `c.<ST>.v`, `.h`; `c.basis`, `c.reason` | the cold target chosen, + high or right, in the visit's unit; `c.<ST>.basis`, `c.<ST>.reason` stand before the common ones |
| `f<k>.item`, `.value`, `.unit`, `.note` | a finding, k from 1 to 6 |
| `n.<key>.choice`, `.why`, `.was` | how something noticed was settled: `corrected`, `read_again`, `kept` |
| `why.<what>` | the reason asked where signing wants one: `beam`, `calibration`, `temperatures`, ... |
"""  # noqa: E501

from __future__ import annotations

from functools import lru_cache
from typing import Final
from urllib.parse import quote, unquote

MOST_PASSES: Final = 4
MOST_TRIMS: Final = 5
MOST_FINDINGS: Final = 6
HEAD: Final = (
    "started_at", "technician", "instrument", "reason", "outage", "work_order", "running_hours", "ambient_c", "remarks",
)  # fmt: skip
"""Fields that are columns of the session."""
CONDITIONS: Final = (
    "barrel_c", "gearbox_c", "gearbox_c_at", "base_c", "gearbox_level_um_per_m", "axis_by", "bolts", "screw", "die",
    "heats_off_h", "remarks", "measured_at",
)  # fmt: skip
"""Fields of a pass that are columns of the survey."""
CARRIED: Final = (
    "barrel_c", "gearbox_c", "gearbox_c_at", "base_c", "gearbox_level_um_per_m", "axis_by", "screw", "die",
)  # fmt: skip
"""Conditions that hold for a later pass too where nothing else is typed there; the view says so."""
ROLLS: Final = {"2": (0, 180), "4": (0, 90, 180, 270)}
"""Beam rolls a station is read at [degree], by how many."""
CLOCK: Final = {0: 12, 90: 9, 180: 6, 270: 3}
"""Where the beam's mark stands at a roll, as a clock seen from the gearbox."""
CHOICES: Final = ("corrected", "read_again", "kept")


@lru_cache(maxsize=4_096)
def coded(code: str) -> str:
    """Return a code as it stands in a field's name."""
    return quote(code, safe="").replace(".", "%2E").replace("~", "%7E")


def code_of(part: str) -> str:
    """Return the code that stands in a field's name."""
    return unquote(part)


def beam_field(state: int, station: str, roll: int, axis: str) -> str:
    """Return the name of a reading while the beam is set."""
    return f"b{state}.{coded(station)}.{roll}.{axis}"


def reading_field(number: int, station: str, roll: int, axis: str) -> str:
    """Return the name of a reading at a station."""
    return f"p{number}.s.{coded(station)}.{roll}.{axis}"


def trimmed_field(number: int, station: str) -> str:
    """Return the name of the mark that the beam was adjusted before this station was read."""
    return f"p{number}.s.{coded(station)}.trimmed"


def again_field(number: int, roll: int, axis: str) -> str:
    """Return the name of a reading of the first station at the end of a pass."""
    return f"p{number}.again.{roll}.{axis}"


def condition_field(number: int, name: str) -> str:
    """Return the name of a condition of a pass."""
    return f"p{number}.{name}"


def support_field(number: int, support: str, name: str) -> str:
    """Return the name of a support's own temperature."""
    return f"p{number}.t.{coded(support)}.{name}"


def move_field(number: int, support: str, axis: str, part: str) -> str:
    """Return the name of what was done at a support after a pass: its amount, way or how."""
    return f"m{number}.{coded(support)}.{axis}.{part}"


def room_field(number: int, support: str, name: str) -> str:
    """Return the name of the room left at a support after a move."""
    return f"m{number}.{coded(support)}.{name}"


def target_field(station: str, axis: str) -> str:
    """Return the name of a cold target on an axis, or of its own basis or reason."""
    return f"c.{coded(station)}.{axis}"


def skip_field(station: str) -> str:
    """Return the name of the mark that a station is left out today."""
    return f"skip.{coded(station)}"


def settle_field(key: str, part: str) -> str:
    """Return the name of how something noticed was settled: its choice, why, or what was typed before."""
    return f"n.{key}.{part}"


def is_length(name: str) -> bool:
    """Return whether a field holds a length in the visit's unit."""
    parts = name.split(".")
    first = parts[0]
    if first[:1] in ("b", "p") and first[1:].isdigit():
        return parts[-1] in ("v", "h") and len(parts) > 2
    return (first[:1] == "m" and parts[-1] == "amount") or (first == "c" and parts[-1] in ("v", "h"))


def noticed_key(digest: str, number: int, check: str, axis: str | None, station: str | None, field: str | None) -> str:
    """Return the key of something noticed: it tells what it was also when it stands no longer."""
    at = "" if station is None else coded(station)
    doubted = "" if field is None else field.replace(".", "!")
    return "~".join((digest, str(number), check, axis or "", at, doubted))


def noticed_parts(key: str) -> tuple[int, str, str | None, str | None, str | None] | None:
    """Return number of the pass, check, axis, station and field from a key; None where it is none."""
    parts = key.split("~")
    if len(parts) != 6 or not parts[1].isdigit():
        return None
    _, number, check, axis, station, field = parts
    return int(number), check, axis or None, code_of(station) or None, field.replace("!", ".") or None


def reading_words(field: str) -> str | None:
    """Return which reading a field holds, such as `h at 180°`; None where it holds none."""
    parts = field.split(".")
    if len(parts) < 3 or parts[-1] not in ("v", "h") or not parts[-2].isdigit():
        return None
    return f"{parts[-1]} at {parts[-2]}°" + (", read again at the end" if parts[1] == "again" else "")
