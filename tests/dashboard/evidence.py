"""Invented evidence for line ORR-07: what was noticed, what moved, how well it was measured, the moves to make.

The figures were chosen by hand, not computed. The movement is the one between the two surveys of `orrindale`.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

from fleet.reports.check_words import CheckFacts
from fleet.services.line_evidence import (
    BeamPair,
    BudgetView,
    CheckView,
    GaugeRow,
    MovedPart,
    MovementView,
    MoveRow,
    MovesView,
    PredictedRow,
    ShapeRow,
    Share,
    Slope,
    StationBudget,
)

_DISTANCES = (150.0, 820.0, 1500.0, 2320.0, 3150.0, 3700.0)
_STATIONS = ("1", "2", "A", "4", "B", "6")
_FIRST, _SECOND = datetime(2025, 6, 14, 8, tzinfo=UTC), datetime(2026, 5, 9, 8, tzinfo=UTC)

CHECKS = (
    CheckView(
        "S-06/1",
        "S-06",
        _SECOND,
        CheckFacts(
            "sign_turned", axis="h", station="4", sequence=7, misfit_um=84.0, u95_misfit_um=12.0,
            typed_um=-42.0, would_read_um=42.0, would_be_um=42.0, agrees_to_um=3.0,
        ),
    ),
    CheckView(
        "S-05/2", "S-05", _FIRST,
        CheckFacts("calibration_expired", note="The certificate of I-04 ended on 1 Jun 2025."),
    ),
)  # fmt: skip

SHAPE = (
    ShapeRow("v", Slope(8.0, 12.0), Slope(-52.0, 12.0), Slope(-87.0, 30.0), 80.0, 100.0, 120.0, 30.0, "4", None, None),
    ShapeRow("h", Slope(-3.0, 12.0), Slope(9.0, 12.0), Slope(11.0, 30.0), 80.0, 100.0, 10.0, 30.0, "A", None, None),
)

MOVEMENT = (
    MovementView(
        "v", "S-05/2", "S-06/1", _FIRST, _SECOND, _STATIONS, _DISTANCES,
        (-20.0, -60.0, -110.0, -170.0, -240.0, -240.0), (35.0,) * 6,
        (
            MovedPart("shifted", -8.0, 30.0, None, False, False, (-8.0,) * 6),
            MovedPart("turned", -67.0, 12.0, None, True, True, tuple(-0.067 * mm for mm in _DISTANCES)),
            MovedPart("bent", -20.0, 30.0, "B", False, False, (0.0, -8.0, -15.0, -20.0, -20.0, -4.0)),
            MovedPart("support", -20.0, 40.0, "B", False, False, (0.0, 0.0, 0.0, 0.0, -20.0, -8.0)),
        ),
    ),
    MovementView(
        "h", "S-05/2", "S-06/1", _FIRST, _SECOND, _STATIONS, _DISTANCES,
        (0.0, 20.0, 30.0, 40.0, 50.0, 60.0), (35.0,) * 6,
        (MovedPart("turned", 17.0, 12.0, None, True, True, tuple(0.017 * mm for mm in _DISTANCES)),),
    ),
)  # fmt: skip

BUDGET = BudgetView(
    survey="S-06/1",
    on=_SECOND,
    phase="as_found",
    scheme="reversal pairs",
    instrument="I-04",
    stations=tuple(
        StationBudget(
            station,
            (u95, u95 * 0.8),
            (
                Share("beam", (u95 * 0.41, u95 * 0.3), (0.68, 0.55)),
                Share("readings", (u95 * 0.2, u95 * 0.2), (0.25, 0.4)),
                Share("target zero", (u95 * 0.1, u95 * 0.1), (0.07, 0.05)),
            ),
        )
        for station, u95 in zip(_STATIONS, (12.0, 13.0, 15.0, 17.0, 21.0, 20.0), strict=True)
    ),
    largest="B",
    doing="reverse the beam at every station",
    doing_from_um=10.5,
    doing_to_um=4.5,
    halves=True,
    closure_um=(6.0, -4.0),
    scale=1.96,
    beam=(
        BeamPair("1", (8.0, 30.0), (4.0, 15.0), (-46.0, 20.0), False),
        BeamPair("6", (10.0, -12.0), (5.0, -6.0), (12.0, 3.0), True),
    ),
    pair_agreement_um=25.0,
)

MOVES = MovesView(
    on=date(2026, 11, 25),
    way=("response", "response"),
    why=("From this line’s own answer at three visits",) * 2,
    rounds=3,
    moves=(
        MoveRow("A", "v", 180.0, 50.0, 180.0, None),
        MoveRow("A", "h", -20.0, 50.0, -20.0, None),
        MoveRow("B", "v", 350.0, 60.0, 392.0, "room"),
    ),
    left_alone=(("B", "h"),),
    flange_um=(-50.0, 10.0),
    u95_flange_um=(30.0, 30.0),
    predicted=tuple(
        PredictedRow(station, (offset, 10.0), (40.0, 40.0), (deviation, 10.0))
        for station, offset, deviation in zip(
            _STATIONS,
            (-30.0, -120.0, -230.0, -210.0, -300.0, -180.0),
            (0.0, 20.0, 30.0, 50.0, -80.0, 60.0),
            strict=True,
        )
    ),
    good_enough_um=50.0,
)

GAUGE = (
    GaugeRow(
        "I-04", "instrument", 42, 510.0, 6.0, 5.0, 7.0, 4.0, True, True, 4.0, 8.0, 7.0, 40, 3.0, 1.0,
        date(2025, 3, 3), date(2026, 3, 3), "lapsed",
    ),
    GaugeRow(
        "M. Adeyrin", "technician", 30, 400.0, 5.0, 4.0, 6.0, None, False, False, None, None, 6.0, 28, None, None,
        None, None, None,
    ),
)  # fmt: skip
