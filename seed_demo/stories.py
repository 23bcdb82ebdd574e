"""The invented lines, one by one: how they are built and move, their newest visits, the stories made to be found.

Rates and wander are at the last support, limits are the vertical ones (horizontal: four fifths). `recent` lists the
newest visits as (stop, what was done): stop 0 is the site's newest past one; older visits come by chance.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from seed_demo.plant import Machine, machine


@dataclass(frozen=True, slots=True)
class Plan:
    """One invented line."""

    code: str
    product: str
    build: Machine
    years: float
    foundation: str
    limit_um: int
    watch_um: int
    rate_v: float
    rate_h: float
    wander: float
    recent: tuple[tuple[int, str], ...]
    status: str = "within"
    before: tuple[float, float] | None = None  # rates before `since_stop`
    since_stop: int | None = None
    since_days: int | None = None
    barrel_factor: float = 1.0
    gearbox_factor: float = 1.0
    running_c: float = 200.0
    gearbox_c: float = 46.0
    target_basis: str = "heat model"
    target_um: tuple[int, ...] | None = None  # at the supports; None: by the nominal heat model
    own_later: bool = False  # from the third newest visit on the target follows what the running checks showed
    swap: str | None = None  # gearbox or barrel, at since_stop
    calm: bool = False  # little wander since the newest moves, so that the story holds for any seed
    metered: bool = False
    check_share: float = 0.3
    technician: str | None = None
    entered_before_years: float = 0.0  # sessions older than this have entered offsets
    few: bool = False  # no visits but the recent ones
    beam_v_um: dict[int, float] = field(default_factory=dict)  # by stop: the beam's true miss at every survey
    slip_stop: int | None = None
    slip_station: str | None = None
    meter_replaced_days: int | None = None
    warm_stop: int | None = None
    hot_stop: int | None = None
    weight: int = 1

    @property
    def step_um(self) -> int:
        """Return the smallest vertical move: a shim, or a turn of the jacking screws [um]."""
        return 5 if self.calm else 25

    @property
    def site(self) -> str:
        """Return the site's code."""
        return self.code.split("-")[0]


def _m(screw_mm: int, saddles: str = "VV", stations: int = 5, ld: int = 30) -> Machine:
    return machine(screw_mm=screw_mm, saddles=saddles, stations=stations, length_over_diameter=ld)


M, L = "moved", "measured"
FILL = "slab on fill"
TROUBLE_DAYS: Final = 1180

