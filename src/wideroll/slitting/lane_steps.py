"""What a clean stretch is worth by its length alone: fixed lengths are steps, worked out once for each width."""

from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.lane import BY_METRE, Lane, Selling
from wideroll.slitting.lane_length import length_places
from wideroll.slitting.lane_stretches import TOUCH_M

__all__ = ["step_worth", "with_steps"]

_BINS_PER_STEP: Final = 4


def with_steps(sold: Selling, longest_m: float) -> Selling:
    """The selling of fixed lengths with the steps of its worth.

    Args:
        sold: of a width.
        longest_m: greatest length of a clean stretch.

    Returns:
        The same for film by the metre.
    """
    if sold.kind == BY_METRE or sold.lengths_m.size == 0:
        return sold
    none = np.zeros(0)
    counted = np.zeros((1, sold.most.size), dtype=np.int64)
    clean = Lane(none, none, none, none, none, none, counted, counted)
    places = length_places(clean, sold, 0.0, np.array([longest_m]))[1]
    rises = np.concatenate([[True], np.diff(places[:, 1]) > 0.0])
    steps_m = np.append(places[rises, 0], longest_m)
    multiples = np.linspace(0.0, longest_m, _BINS_PER_STEP * steps_m.size + 1)
    return sold._replace(
        steps_m=steps_m,
        steps_worth=np.append(places[rises, 1], places[-1, 1]),
        steps_at=np.searchsorted(steps_m, multiples, side="right") - 1,
    )


@njit(cache=True, nogil=True)
def step_worth(sold: Selling, length_m: float) -> float:
    """Worth of a clean stretch of that length, no longer than the steps reach."""
    if sold.kind == BY_METRE:
        return sold.per_m * length_m if length_m >= sold.least_m - TOUCH_M and length_m > 0.0 else 0.0
    step = sold.steps_at[int(length_m / sold.steps_m[-1] * (sold.steps_at.size - 1))]
    while step + 1 < sold.steps_m.size and sold.steps_m[step + 1] <= length_m + TOUCH_M:
        step += 1
    return float(sold.steps_worth[step])
