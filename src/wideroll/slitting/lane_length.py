"""The best rolls of fixed lengths out of one clean stretch of a lane.

A roll can be moved to the start until it meets the roll before or something that would change what it is: the start
of the stretch, the end of downgraded film, or the end of a counted mark. So only such places are tried as starts. The
places where rolls end are met in ascending order, one ordered row of them for each length, and one counts only where it
is worth more than all before it.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, grow

__all__ = ["fill_stretch", "length_ends"]

_PLACE, _WORTH, _ROLLS, _PARENT, _LENGTH = range(5)


@njit(cache=True, nogil=True)
def length_ends(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> tuple[Floats, Floats]:
    """Worth of the best rolls from the start of a clean stretch to each of several ends in it.

    Args:
        lane: what is met; nothing blocked between ``from_m`` and the last end.
        sold: finished lengths and their values.
        from_m: start of the stretch.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth, and the (N, 5) places that count: place, worth, number of rolls, the place before it in the table
        and the length that leads here from it (-1 for a place where a roll may start without one that ends there).
    """
    worths = np.zeros(ends_m.size)
    places = np.zeros((16, 5))
    places[0] = from_m, 0.0, 0.0, -1.0, -1.0
    met = _begin(lane, sold, from_m)
    anchors = np.array([met[0, 2], met[0, 1]])
    count, asked, last_m = 1, 0, ends_m[-1]
    while True:
        length, end_m = _next_end(sold, places, met, count)
        anchor_m = _next_anchor(lane, anchors, places[count - 1, _PLACE])
        place_m = min(end_m, anchor_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = places[count - 1, _WORTH]
            asked += 1
        if asked == ends_m.size or place_m > last_m + TOUCH_M:
            return worths, places[:count]
        if count == places.shape[0]:
            places = grow(places)
        if anchor_m <= end_m:
            places[count] = anchor_m, places[count - 1, _WORTH], places[count - 1, _ROLLS], count - 1.0, -1.0
            count += 1
        else:
            start = met[length, 0]
            met[length, 0] += 1
            worth = _roll_worth(lane, sold, length, places[start, _PLACE], met)
            if worth > 0.0 and _better(places, count - 1, start, worth):
                places[count] = (
                    end_m,
                    places[start, _WORTH] + worth,
                    places[start, _ROLLS] + 1.0,
                    float(start),
                    float(length),
                )
                count += 1


@njit(cache=True, nogil=True)
def fill_stretch(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    """The rolls of a clean stretch from its start on, (n, 2) from and to."""
    _, places = length_ends(lane, sold, from_m, np.array([to_m]))
    at = places.shape[0] - 1
    rolls = np.zeros((int(places[at, _ROLLS]), 2))
    roll = rolls.shape[0]
    while at > 0:
        before = int(places[at, _PARENT])
        if places[at, _LENGTH] >= 0.0:
            roll -= 1
            rolls[roll] = places[before, _PLACE], min(places[at, _PLACE], to_m)
        at = before
    return rolls


@njit(cache=True, nogil=True)
def _begin(lane: Lane, sold: Selling, from_m: float) -> Ints:
    """(K, 4) for each length: the next start in the table, and what its roll has met: see ``_roll_worth``."""
    met = np.zeros((max(sold.lengths_m.size, 1), 4), dtype=np.int64)
    met[:, 1] = np.searchsorted(lane.second_to, from_m + TOUCH_M, side="right")
    met[:, 2] = np.searchsorted(lane.mark_to, from_m + TOUCH_M, side="right")
    met[:, 3] = np.searchsorted(lane.mark_from, from_m, side="left")
    return met


@njit(cache=True, nogil=True, inline="always")
def _next_end(sold: Selling, places: Floats, met: Ints, count: int) -> tuple[int, float]:
    """The length whose next roll ends first, and where."""
    first, end_m = -1, np.inf
    for length in range(sold.lengths_m.size):
        start = met[length, 0]
        if start < count and places[start, _PLACE] + sold.lengths_m[length] < end_m:
            first, end_m = length, places[start, _PLACE] + sold.lengths_m[length]
    return first, end_m


@njit(cache=True, nogil=True, inline="always")
def _next_anchor(lane: Lane, anchors: Ints, reached_m: float) -> float:
    """The next place where a roll may start by itself, beyond the last one; moves the pointers there."""
    mark, second = anchors[0], anchors[1]
    while mark < lane.mark_to.size and lane.mark_to[mark] <= reached_m + TOUCH_M:
        mark += 1
    while second < lane.second_to.size and lane.second_to[second] <= reached_m + TOUCH_M:
        second += 1
    anchors[0], anchors[1] = mark, second
    anchor_m = lane.mark_to[mark] if mark < lane.mark_to.size else np.inf
    return min(anchor_m, lane.second_to[second]) if second < lane.second_to.size else anchor_m


@njit(cache=True, nogil=True, inline="always")
def _roll_worth(lane: Lane, sold: Selling, length: int, from_m: float, met: Ints) -> float:
    """Worth of a roll of that length from there on; 0 where it may not be cut.

    ``met[length, 1:]`` goes on from roll to roll, as they start ever farther along: the first downgraded film that ends
    beyond the start, the marks that end before it, and those that begin before the roll ends.
    """
    to_m = from_m + sold.lengths_m[length]
    second, ended, begun = met[length, 1], met[length, 2], met[length, 3]
    while second < lane.second_to.size and lane.second_to[second] <= from_m + TOUCH_M:
        second += 1
    while ended < lane.mark_to.size and lane.mark_to[ended] <= from_m + TOUCH_M:
        ended += 1
    while begun < lane.mark_from.size and lane.mark_from[begun] < to_m - TOUCH_M:
        begun += 1
    met[length, 1], met[length, 2], met[length, 3] = second, ended, begun
    for limit in range(sold.most.size):
        if lane.counted_from[begun, limit] - lane.counted_to[ended, limit] > sold.most[limit]:
            return 0.0
    if second < lane.second_from.size and lane.second_from[second] < to_m - TOUCH_M:
        return float(sold.second_values[length])
    return float(sold.values[length])


@njit(cache=True, nogil=True, inline="always")
def _better(places: Floats, best: int, start: int, worth: float) -> bool:
    """Whether a roll from ``start`` makes more than the best so far, or as much of fewer rolls."""
    more = places[start, _WORTH] + worth - places[best, _WORTH]
    return bool(more > WORTH_TIE or (more > -WORTH_TIE and places[start, _ROLLS] + 1.0 < places[best, _ROLLS]))