PLANS: Final[tuple[Plan, ...]] = (
    Plan("ORR-01", "pipe", _m(150, "VVV", 6), 11.4, "grouted", 250, 140, 18, 4, 22, ((0, M),), barrel_factor=1.04,
         metered=True, own_later=True, entered_before_years=8, weight=2),
    Plan("ORR-02", "profile", _m(75, "FF", 4), 8.2, "grouted", 120, 65, -76, 6, 20, ((2, M),), "due", calm=True,
         barrel_factor=0.95),
    Plan("ORR-03", "sheet", _m(150, "VV", 6), 9.6, "grouted", 250, 140, 14, 60, 18, ((0, M), (2, L), (4, M)),
         calm=True, metered=True, slip_stop=2, slip_station="B", technician="Tomas Ekrin"),
    Plan("ORR-04", "film", _m(90, "WW"), 7.1, "frame", 150, 85, 22, -5, 24, ((0, M),), barrel_factor=1.08,
         check_share=0.6),
    Plan("ORR-05", "pipe", _m(120, "VV"), 10.8, "grouted", 210, 90, -84, 8, 18, ((0, L), (3, M)), "watch", calm=True,
         metered=True),
    Plan("ORR-06", "compound", _m(105, "VV", 4, 36), 8.9, "frame", 175, 100, -20, 10, 26, ((1, M), (4, M)),
         before=(28, 4), since_stop=4, swap="gearbox", check_share=0.5),
    Plan("ORR-07", "pipe", _m(120, "VV", 6, 32), 9.3, "grouted", 250, 150, -220, 28, 20, ((1, L), (3, M), (5, M)),
         "over", before=(-150, 10), since_stop=5, swap="gearbox", calm=True, metered=True, barrel_factor=1.05,
         gearbox_factor=0.93, check_share=1.0, target_basis="bore size", target_um=(-200, -200), own_later=True,
         technician="Tomas Ekrin", weight=3),
    Plan("ORR-08", "sheet", _m(120, "VfV", 5), 11.1, "grouted", 200, 115, 15, -8, 25, ((0, M), (3, M)),
         before=(32, 2), since_stop=3, swap="barrel", entered_before_years=7, hot_stop=3),
    Plan("ORR-09", "film", _m(60, "FF", 4, 28), 6.4, "frame", 110, 62, 66, -4, 16, ((3, M),), "due", calm=True,
         barrel_factor=0.93),
    Plan("VES-01", "pipe", _m(120, "VV"), 10.2, "slab", 200, 115, 14, 5, 24, ((0, M),), metered=True,
         barrel_factor=0.92, own_later=True, check_share=0.7),
    Plan("VES-02", "sheet", _m(90, "VV"), 8.8, "slab", 150, 85, -83, 7, 20, ((2, M),), "due", calm=True),
    Plan("VES-03", "film", _m(120, "VV", 6, 28), 7.9, "frame", 220, 125, -8, 3, 18, ((0, M), (2, M), (4, M)),
         target_basis="bore size", target_um=(-340, -340), check_share=1.0, calm=True),
    Plan("VES-04", "profile", _m(60, "CC", 4, 26), 6.8, "slab", 110, 60, 10, 6, 15, ((0, M),),
         entered_before_years=4),
    Plan("VES-05", "compound", _m(75, "FF", 5, 34), 7.5, "frame", 150, 58, 46, 10, 16, ((0, L), (3, M)), "watch",
         calm=True, metered=True),
    Plan("VES-06", "pipe", _m(150, "VV", 5, 26), 7.0, "slab", 250, 110, -8, 3, 16, ((0, L), (4, M), (8, M)), "watch",
         calm=True, few=True, technician="Pell Anserin", beam_v_um={0: 72.0, 4: -72.0}, check_share=0.0),
    Plan("VES-07", "sheet", _m(120, "FF", 5), 11.6, "slab", 200, 115, -18, -6, 26, ((0, M),), metered=True,
         meter_replaced_days=1500, barrel_factor=1.06, entered_before_years=6, own_later=True, check_share=0.5),
    Plan("VES-08", "film", _m(90, "VV", 4), 11.8, "frame", 160, 90, 24, 4, 24, ((0, M),), entered_before_years=3),
    Plan("VES-09", "film", _m(105, "VV", 5), 0.25, "slab", 175, 100, 0, 0, 20, (), "no record"),
    Plan("TAR-01", "pipe", _m(120, "VV"), 9.9, FILL, 200, 115, -168, 10, 20, ((2, M),), "due", before=(-26, 5),
         since_days=TROUBLE_DAYS, calm=True, metered=True),
    Plan("TAR-02", "pipe", _m(90, "WW"), 8.1, "piled slab", 150, 85, 16, 5, 22, ((0, M),), barrel_factor=1.05,
         check_share=0.6),
    Plan("TAR-03", "sheet", _m(90, "VV"), 7.7, FILL, 150, 80, -158, -14, 20, ((1, L), (3, M)), "over",
         before=(-30, -4), since_days=TROUBLE_DAYS, calm=True, weight=2),
    Plan("TAR-04", "sheet", _m(120, "VVV", 6), 10.6, "piled slab", 200, 115, -12, 4, 24, ((0, M),), metered=True,
         entered_before_years=8, warm_stop=4),
    Plan("TAR-05", "compound", _m(150, "VV"), 8.4, FILL, 240, 90, -105, 9, 20, ((0, L), (3, M)), "watch",
         before=(-22, 3), since_days=TROUBLE_DAYS, calm=True, own_later=True),
    Plan("TAR-06", "film", _m(75, "VV", 4), 6.9, FILL, 130, 75, -70, 6, 18, ((0, M),), before=(-24, 3),
         since_days=TROUBLE_DAYS, calm=True),
    Plan("TAR-07", "film", _m(60, "FF", 4), 6.2, "piled slab", 120, 66, 12, -5, 16, ((0, M),), barrel_factor=0.94,
         check_share=0.5),
)  # fmt: skip
