"""The two points of ISO 2240 on a reversal curve."""

from typing import Final

import numpy as np

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import density_of, gradient_of, inflection_of, log_h_of

__all__ = ["TOE_DENSITY", "shoulder_density"]

TOE_DENSITY: Final = 0.20
"""Point T, above minimum density (ISO 2240, from memory)."""
_MOST: Final = 2.0
_HALVINGS: Final = 45
_JUST_BELOW: Final = 1.0 - 1e-9


def shoulder_density(parameters: Floats) -> Floats:
    """Density above the minimum (m,) of point S of curves (m, 5).

    2.0, or less where the straight line from T touches the shoulder at a lower density (ISO 2240; the rule of the
    tangent is from memory). The line still climbs along the curve as long as the curve is steeper than it.
    """
    low = parameters[..., 0]
    start = log_h_of(parameters, low + TOE_DENSITY)

    def steeper_than_line(above: Floats) -> Floats:
        x = log_h_of(parameters, low + above)
        run = np.where(x == start, np.nan, np.abs(x - start))
        return np.abs(gradient_of(parameters, x)) - (above - TOE_DENSITY) / run

    most: Floats = np.minimum(_MOST, _JUST_BELOW * parameters[..., 1])
    untouched = steeper_than_line(most) >= 0.0
    if untouched.all():
        return most
    steepest = density_of(parameters, inflection_of(parameters)) - low
    before = np.clip(steepest, TOE_DENSITY, most)
    after = most
    for _ in range(_HALVINGS):
        middle = 0.5 * (before + after)
        past = steeper_than_line(middle) < 0.0
        before, after = np.where(past, before, middle), np.where(past, middle, after)
    return np.where(untouched, most, after)
