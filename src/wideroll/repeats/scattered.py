"""How dense the scattered marks of a lane are at each place along the web.

Dirt comes in stretches. A density that is too low there would let chance gaps look like a series, so it is never taken
lower than the roll as a whole shows, and raised wherever the lane itself is crowded beyond chance. The windows are wide
against a turn: a series can't hide itself by raising its own background.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["rarity_m"]

_MARKS_WITHIN: Final = 60  # a count of 60 is known to 13 %
_LEAST_WINDOW_M: Final = 0.2
_BEYOND_CHANCE: Final = 4.0  # standard deviations of a count, and marks, above which a window is crowded


def rarity_m(
    lane: NDArray[np.float64], roll: NDArray[np.float64], seen_m: float, least_window_m: float
) -> NDArray[np.float64]:
    """Metres of web per scattered mark of the lane, at each of its marks.

    Args:
        lane: float64 (n,), ascending: metres of web looked at before each mark of the lane.
        roll: float64 (r,), ascending: the same for all marks of the roll.
        seen_m: metres of web looked at.
        least_window_m: the roll's density is averaged over at least this.

    Returns:
        float64 (n,).
    """
    window = min(seen_m, max(least_window_m, _MARKS_WITHIN * seen_m / roll.size))
    density = _count_about(lane, roll, seen_m, window) / window * (lane.size / roll.size)
    width = seen_m
    while width > _LEAST_WINDOW_M:
        count = _count_about(lane, lane, seen_m, width)
        expected = density * width
        crowded = count > expected + _BEYOND_CHANCE * (np.sqrt(expected) + 1.0)
        density = np.where(crowded, count / width, density)
        width /= 2.0
    rarity: NDArray[np.float64] = 1.0 / density
    return rarity


def _count_about(
    at: NDArray[np.float64], marks: NDArray[np.float64], seen_m: float, width: float
) -> NDArray[np.float64]:
    """Marks within a window about each place, moved inwards at the ends of the web."""
    start = np.clip(at - width / 2.0, 0.0, max(seen_m - width, 0.0))
    count: NDArray[np.float64] = (
        np.searchsorted(marks, start + width, side="right") - np.searchsorted(marks, start, side="left")
    ).astype(np.float64)
    return count
