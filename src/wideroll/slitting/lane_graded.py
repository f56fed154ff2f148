"""The best pieces by the metre out of one clean stretch of a lane that holds downgraded film.

Where the pieces lie in their order, their worth is linear in the places of the cuts, so some best cut has each place
either at a border (of the stretch, of downgraded film, of a mark) or a number of least lengths from one, over pieces
cut as short as they may be. Places up to ``SHIFTS`` least lengths from a border are tried: exact unless more than that
many shortest pieces lie side by side.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, count_below, count_to

__all__ = ["SHIFTS", "graded_ends", "graded_pieces"]

SHIFTS: Final = 3
"""So many least lengths from a border are places tried."""

_PLACE, _WORTH, _PIECES, _START = range(4)


class _Window(NamedTuple):
    """The starts in reach of a piece (N,), that of the greatest level first, from ``at[0]`` to ``at[1]``.

    ``at[2]`` is the first place that the marks, or the downgraded film, leave in reach.
    """

    per_m: float
    row: Ints
    at: Ints


@njit(cache=True, nogil=True)
def graded_ends(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> tuple[Floats, Floats]:
    """Worth of the best pieces of either quality from the start of a clean stretch to each of several ends in it.

    Args:
        lane: what is met; nothing blocked between ``from_m`` and the last end.
        sold: values of a metre, that of second quality the lesser, and the least length.
        from_m: start of the stretch.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth, and the (N, 4) places: place, worth, number of pieces, and where in the table the piece that ends
        there starts (-1 where none ends there).
    """
    cuts = _places_to_cut(lane, sold, from_m, ends_m)
    places = np.zeros((cuts.size, 4))
    places[:, _PLACE] = cuts
    places[:, _START] = -1.0
    first, either = _window(sold.per_m, cuts.size), _window(sold.second_per_m, cuts.size)
    long, second = 0, 0
    for place in range(1, cuts.size):
        places[place, _WORTH], places[place, _PIECES] = places[place - 1, _WORTH], places[place - 1, _PIECES]
        while long < place and cuts[long] <= cuts[place] - sold.least_m + TOUCH_M:
            _line_up(places, first, long)
            _line_up(places, either, long)
            long += 1
        while second < lane.second_from.size and lane.second_from[second] < cuts[place] - TOUCH_M:
            second += 1
        while second > 0 and cuts[first.at[2]] < lane.second_to[second - 1] - TOUCH_M and first.at[2] < place:
            first.at[2] += 1
        while either.at[2] < place and _too_many(lane, sold, cuts[either.at[2]], cuts[place]):
            either.at[2] += 1
        first.at[2] = max(first.at[2], either.at[2])
        _cut_from(places, first, place)
        _cut_from(places, either, place)
    worths = np.empty(ends_m.size)
    for end in range(ends_m.size):
        worths[end] = places[count_below(cuts, ends_m[end]), _WORTH]
    return worths, places


def graded_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    """The pieces of a clean stretch, (n, 2) from and to; of cuts worth the same one of the fewest."""
    places = graded_ends(lane, sold, from_m, np.array([to_m]))[1].tolist()
    pieces, at = [], len(places) - 1
    while at > 0:
        start = int(places[at][_START])
        if start >= 0:
            pieces.append((places[start][_PLACE], places[at][_PLACE]))
        at = start if start >= 0 else at - 1
    return np.array(pieces[::-1], dtype=np.float64).reshape(-1, 2)


@njit(cache=True, nogil=True)
def _places_to_cut(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """(N,) ascending, from ``from_m`` to the last end."""
    shifts = SHIFTS if sold.least_m > TOUCH_M else 0
    borders = 1 + 2 * lane.second_from.size + 2 * lane.mark_from.size + ends_m.size
    cuts, count = np.empty(borders * (2 * shifts + 1)), 1
    cuts[0] = from_m
    for shift in range(-shifts, shifts + 1):
        for places in (cuts[:1], lane.second_from, lane.second_to, lane.mark_from, lane.mark_to, ends_m):
            for place in range(places.size):
                shifted_m = places[place] + shift * sold.least_m
                if from_m <= places[place] <= ends_m[-1] and from_m < shifted_m <= ends_m[-1]:
                    cuts[count] = shifted_m
                    count += 1
    cuts[:count].sort()
    kept = 1
    for place in range(1, count):
        if cuts[place] > cuts[kept - 1]:
            cuts[kept] = cuts[place]
            kept += 1
    return cuts[:kept]


@njit(cache=True, nogil=True)
def _window(per_m: float, places: int) -> _Window:
    return _Window(per_m, np.zeros(places, dtype=np.int64), np.zeros(3, dtype=np.int64))


@njit(cache=True, nogil=True)
def _too_many(lane: Lane, sold: Selling, from_m: float, to_m: float) -> bool:
    """Whether a piece would carry more marks than it may."""
    begun = count_below(lane.mark_from, to_m - TOUCH_M)
    ended = count_to(lane.mark_to, from_m + TOUCH_M)
    for limit in range(sold.most.size):
        if lane.counted_from[begun, limit] - lane.counted_to[ended, limit] > sold.most[limit]:
            return True
    return False


@njit(cache=True, nogil=True)
def _line_up(places: Floats, window: _Window, start: int) -> None:
    """A start comes into reach: those before it that are no better go."""
    row, at = window.row, window.at
    level = places[start, _WORTH] - window.per_m * places[start, _PLACE]
    while at[1] > at[0]:
        last = row[at[1] - 1]
        more = level - places[last, _WORTH] + window.per_m * places[last, _PLACE]
        if more < -WORTH_TIE or (more <= WORTH_TIE and places[start, _PIECES] >= places[last, _PIECES]):
            break
        at[1] -= 1
    row[at[1]] = start
    at[1] += 1


@njit(cache=True, nogil=True)
def _cut_from(places: Floats, window: _Window, place: int) -> None:
    """A piece from the best start in reach to the place, where that makes more."""
    row, at = window.row, window.at
    while at[0] < at[1] and row[at[0]] < at[2]:
        at[0] += 1
    if at[0] == at[1]:
        return
    start = row[at[0]]
    worth = places[start, _WORTH] + window.per_m * (places[place, _PLACE] - places[start, _PLACE])
    pieces, more = places[start, _PIECES] + 1.0, worth - places[place, _WORTH]
    if more > WORTH_TIE or (more > -WORTH_TIE and pieces < places[place, _PIECES]):
        places[place, _WORTH], places[place, _PIECES], places[place, _START] = worth, pieces, start
