"""Slopes as a page says them, against the exact length of a foot and a thou."""

from __future__ import annotations

import pytest

from dashboard.components import numbers
from fleet.words import NBSP, ReaderUnit


# One foot is 0.3048 m and one inch 25.4 mm exactly: NIST Special Publication 811 (2008), appendix B.8; 4 um/m are
# therefore 4 x 0.3048 / 25.4 = 0.048 thou/ft.
@pytest.mark.parametrize(
    ("u95_um_per_m", "unit", "said"),
    [
        (30.0, "mm", "0.03"),
        (4.0, "mm", "0.004"),
        (4.0, "thou", "0.05"),
        (8.5, "thou", "0.1"),
        (0.0, "mm", "0.00"),
    ],
)
def test_a_slopes_uncertainty_is_never_rounded_away(u95_um_per_m: float, unit: ReaderUnit, said: str) -> None:
    assert numbers.slope_spread(u95_um_per_m, unit) == f"±{NBSP}{said}"
