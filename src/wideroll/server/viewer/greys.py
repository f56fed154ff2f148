"""The one scale of greys: how far the signal departs from that of its surroundings, on every tile and at every zoom."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["MIDDLE", "REACH", "SCALE_VERSION", "TICKS", "UNSEEN", "grey_of", "to_grey"]

SCALE_VERSION: Final = 1
UNSEEN: Final = 0
"""Nobody looked there; clear in a picture."""
MIDDLE: Final = 128
"""No departure."""
REACH: Final = 0.5
"""From this departure on, cells are black (1) or white (255)."""
TICKS: Final = (-0.5, -0.2, -0.1, -0.05, -0.01, 0.0, 0.01, 0.05, 0.1, 0.2, 0.5)
_STEPS: Final = 127


def to_grey(departure: NDArray[np.floating]) -> NDArray[np.uint8]:
    """Greys from 1 (darker by half or more) to 255 (brighter by half or more); 0 where it is NaN.

    The distance from 128 goes with the square root of the departure, so that a hundredth can be seen beside a half:
    grey = 128 ± 127 √(|departure| / 0.5), rounded to the nearest (halves to even).

    Example:
        >>> to_grey(np.array([-0.6, -0.02, 0.0, 0.125, np.nan])).tolist()
        [1, 103, 128, 192, 0]
    """
    seen = np.isfinite(departure)
    away = np.where(seen, departure, 0.0)
    steps = np.round(_STEPS * np.sqrt(np.minimum(np.abs(away), REACH) / REACH))
    return np.where(seen, MIDDLE + np.copysign(steps, away), UNSEEN).astype(np.uint8)


def grey_of(departure: float) -> int:
    """The grey of one departure.

    Example:
        >>> grey_of(0.5)
        255
    """
    return int(to_grey(np.array([departure]))[0])
