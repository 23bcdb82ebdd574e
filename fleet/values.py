"""Value types shared by every layer: axes, arrays, statuses.

Signs (everywhere): `v` + is high of the gearbox axis; `h` + is right of it, looking from the gearbox toward the
discharge end. Lengths across the bore are micrometres, distances along it millimetres, temperatures degrees Celsius,
running time hours, times aware UTC.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

Axis = Literal["v", "h"]
AXES: Final[tuple[Axis, Axis]] = ("v", "h")

Status = Literal["over", "due", "watch", "within", "no record"]
STATUSES: Final[tuple[Status, ...]] = ("over", "due", "watch", "within", "no record")
"""Most urgent first."""

DAYS_PER_YEAR: Final = 365.25

NORMAL_95: Final = 1.959963984540054
"""From a standard to a 95 % uncertainty where degrees of freedom are many (normal law, 97.5 % point)."""
