"""The worth of the best pieces of one clean stretch to each of several ends: the worth alone, and fast.

The same as ``length_ends`` and ``metre_ends``, which say why it is so and which pieces it takes. The planner asks for the
worths of many thousand lanes and for the pieces of some dozens.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE

__all__ = ["length_worths", "metre_worths"]

_ROOM = 64


@njit(cache=True, nogil=True)
def length_worths(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """Worth of the best rolls of fixed lengths from the start of a clean stretch to each end (E,), ascending."""
    # arrays taken out of their tuples once: out of a tuple each use would count references
    lengths_m, values, second_values, most = sold.lengths_m, sold.values, sold.second_values, sold.most
    mark_from, mark_to, counted_from, counted_to = lane.mark_from, lane.mark_to, lane.counted_from, lane.counted_to
    second_from, second_to = lane.second_from, lane.second_to
    worths, place, worth = np.zeros(ends_m.size), np.empty(_ROOM), np.empty(_ROOM)
    place[0], worth[0], count, asked, last_m = from_m, 0.0, 1, 0, ends_m[-1]
    due = from_m + lengths_m
    queue = np.zeros(lengths_m.size, dtype=np.int64)
    mark = np.searchsorted(mark_to, from_m + TOUCH_M, side="right")
    better = np.searchsorted(second_to, from_m + TOUCH_M, side="right")
    second, ended, begun = np.full_like(queue, better), np.full_like(queue, mark), np.full_like(queue, mark)
    while True:
        length, end_m = -1, np.inf
        for one in range(lengths_m.size):
            if due[one] < end_m:
                length, end_m = one, due[one]
        reached, top = place[count - 1] + TOUCH_M, worth[count - 1]
        while mark < mark_to.size and mark_to[mark] <= reached:
            mark += 1
        while better < second_to.size and second_to[better] <= reached:
            better += 1
        anchor_m = mark_to[mark] if mark < mark_to.size else np.inf
        if better < second_to.size:
            anchor_m = min(anchor_m, second_to[better])
        place_m = min(end_m, anchor_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = top
            asked += 1
        if asked == ends_m.size or place_m > last_m + TOUCH_M:
            return worths
        found = top
        if anchor_m > end_m:
            start = queue[length]
            queue[length] = start + 1
            due[length] = place[start + 1] + lengths_m[length] if start + 1 < count else np.inf
            if worth[start] + values[length] - top <= WORTH_TIE:
                continue
            start_m = place[start] + TOUCH_M
            ended[length] = _gone(mark_to, ended[length], start_m)
            begun[length] = _gone(mark_from, begun[length], end_m - TOUCH_M)
            if _too_many(counted_from, counted_to, begun[length], ended[length], most):
                continue
            second[length] = _gone(second_to, second[length], start_m)
            meets = second[length] < second_from.size and second_from[second[length]] < end_m - TOUCH_M
            found = worth[start] + (second_values[length] if meets else values[length])
            if found - top <= WORTH_TIE:
                continue
        if count == place.size:
            place, worth = np.append(place, np.empty(count)), np.append(worth, np.empty(count))
        place[count], worth[count] = place_m, found
        for one in range(lengths_m.size):
            if queue[one] == count:
                due[one] = place_m + lengths_m[one]
        count += 1


@njit(cache=True, nogil=True, inline="always")
def _gone(places: Floats, pointer: int, place_m: float) -> int:
    """The pointer moved past all places up to one."""
    while pointer < places.size and places[pointer] <= place_m:
        pointer += 1
    return pointer


@njit(cache=True, nogil=True, inline="always")
def _too_many(counted_from: Ints, counted_to: Ints, begun: int, ended: int, most: Ints) -> bool:
    for limit in range(most.size):
        if counted_from[limit, begun] - counted_to[limit, ended] > most[limit]:
            return True
    return False


@njit(cache=True, nogil=True)
def metre_worths(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """Worth of the best pieces of first quality by the metre from the start of a clean stretch to each end (E,)."""
    most, per_m, least_m = sold.most, sold.per_m, sold.least_m
    mark_from, mark_to, counted_from, counted_to = lane.mark_from, lane.mark_to, lane.counted_from, lane.counted_to
    worths = np.zeros(ends_m.size)
    place, level, reach, row = np.empty(_ROOM), np.empty(_ROOM), np.empty(_ROOM), np.empty(_ROOM, dtype=np.int64)
    stops = np.zeros(most.size, dtype=np.int64)
    mark = np.searchsorted(mark_to, from_m + TOUCH_M, side="right")
    ended, best, asked = mark, 0.0, 0
    first, beyond, waiting, count = 0, 0, 0, 0
    start_m = from_m
    while True:
        if start_m < np.inf:
            if count == place.size:
                place, level = np.append(place, np.empty(count)), np.append(level, np.empty(count))
                reach, row = np.append(reach, np.empty(count)), np.append(row, np.empty(count, dtype=np.int64))
            ended = _gone(mark_to, ended, start_m + TOUCH_M)
            now = _now(per_m, level, row, first, beyond, start_m - from_m, best)
            place[count], level[count], reach[count] = start_m, now - per_m * (start_m - from_m), np.inf
            for limit in range(most.size):
                allowed = most[limit] + counted_to[limit, ended]
                while stops[limit] < mark_from.size and counted_from[limit, stops[limit] + 1] <= allowed:
                    stops[limit] += 1
                if stops[limit] < mark_from.size:
                    reach[count] = min(reach[count], mark_from[stops[limit]])
            count, start_m = count + 1, np.inf
        long_m = place[waiting] + least_m if waiting < count else np.inf
        over_m = reach[row[first]] if first < beyond else np.inf
        mark_m = mark_to[mark] if mark < mark_to.size else np.inf
        place_m = min(long_m, over_m, mark_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = _now(per_m, level, row, first, beyond, ends_m[asked] - from_m, best)
            asked += 1
        if asked == ends_m.size:
            return worths
        if long_m <= place_m:
            start, waiting = waiting, waiting + 1
            if reach[start] < long_m - TOUCH_M:
                continue
            now = _now(per_m, level, row, first, beyond, long_m - from_m, best)
            if level[start] + per_m * (long_m - from_m) - now > WORTH_TIE:
                start_m = long_m
            while beyond > first and level[start] - level[row[beyond - 1]] > WORTH_TIE:
                beyond -= 1
            row[beyond] = start
            beyond += 1
        elif over_m <= place_m:
            best = _now(per_m, level, row, first, beyond, over_m - from_m, best)
            first += 1
        else:
            start_m = mark_m
            mark = _gone(mark_to, mark, mark_m + TOUCH_M)


@njit(cache=True, nogil=True, inline="always")
def _now(per_m: float, level: Floats, row: Ints, first: int, beyond: int, length_m: float, best: float) -> float:
    """What is best up to so far from the start, no farther than the first start of the row reaches."""
    return max(best, level[row[first]] + per_m * length_m) if first < beyond else best
