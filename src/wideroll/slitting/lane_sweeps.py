"""The worth of the best pieces of one clean stretch to each of several ends: the worth alone, and fast.

The same as ``length_ends`` and ``metre_ends``, which say why it is so and which pieces it takes. The planner asks for
the worths of many thousand lanes and for the pieces of some dozens. Arrays are taken out of their tuples once: out of a
tuple each use would count references.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, grow

__all__ = ["length_worths", "metre_worths"]

_ROOM = 64


@njit(cache=True, nogil=True)
def length_worths(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """Worth of the best rolls of fixed lengths from the start of a clean stretch to each end (E,), ascending."""
    lengths_m, values, seconds, most, mark_to = sold.lengths_m, sold.values, sold.second_values, sold.most, lane.mark_to
    mark_from, counted_from, counted_to = lane.mark_from, lane.counted_from, lane.counted_to
    second_from, second_to = lane.second_from, lane.second_to
    worths, place, worth, count, asked = np.zeros(ends_m.size), np.zeros(_ROOM), np.zeros(_ROOM), 1, 0
    place[0], due, queue = from_m, from_m + lengths_m, np.zeros(lengths_m.size, dtype=np.int64)
    mark = int(np.searchsorted(mark_to, from_m + TOUCH_M, "right"))
    better = int(np.searchsorted(second_to, from_m, "right"))
    ended, begun = np.full_like(queue, mark), np.full_like(queue, mark)
    while True:
        length, top = _first_due(due), worth[count - 1]
        mark = _gone(mark_to, mark, place[count - 1] + TOUCH_M)
        better = _gone(second_to, better, place[count - 1] + TOUCH_M)
        anchor_m = min(_at(mark_to, mark), _at(second_to, better))
        end_m, place_m, found = due[length], min(due[length], anchor_m), top
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = top
            asked += 1
        if asked == ends_m.size or place_m > ends_m[-1] + TOUCH_M:
            return worths
        if anchor_m > end_m:
            start = queue[length]
            queue[length] = start + 1
            due[length] = place[start + 1] + lengths_m[length] if start + 1 < count else np.inf
            if worth[start] + values[length] - top <= WORTH_TIE:
                continue
            ended[length] = _gone(mark_to, ended[length], place[start] + TOUCH_M)
            begun[length] = _gone(mark_from, begun[length], end_m - TOUCH_M)
            meets = second_to.size > 0 and _meets(second_from, second_to, place[start], end_m)
            found = worth[start] + (seconds[length] if meets else values[length])
            if found - top <= WORTH_TIE or _too_many(counted_from, counted_to, begun[length], ended[length], most):
                continue
        if count == place.size:
            place, worth = np.append(place, place), np.append(worth, worth)
        place[count], worth[count] = place_m, found
        for one in range(lengths_m.size):
            if queue[one] == count:
                due[one] = place_m + lengths_m[one]
        count += 1


@njit(cache=True, nogil=True, inline="always")
def _first_due(due: Floats) -> int:
    """The length whose next roll ends first."""
    first = 0
    for one in range(1, due.size):
        if due[one] < due[first]:
            first = one
    return first


@njit(cache=True, nogil=True, inline="always")
def _at(places: Floats, pointer: int) -> float:
    return places[pointer] if pointer < places.size else np.inf


@njit(cache=True, nogil=True, inline="always")
def _gone(places: Floats, pointer: int, place_m: float) -> int:
    """The pointer moved past all places up to one."""
    while pointer < places.size and places[pointer] <= place_m:
        pointer += 1
    return pointer


@njit(cache=True, nogil=True)
def _meets(second_from: Floats, second_to: Floats, from_m: float, to_m: float) -> bool:
    """Whether a piece meets downgraded film."""
    second = np.searchsorted(second_to, from_m + TOUCH_M, "right")
    return bool(second < second_from.size and second_from[second] < to_m - TOUCH_M)


@njit(cache=True, nogil=True, inline="always")
def _too_many(counted_from: Ints, counted_to: Ints, begun: int, ended: int, most: Ints) -> bool:
    for limit in range(most.size):  # noqa: SIM110  -- compiled
        if counted_from[begun, limit] - counted_to[ended, limit] > most[limit]:
            return True
    return False


@njit(cache=True, nogil=True)
def metre_worths(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """Worth of the best pieces of first quality by the metre from the start of a clean stretch to each end (E,)."""
    per_m, least_m, mark_to, starts = sold.per_m, sold.least_m, lane.mark_to, np.zeros((_ROOM, 3))
    worths, row, stops = (
        np.zeros(ends_m.size),
        np.empty(_ROOM, dtype=np.int64),
        np.zeros(sold.most.size, dtype=np.int64),
    )
    mark = int(np.searchsorted(mark_to, from_m + TOUCH_M, side="right"))
    best, asked, first, beyond, waiting, count, start_m = 0.0, 0, 0, 0, 0, 0, from_m
    while True:
        if start_m < np.inf:
            if count == row.size:
                starts, row = grow(starts), np.append(row, row)
            so_far_m = start_m - from_m
            starts[count, 0], starts[count, 2] = start_m, _reach(lane, sold, stops, start_m)
            starts[count, 1] = _now(per_m, starts, row[first:beyond], so_far_m, best) - per_m * so_far_m
            count, start_m = count + 1, np.inf
        long_m = starts[waiting, 0] + least_m if waiting < count else np.inf
        over_m = starts[row[first], 2] if first < beyond else np.inf
        mark_m = mark_to[mark] if mark < mark_to.size else np.inf
        place_m = min(long_m, over_m, mark_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = _now(per_m, starts, row[first:beyond], ends_m[asked] - from_m, best)
            asked += 1
        if asked == ends_m.size:
            return worths
        if long_m <= place_m:
            level, reach_m = starts[waiting, 1], starts[waiting, 2]
            if reach_m >= long_m - TOUCH_M:
                now = _now(per_m, starts, row[first:beyond], long_m - from_m, best)
                start_m = long_m if level + per_m * (long_m - from_m) - now > WORTH_TIE else np.inf
                while beyond > first and level - starts[row[beyond - 1], 1] > WORTH_TIE:
                    beyond -= 1
                row[beyond] = waiting
                beyond += 1
            waiting += 1
        elif over_m <= place_m:
            best, first = _now(per_m, starts, row[first:beyond], over_m - from_m, best), first + 1
        else:
            start_m, mark = mark_m, _gone(mark_to, mark, mark_m + TOUCH_M)


@njit(cache=True, nogil=True, inline="always")
def _now(per_m: float, starts: Floats, row: Ints, length_m: float, best: float) -> float:
    """What is best up to so far from the start, no farther than the first start of the row reaches."""
    return max(best, starts[row[0], 1] + per_m * length_m) if row.size > 0 else best


@njit(cache=True, nogil=True)
def _reach(lane: Lane, sold: Selling, stops: Ints, start_m: float) -> float:
    """How far a piece from there may reach; the pointers (R,) to the marks that stop it go on."""
    mark_from, counted_from, counted_to, most = lane.mark_from, lane.counted_from, lane.counted_to, sold.most
    ended = np.searchsorted(lane.mark_to, start_m + TOUCH_M, side="right")
    reach_m = np.inf
    for limit in range(most.size):
        stop, allowed = stops[limit], most[limit] + counted_to[ended, limit]
        while stop < mark_from.size and counted_from[stop + 1, limit] <= allowed:
            stop += 1
        stops[limit] = stop
        reach_m = min(reach_m, mark_from[stop]) if stop < mark_from.size else reach_m
    return reach_m
