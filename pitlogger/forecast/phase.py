"""The phase a cook is in, as far as a forecast can see it: each has its own calibration.

How far off forecasts are hangs on how long there is still to go and on whether the piece
stalls. Intervals are set for each phase by the scores of moments in it (conformal
prediction by groups, Vovk 2012), so that none lives on the good ones of another.
"""

from __future__ import annotations

from math import exp

import numpy as np
import numpy.typing as npt

from pitlogger.forecast.features import NAMES

Array = npt.NDArray[np.float64]

PHASES = 8
LEFT_H = (1.5, 3.0, 5.0)  # said to be left
STALL_C, STALL_C_PER_H = (55.0, 82.0), 5.0
_LEVEL, _RISE = NAMES.index("level"), NAMES.index("rise_60")


def phase_of(features: Array, log_h: float) -> int:
    """Return the phase, 0 to 7, for features of shape (f,) and what the blend says is left."""
    low, high = STALL_C
    stalls = low < features[_LEVEL] < high and features[_RISE] < STALL_C_PER_H
    return sum(exp(log_h) >= edge for edge in LEFT_H) + (len(LEFT_H) + 1) * int(stalls)
