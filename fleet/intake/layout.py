"""The exchange format as data: every file, its columns, their kinds, bounds and closed words.

One source of truth for reading, checking, writing and the empty template. `SHEETS` stands in the order in which the
things exist: what a row refers to comes from an earlier sheet, or from the same one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final, Literal

Kind = Literal["code", "text", "number", "whole", "length", "unit", "time", "date", "flag", "word"]
"""What a cell holds; a `length` is read in the unit of its row."""

Treatment = Literal["master", "placement", "fact", "session"]
"""What happens to a known key with other content: master data take it, placements gain an end, the rest is refused."""

LARGEST: Final = Decimal(10) ** 9
"""The general bound of a number that has none of its own; whatever is larger is a slip of the hand."""

FILE_BYTES: Final = 200_000_000
TOTAL_BYTES: Final = 1_000_000_000
MOST_COLUMNS: Final = 256
MOST_ROWS: Final = 1_048_576
MOST_CHARACTERS: Final = 32_767
CODE_CHARACTERS: Final = 64


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    `low` and `high` bound a number (inclusive, or exclusive where `open_ends`), a length in micrometres. `assumed` is
    what an empty cell means. `happened` marks a day or time that cannot lie ahead, `clock` one that needs a time of
    day, `ends` one where a bare date means the end of that day. `refers` names the sheet whose code stands here (a
    station's or support's within the row's line). `most` is the longest text.
    """

    name: str
    kind: Kind
    help: str
    required: bool = False
    key: bool = False
    low: Decimal | None = None
    high: Decimal | None = None
    open_ends: bool = False
    words: tuple[str, ...] = ()
    usual: tuple[str, ...] = ()
    assumed: str | None = None
    happened: bool = False
    clock: bool = False
    ends: bool = False
    refers: str | None = None
    most: int = MOST_CHARACTERS


