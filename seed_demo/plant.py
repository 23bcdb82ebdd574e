"""The invented company's plant: sites and their stops, people, instruments, and the build of a line from its size."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop still ahead: days from today, its length, and who is there."""

    days_ahead: int
    length_days: int
    kind: str
    crew_hours: int
    crews: int


@dataclass(frozen=True, slots=True)
class Site:
    """A site; `stops_back` are days before today on which its past stops began, newest first."""

    code: str
    name: str
    time_zone: str
    right_hand_side: str
    technicians: tuple[str, ...]
    stops_back: tuple[int, ...]
    stops_ahead: tuple[Stop, ...]
    settings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument with its standard uncertainties; None where its record says nothing."""

    code: str
    kind: str
    resolution_um: float
    repeatability_um: float | None
    target_zero_um: float | None
    beam_offset_um: float | None
    beam_direction_um_per_m: float | None
    wander_um: float | None
    sense_v: str
    sense_h: str


@dataclass(frozen=True, slots=True)
class Technician:
    """A technician, the unit and the reversal scheme this one is used to, and the instrument carried."""

    name: str
    unit: str
    scheme: str
    instrument: str


@dataclass(frozen=True, slots=True)
class Support:
    """A support: where it stands, what it carries on, what it can adjust."""

    code: str
    distance_mm: float
    height_mm: float
    saddle: str
    vee_angle_deg: int | None
    carries: str
    slides: str
    adjusts_h: bool


@dataclass(frozen=True, slots=True)
class Machine:
    """The build of one line."""

    screw_mm: int
    outside_mm: int
    length_mm: int
    centre_height_mm: int
    supports: tuple[Support, ...]
    stations: tuple[tuple[str, float, str | None], ...]


def _stops(first: tuple[int, ...], period: int) -> tuple[int, ...]:
    return first + tuple(range(first[-1] + period, 12 * 365 + 120, period))


SITES: Final = {
    site.code: site
    for site in (
        Site(
            "ORR",
            "Orrindale works (invented)",
            "Europe/London",
            "operator side",
            ("Tomas Ekrin", "Ilse Varnow", "Ruben Ostrey"),
            _stops((35, 200, 364, 529, 690, 835), 165),
            (
                Stop(21, 11, "year-end stop", 96, 2),
                Stop(126, 4, "spring stop", 40, 2),
                Stop(240, 15, "screw change", 160, 3),
                Stop(325, 3, "autumn stop", 32, 1),
                Stop(392, 11, "year-end stop", 96, 2),
            ),
            (("soak_hours", "12"), ("pair_agreement_um", "25")),
        ),
        Site(
            "VES",
            "Vessmoor plant (invented)",
            "America/Chicago",
            "aisle side",
            ("Dilys Marrack", "Ruben Ostrey"),
            _stops((62, 245), 183),
            (
                Stop(46, 5, "maintenance stop", 60, 2),
                Stop(200, 9, "screw change", 110, 2),
                Stop(344, 5, "maintenance stop", 60, 2),
            ),
            (("bore_size_points", "60:160;90:240;120:340;150:420"), ("pair_agreement_um", "30")),
        ),
        Site(
            "TAR",
            "Tarnholt mill (invented)",
            "Europe/Helsinki",
            "window side",
            ("Kaja Lindvik", "Tomas Ekrin", "Ilse Varnow"),
            _stops((20, 150), 130),
            (
                Stop(18, 4, "maintenance stop", 48, 2),
                Stop(140, 4, "maintenance stop", 48, 2),
                Stop(265, 10, "screw change", 100, 2),
                Stop(395, 4, "maintenance stop", 48, 2),
            ),
            (("chance_due", "0.2"),),
        ),
    )
}

BFB, BEAM = "bore_from_beam", "beam_from_bore"
INSTRUMENTS: Final = {
    i.code: i
    for i in (
        Instrument("L-21", "beam and target", 1.0, 6.0, 6.0, 120.0, 100.0, 4.0, BFB, BFB),
        Instrument("L-22", "beam and target", 1.0, 8.0, 7.0, 150.0, 120.0, 4.0, BEAM, BEAM),
        Instrument("L-23", "beam and target", 2.54, 8.0, 8.0, 150.0, 100.0, 5.0, BFB, BEAM),
        Instrument("L-24", "beam and target", 1.0, 7.0, 6.0, None, None, None, BEAM, BFB),
        Instrument("L-25", "beam and target", 1.0, None, None, 150.0, 120.0, None, BFB, BFB),
        Instrument("L-09", "beam and target", 5.0, 14.0, 12.0, 80.0, 20.0, 8.0, BFB, BFB),
        Instrument("T-05", "telescope and target", 10.0, None, None, None, None, None, "", ""),
    )
}
TECHNICIANS: Final = {
    t.name: t
    for t in (
        Technician("Tomas Ekrin", "mm", "pairs", "L-22"),
        Technician("Ilse Varnow", "um", "four", "L-21"),
        Technician("Ruben Ostrey", "mm", "trimmed", "L-24"),
        Technician("Dilys Marrack", "thou", "pairs", "L-23"),
        Technician("Kaja Lindvik", "um", "sweep", "L-25"),
        Technician("Pell Anserin", "mm", "single", "L-09"),
    )
}

_CENTRE_HEIGHT_MM: Final = {60: 430, 75: 500, 90: 560, 105: 630, 120: 700, 150: 820}
_TWO, _THREE = (0.390625, 0.8203125), (0.31, 0.59, 0.86)
_BETWEEN: Final = {
    (2, 4): (0.2, 0.6),
    (2, 5): (0.039, 0.2135, 0.604),
    (2, 6): (0.039, 0.2135, 0.604, 0.9635),
    (3, 5): (0.15, 0.95),
    (3, 6): (0.05, 0.45, 0.96),
}


def machine(*, screw_mm: int, saddles: str, stations: int, length_over_diameter: int) -> Machine:
    """Return the build of a line.

    Saddles by letter: V a vee of 90 degrees, W one of 120, F flat, C at the centreline, f flat and floating.
    """
    length_mm = screw_mm * length_over_diameter
    shares = _TWO if len(saddles) == 2 else _THREE
    height_mm = _CENTRE_HEIGHT_MM[screw_mm] + 80.0
    kinds = {"V": ("vee", 90), "W": ("vee", 120), "F": ("flat", None), "C": ("centreline", None), "f": ("flat", None)}
    supports = []
    for index, (letter, share) in enumerate(zip(saddles, shares, strict=True)):
        saddle, angle = kinds[letter]
        supports.append(
            Support(
                "ABC"[index],
                round(share * length_mm, -1),
                height_mm,
                saddle,
                angle,
                "floating" if letter == "f" else "rigid",
                "fixed" if index == 0 else "slides",
                letter != "f",
            )
        )
    places: list[tuple[float, str | None]] = [(s.distance_mm, s.code) for s in supports]
    places += [(round(share * length_mm, -1), None) for share in _BETWEEN[len(saddles), stations]]
    places.sort(key=lambda place: place[0])
    named = tuple((code or str(number), at, code) for number, (at, code) in enumerate(places, start=1))
    return Machine(screw_mm, 2 * screw_mm, length_mm, _CENTRE_HEIGHT_MM[screw_mm], tuple(supports), named)


def past_stop(site: Site, index: int, today: date) -> date:
    """Return the Saturday on which a past stop began; 0 is the newest."""
    day = today - timedelta(days=site.stops_back[index])
    return day - timedelta(days=(day.weekday() - 5) % 7)


def coming_stop(stop: Stop, today: date) -> date:
    """Return the Saturday on which a stop still ahead begins."""
    day = today + timedelta(days=stop.days_ahead)
    return day + timedelta(days=(5 - day.weekday()) % 7)


def stop_code(site: Site, day: date) -> str:
    """Return the code of the stop that begins on this day."""
    return f"{site.code}-{day:%Y-%m-%d}"