@dataclass(frozen=True, slots=True)
class Sheet:
    """One file of the folder, or one sheet of the workbook."""

    name: str
    treatment: Treatment
    help: str
    columns: tuple[Column, ...]
    by_name: dict[str, Column] = field(repr=False, compare=False)

    @property
    def keys(self) -> tuple[str, ...]:
        """Names of the key columns, in their order."""
        return tuple(column.name for column in self.columns if column.key)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that must be there and filled."""
        return tuple(column.name for column in self.columns if column.required)


ASSET_KINDS: Final = ("gearbox", "barrel", "screw")
PHASES: Final = ("as_found", "interim", "as_left", "hot")
AXIS_WORDS: Final = ("v", "h")
MEASURES: Final = ("offset", "slope", "bow")
SADDLES: Final = ("vee", "flat", "centreline", "plate")
CARRIES: Final = ("rigid", "floating")
SLIDES: Final = ("fixed", "slides", "rolls", "flexes")
SENSES: Final = ("bore_from_beam", "beam_from_bore")
GEARBOX_AT: Final = ("casing_mean", "oil")
AXIS_BY: Final = ("shaft_turned", "fixture_turned", "bore_centred")
BOLTS: Final = ("torqued", "loose")
SCREW: Final = ("out", "in")
DIE: Final = ("on", "off")
RELATIVE_TO: Final = ("gearbox_axis", "floor")
OUTAGE_STATES: Final = ("planned", "done", "cancelled")
UNITS: Final = ("um", "mm", "in", "thou")
FLAGS: Final = ("yes", "no")
MOVE_PLACES: Final = ("gearbox_feet", "flange")

SESSION_SHEETS: Final = ("sessions", "surveys", "readings", "offsets", "moves", "cold_targets", "findings")
"""Sheets whose rows hang from a session (support temperatures may)."""

_ZERO: Final = Decimal(0)
_REACH_UM: Final = Decimal(50_000)


def _code(name: str, help_: str, *, refers: str | None = None, required: bool = False, key: bool = False) -> Column:
    return Column(name, "code", help_, required=required, key=key, refers=refers)


def _key(name: str, help_: str, *, refers: str | None = None) -> Column:
    return Column(name, "code", help_, required=True, key=True, refers=refers)


def _text(
    name: str, help_: str, *usual: str, key: bool = False, required: bool = False, most: int = MOST_CHARACTERS
) -> Column:
    return Column(name, "text", help_, usual=usual, key=key, required=required, most=most)


def _number(
    name: str,
    help_: str,
    low: Decimal | int | str = 0,
    high: Decimal | int | str = LARGEST,
    *,
    required: bool = False,
    key: bool = False,
    open_ends: bool = False,
    assumed: str | None = None,
) -> Column:
    return Column(
        name,
        "number",
        help_,
        required=required,
        key=key,
        low=Decimal(low),
        high=Decimal(high),
        open_ends=open_ends,
        assumed=assumed,
    )


def _whole(
    name: str, help_: str, low: int = 0, *, required: bool = False, key: bool = False, assumed: str | None = None
) -> Column:
    return Column(
        name, "whole", help_, required=required, key=key, low=Decimal(low), high=Decimal(1_000_000), assumed=assumed
    )


def _distance(help_: str, *, key: bool = False) -> Column:
    return _number("distance_mm", help_, 0, 20_000, required=True, key=key)


def _celsius(name: str, help_: str, *, assumed: str | None = None) -> Column:
    return _number(name, help_, -50, 600, assumed=assumed)


def _per_kelvin(name: str, help_: str) -> Column:
    return _number(name, help_, 0, "0.00005")


def _roll(name: str, help_: str) -> Column:
    return _number(name, help_, -360, 360, assumed="0")


def _length(name: str, help_: str, *, signed: bool, required: bool = False, most: Decimal = _REACH_UM) -> Column:
    return Column(name, "length", help_, required=required, low=-most if signed else _ZERO, high=most)


def _unit(*, required: bool = True) -> Column:
    return Column("unit", "unit", "Unit of the lengths in this row.", required=required, words=UNITS)


def _word(
    name: str,
    help_: str,
    words: tuple[str, ...],
    *,
    required: bool = False,
    key: bool = False,
    assumed: str | None = None,
) -> Column:
    return Column(name, "word", help_, required=required, key=key, words=words, assumed=assumed)


def _flag(name: str, help_: str, *, assumed: str | None = None) -> Column:
    return Column(name, "flag", help_, words=FLAGS, assumed=assumed)


def _time(
    name: str,
    help_: str,
    *,
    required: bool = False,
    key: bool = False,
    happened: bool = True,
    clock: bool = False,
    ends: bool = False,
) -> Column:
    return Column(name, "time", help_, required=required, key=key, happened=happened, clock=clock, ends=ends)


def _date(name: str, help_: str, *, required: bool = False, key: bool = False, happened: bool = True) -> Column:
    return Column(name, "date", help_, required=required, key=key, happened=happened)


def _sheet(name: str, treatment: Treatment, help_: str, *columns: Column) -> Sheet:
    return Sheet(name, treatment, help_, columns, {column.name: column for column in columns})


_LINE = _key("line", "Code of the line.", refers="lines")
_SESSION = _key("session", "Code of the session.", refers="sessions")
_SURVEY = _whole("survey", "Number of the survey within its session.", required=True, key=True)
_V = _length("v", "Vertical; + is high of the gearbox axis.", signed=True, required=True)
_H = _length("h", "Horizontal; + is right, looking from the gearbox to the discharge end.", signed=True, required=True)

SHEETS: Final[tuple[Sheet, ...]] = (
    _sheet(
        "sites",
        "master",
        "The plants the lines stand in.",
        _key("site", "Code of the site."),
        _text("name", "Name of the site."),
        _text("time_zone", "IANA name such as Europe/London; empty is UTC."),
    ),
    _sheet(
        "lines",
        "master",
        "One extruder each: gearbox, barrel and supports.",
        _key("line", "Code of the line."),
        _code("site", "Site the line stands in; empty where it has none.", refers="sites"),
        _text("description", "What people call the line."),
        _number("screw_diameter_mm", "Screw diameter in mm."),
        _date("commissioned_on", "Day the line was first run."),
        _number("running_hours_per_year", "Usual running hours a year, where no meter is kept."),
        _text("foundation", "What the line stands on.", "slab", "frame"),
        _celsius("cold_reference_c", "Temperature at which cold offsets are compared, C; empty is 20.", assumed="20"),
        _text("right_hand_side", "The plant's word for the right, looking from the gearbox.", "operator side"),
        _number("feed_section_mm", "Length of a feed section between gearbox and barrel, mm.", 0, 20_000),
        _number("weight", "How much the line counts when visits are planned; empty is 1.", assumed="1"),
        _number("visit_hours", "Crew hours of a realignment."),
        _number("visit_cost_days", "Cost of a realignment in days of lost production."),
        _number("cool_down_h", "Hours to cool down."),
        _number("heat_up_h", "Hours to heat up."),
        _number("screw_pull_h", "Hours to draw the screw."),
    ),
    _sheet(
        "gearboxes",
        "master",
        "Gearboxes by serial number.",
        _key("gearbox", "Serial number of the gearbox."),
        _text("frame", "Frame size or type.", "small", "medium", "large"),
        _number("hollow_shaft_bore_mm", "Bore of the hollow shaft, mm."),
        _number("centre_height_mm", "Height of the axis over the base, mm.", 0, 20_000),
        _per_kelvin("expansion_per_k", "Expansion of the casing per K, such as 0.000011."),
    ),
    _sheet(
        "barrels",
        "master",
        "Barrels by serial number.",
        _key("barrel", "Serial number of the barrel."),
        _number("bore_mm", "Bore, mm."),
        _number("outside_diameter_mm", "Outside diameter, mm."),
        _number("length_mm", "Length, mm.", 0, 20_000),
        _per_kelvin("expansion_per_k", "Expansion of the barrel per K, such as 0.0000121."),
    ),
    _sheet(
        "screws",
        "master",
        "Screws by serial number.",
        _key("screw", "Serial number of the screw."),
        _number("diameter_mm", "Diameter, mm."),
        _number("length_mm", "Length, mm.", 0, 20_000),
    ),
    _sheet(
        "placements",
        "placement",
        "Which gearbox, barrel or screw stood on which line, from when to when.",
        _code("line", "Code of the line.", refers="lines", required=True),
        _word("asset_kind", "gearbox, barrel or screw.", ASSET_KINDS, required=True, key=True),
        _key("asset", "Serial number."),
        _date("installed_on", "First day on the line.", required=True, key=True),
        _date("removed_on", "Day it left; empty while it stands there."),
    ),
    _sheet(
        "supports",
        "master",
        "Adjustable carriers under the barrel.",
        _LINE,
        _key("support", "Code of the support; stands for one place for ever."),
        _distance("Distance from the gearbox's mounting face, mm."),
        _number("height_mm", "Height from base to barrel axis, mm.", 0, 20_000),
        _word("saddle", "How the barrel lies on it.", SADDLES),
        _number("vee_angle_deg", "Included angle of a vee, degrees.", 0, 180, open_ends=True),
        _word("carries", "Whether it carries firmly or floats; empty is rigid.", CARRIES, assumed="rigid"),
        _word("slides", "How it lets the barrel grow.", SLIDES),
        _flag("adjusts_v", "Can be set up and down."),
        _flag("adjusts_h", "Can be set sideways."),
        _number("v_step_um", "Smallest vertical step (a shim), um.", 0, 50_000),
        _per_kelvin("base_expansion_per_k", "Expansion of its base per K."),
        _date("added_on", "First day; empty is always."),
        _date("removed_on", "Day it was taken away."),
    ),
    _sheet(
        "stations",
        "master",
        "Places in the bore that are measured.",
        _LINE,
        _key("station", "Code of the station; stands for one place for ever."),
        _distance("Distance from the gearbox's mounting face, mm."),
        _code("support", "Support it lies over, if any.", refers="supports"),
        _whole("bore", "Which bore of a twin; empty is 1.", 1, assumed="1"),
        _text("segment", "Part of the barrel.", "feed end", "discharge end"),
        _date("added_on", "First day; empty is always."),
        _date("removed_on", "Day it was given up."),
    ),
    _sheet(
        "instruments",
        "master",
        "What the readings are taken with.",
        _key("instrument", "Serial number of the instrument."),
        _text("kind", "Kind of instrument.", "beam and target", "telescope"),
        _number("resolution_um", "Smallest step shown, um."),
        _number("repeatability_um", "Standard deviation of a repeated reading, um."),
        _number("target_zero_um", "Standard uncertainty of the target's zero, um."),
        _number("beam_offset_um", "Standard uncertainty of the beam's offset, um."),
        _number("beam_direction_um_per_m", "Standard uncertainty of the beam's direction, um per m."),
        _number("wander_um", "Wander of the beam between readings, um."),
        _word("sense_v", "What a positive vertical reading shows.", SENSES),
        _word("sense_h", "What a positive horizontal reading shows.", SENSES),
    ),
    _sheet(
        "calibrations",
        "master",
        "Calibrations of the instruments.",
        _key("instrument", "Serial number of the instrument.", refers="instruments"),
        _date("calibrated_on", "Day of the calibration.", required=True, key=True),
        _date("due_on", "Day the next one is due.", happened=False),
        _text("certificate", "Number of the certificate."),
    ),
    _sheet(
        "tolerances",
        "fact",
        "Watch and limit widths, dated.",
        _LINE,
        _code("station", "Station; empty is the whole line.", refers="stations", key=True),
        _word("axis", "v or h.", AXIS_WORDS, required=True, key=True),
        _word("measure", "What is judged; empty is offset.", MEASURES, key=True, assumed="offset"),
        _date("from_on", "First day it holds; empty is always.", key=True, happened=False),
        _number("watch_um", "Watch half-width, um (slope: um per m)."),
        _number("limit_um", "Limit half-width, um (slope: um per m).", required=True),
        _number("set_within_um", "Half-width to set within, um."),
        _text("basis", "Where the numbers come from.", "plant rule"),
    ),
    _sheet(
        "settings",
        "master",
        "Choices that steer the arithmetic.",
        _code("site", "Site; empty is all sites.", refers="sites", key=True),
        _text("name", "Name of the setting.", key=True, required=True, most=64),
        _text("value", "Its value.", required=True),
        _date("from_on", "First day it holds; empty is always.", key=True, happened=False),
    ),
    _sheet(
        "outages",
        "master",
        "Windows in which a line can be realigned.",
        _key("outage", "Code of the outage."),
        _code("site", "Site it is for; empty with an empty line is any.", refers="sites"),
        _code("line", "Line it is for.", refers="lines"),
        _text("kind", "Kind of outage.", "maintenance stop", "screw change"),
        _time("starts_at", "Beginning, local to the site.", required=True, happened=False),
        _time(
            "ends_at",
            "End, local to the site; a bare date is the end of that day.",
            required=True,
            happened=False,
            ends=True,
        ),
        _number("crew_hours", "Crew hours there are for alignment."),
        _whole("crews", "Crews at work side by side."),
        _word("state", "planned, done or cancelled; empty is planned.", OUTAGE_STATES, assumed="planned"),
    ),
    _sheet(
        "sessions",
        "session",
        "Dated visits to a line.",
        _key("session", "Code of the session."),
        _code("line", "Line that was visited.", refers="lines", required=True),
        _time("started_at", "Beginning with its time of day, local to the site.", required=True, clock=True),
        _text("reason", "Why the visit was made.", "yearly", "outage", "on request", "new line"),
        _code("outage", "Outage it was made in.", refers="outages"),
        _text("technician", "Who measured."),
        _code("instrument", "What with.", refers="instruments"),
        _text("work_order", "Number of the work order."),
        _number("running_hours", "Reading of the hour meter."),
        _celsius("ambient_c", "Temperature of the hall, C."),
        _text("remarks", "Anything worth knowing."),
        _code("corrects", "Session this one takes the place of.", refers="sessions"),
        _text("correction_reason", "Why it had to be corrected."),
    ),
    _sheet(
        "surveys",
        "session",
        "Passes over the stations within a session.",
        _SESSION,
        _SURVEY,
        _word("phase", "What the survey shows.", PHASES, required=True),
        _time("measured_at", "When; empty is the session's."),
        _code("instrument", "What with; empty is the session's.", refers="instruments"),
        _celsius("barrel_c", "Barrel temperature, C."),
        _celsius("gearbox_c", "Gearbox temperature, C."),
        _word("gearbox_c_at", "Where that was taken; empty is casing_mean.", GEARBOX_AT, assumed="casing_mean"),
        _celsius("base_c", "Temperature of the base, C."),
        _number("gearbox_level_um_per_m", "Level of the gearbox, um per m.", -50_000, 50_000),
        _word("axis_by", "How the gearbox axis was found.", AXIS_BY),
        _word("bolts", "Hold-down bolts.", BOLTS),
        _word("screw", "Whether the screw was out or in.", SCREW),
        _word("die", "Whether the die was on or off.", DIE),
        _number("heats_off_h", "Hours since the heats went off."),
        _text("remarks", "Anything worth knowing."),
    ),
    _sheet(
        "readings",
        "session",
        "What the instrument showed.",
        _SESSION,
        _SURVEY,
        _whole("sequence", "Order of the reading within its survey.", required=True, key=True),
        _code("station", "Station.", refers="stations", required=True),
        _whole("beam_state", "Stretch in which nobody adjusted the beam; empty is 1.", 1, assumed="1"),
        _roll("beam_roll_deg", "Roll of the beam, degrees; empty is 0."),
        _roll("target_roll_deg", "Roll of the target, degrees; empty is 0."),
        _length("v", "Vertical, as shown by the instrument.", signed=True, required=True),
        _length("h", "Horizontal, as shown by the instrument.", signed=True, required=True),
        _unit(),
        _time("taken_at", "When."),
    ),
    _sheet(
        "offsets",
        "session",
        "Results, where an old record holds nothing else.",
        _SESSION,
        _SURVEY,
        _key("station", "Station.", refers="stations"),
        _V,
        _H,
        _unit(),
        _length("u_v", "Standard uncertainty of v.", signed=False),
        _length("u_h", "Standard uncertainty of h.", signed=False),
    ),
    _sheet(
        "moves",
        "session",
        "What was moved, and by how much.",
        _SESSION,
        _whole("after_survey", "Survey it came after.", key=True),
        _key("support", "Support, or gearbox_feet, or flange.", refers="supports"),
        _length("v", "Upward +; write 0 for not moved.", signed=True),
        _length("h", "To the right +; write 0 for not moved.", signed=True),
        _unit(),
        _length("room_up", "Room left upward.", signed=False),
        _length("room_down", "Room left downward.", signed=False),
        _text("how", "By what means.", "shims", "shims and side screws"),
    ),
    _sheet(
        "cold_targets",
        "session",
        "Offsets to set when cold.",
        _SESSION,
        _key("station", "Station.", refers="stations"),
        _V,
        _H,
        _unit(),
        _text("basis", "Where the target comes from.", "drop for the size", "running check"),
        _text("reason", "Why."),
    ),
    _sheet(
        "findings",
        "session",
        "What was noticed beside the alignment.",
        _SESSION,
        _text("item", "What.", "soft foot", "grout", "bearing play", "crew hours", key=True, required=True, most=255),
        _text("value", "How much; a number where a unit is given. Crew hours as 14 h, the unit empty."),
        _unit(required=False),
        _text("note", "In words."),
    ),
    _sheet(
        "running_checks",
        "fact",
        "Measured rises, the line hot and running or just stopped.",
        _LINE,
        _time("checked_at", "When, local to the site.", required=True, key=True),
        _key("station", "Station.", refers="stations"),
        _length("v_rise", "Vertical rise from cold to running.", signed=True, required=True),
        _length("h_rise", "Horizontal rise.", signed=True),
        _unit(),
        _length("u", "Standard uncertainty of the rise.", signed=False),
        _word("relative_to", "What it is measured from; empty is gearbox_axis.", RELATIVE_TO, assumed="gearbox_axis"),
        _length("gearbox_rise", "Rise of the gearbox axis from the floor.", signed=True),
        _celsius("barrel_c", "Barrel temperature, C."),
        _celsius("gearbox_c", "Gearbox temperature, C."),
        _word("gearbox_c_at", "Where that was taken; empty is casing_mean.", GEARBOX_AT, assumed="casing_mean"),
        _celsius("base_c", "Temperature of the base, C."),
        _celsius("zero_barrel_c", "Barrel temperature when the zero was taken, C."),
        _celsius("zero_gearbox_c", "Gearbox temperature when the zero was taken, C."),
        _celsius("zero_base_c", "Base temperature when the zero was taken, C."),
        _number("hours_since_heats_on", "Hours since the heats went on."),
        _word("screw", "Whether the screw was out or in.", SCREW),
        _word("die", "Whether the die was on or off.", DIE),
        _text("method", "How it was measured.", "indicators on the barrel"),
        _text("technician", "Who measured."),
    ),
    _sheet(
        "support_temperatures",
        "session",
        "Temperatures per support, of a survey or of a running check.",
        _code("session", "Session, with survey.", refers="sessions", key=True),
        _whole("survey", "Number of the survey.", key=True),
        _code("line", "Line, with checked_at.", refers="lines", key=True),
        _time("checked_at", "Time of the running check.", key=True),
        _key("support", "Support.", refers="supports"),
        _celsius("barrel_c", "Barrel temperature over the support, C."),
        _celsius("base_c", "Base temperature under it, C."),
    ),
    _sheet(
        "meters",
        "fact",
        "Readings of the hour meter.",
        _LINE,
        _time("read_at", "When.", required=True, key=True),
        _number("running_hours", "Running hours shown.", required=True),
        _whole("starts", "Starts counted."),
    ),
    _sheet(
        "wear",
        "fact",
        "Measured diameters of barrels and screws.",
        _word("asset_kind", "gearbox, barrel or screw.", ASSET_KINDS, required=True, key=True),
        _key("asset", "Serial number."),
        _time("measured_at", "When.", required=True, key=True),
        _distance("Distance along the asset, mm.", key=True),
        _length("diameter_v", "Vertical diameter.", signed=False, most=Decimal(5_000_000)),
        _length("diameter_h", "Horizontal diameter.", signed=False, most=Decimal(5_000_000)),
        _unit(),
        _text("method", "How it was measured.", "bore gauge", "micrometer"),
    ),
    _sheet(
        "events",
        "fact",
        "What may change how a line moves.",
        _LINE,
        _time("happened_at", "When.", required=True, key=True),
        _text(
            "kind",
            "What kind.",
            "barrel changed",
            "screw changed",
            "gearbox changed",
            "struck",
            key=True,
            required=True,
            most=64,
        ),
        _text("note", "In words."),
        _flag("resets_trend", "Whether the trend begins anew; empty is no.", assumed="no"),
        _code("station", "Station it is about.", refers="stations", key=True),
        _code("support", "Support it is about.", refers="supports", key=True),
    ),
)

SHEET: Final[dict[str, Sheet]] = {sheet.name: sheet for sheet in SHEETS}

SETTING_CHANCES: Final = ("chance_over", "chance_due", "chance_watch", "cap")
SETTING_NUMBERS: Final = ("horizon_years", "soak_hours", "pair_agreement_um", "set_within_um")
SETTING_TEXTS: Final = ("bore_size_points", "bore_size_shape", "screw_out_kinds")
SETTINGS: Final = (*SETTING_CHANCES, *SETTING_NUMBERS, *SETTING_TEXTS)
BORE_SIZE_SHAPES: Final = ("every_support", "last_support")
