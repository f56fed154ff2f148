"""The best rolls of fixed lengths out of one clean stretch of a lane.

A roll can be moved to the start until it meets the roll before or something that would change what it is: the start
of the stretch, the end of downgraded film, or the end of a counted mark. So only such places are tried as starts. The
places where rolls end are met in ascending order, one ordered row of them for each length, and one counts only where it
is worth more than all before it. Arrays are taken out of their tuples once: out of a tuple each use would count
references.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import PIECE_COST, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, count_below, count_to, grow, move_past

__all__ = ["length_pieces", "length_places"]

_ROOM = 64
_PLACE, _WORTH, _START = range(3)


@njit(cache=True, nogil=True)
def length_places(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> tuple[Floats, Floats]:
    """Worth of the best rolls from the start of a clean stretch to each of several ends in it.

    Args:
        lane: what is met; nothing blocked between ``from_m`` and the last end.
        sold: finished lengths and their values.
        from_m: start of the stretch.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth, and the (N, 3) places that count, where rolls end or may start, ascending: place, greatest worth up
        to there, and where in the table the roll starts that ends there (-1 where none does).
    """
    lengths_m, values, seconds, most, mark_to = sold.lengths_m, sold.values, sold.second_values, sold.most, lane.mark_to
    mark_from, counted_from, counted_to = lane.mark_from, lane.counted_from, lane.counted_to
    second_from, second_to = lane.second_from, lane.second_to
    worths, table, count, asked, kinds = np.zeros(ends_m.size), np.zeros((_ROOM, 3)), 1, 0, lengths_m.size
    table[0, _PLACE], table[0, _START] = from_m, -1.0
    due, queue = from_m + lengths_m, np.zeros(kinds, dtype=np.int64)
    mark, better = count_to(mark_to, from_m + TOUCH_M), count_to(second_to, from_m)
    ended, begun = np.zeros(kinds, dtype=np.int64), np.zeros(kinds, dtype=np.int64)
    ended[:], begun[:] = mark, count_below(mark_from, from_m)
    while True:
        length, top = _first_due(due), table[count - 1, _WORTH]
        mark = move_past(mark_to, mark, table[count - 1, _PLACE] + TOUCH_M)
        better = move_past(second_to, better, table[count - 1, _PLACE] + TOUCH_M)
        anchor_m = min(_at(mark_to, mark), _at(second_to, better))
        end_m, place_m, found, start = due[length], min(due[length], anchor_m), top, -1
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = top
            asked += 1
        if asked == ends_m.size or place_m > ends_m[-1] + TOUCH_M:
            return worths, table[:count]
        if anchor_m > end_m:
            start = queue[length]
            queue[length] = start + 1
            due[length] = table[start + 1, _PLACE] + lengths_m[length] if start + 1 < count else np.inf
            start_m, before = table[start, _PLACE], table[start, _WORTH]
            if before + values[length] - top <= WORTH_TIE:
                continue
            ended[length] = move_past(mark_to, ended[length], start_m + TOUCH_M)
            begun[length] = move_past(mark_from, begun[length], end_m - TOUCH_M)
            meets = second_to.size > 0 and _meets(second_from, second_to, start_m, end_m)
            found = before + (seconds[length] if meets else values[length])
            if found - top <= WORTH_TIE or _too_many(counted_from, counted_to, begun[length], ended[length], most):
                continue
        table = grow(table) if count == table.shape[0] else table
        table[count, _PLACE], table[count, _WORTH], table[count, _START] = place_m, found, start
        _start_from(queue, due, lengths_m, count, place_m)
        count += 1


def length_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    """The rolls of a clean stretch from its start on, (n, 2) from and to; of cuts worth the same one of the fewest."""
    costly = sold._replace(values=sold.values - PIECE_COST, second_values=sold.second_values - PIECE_COST)
    places = length_places(lane, costly, from_m, np.array([to_m]))[1].tolist()
    rolls, at = [], len(places) - 1
    while at > 0:
        start = int(places[at][_START])
        if start >= 0:
            rolls.append((places[start][_PLACE], min(places[at][_PLACE], to_m)))
        at = start if start >= 0 else at - 1
    return np.array(rolls[::-1], dtype=np.float64).reshape(-1, 2)


@njit(cache=True, nogil=True)
def _start_from(queue: Ints, due: Floats, lengths_m: Floats, count: int, place_m: float) -> None:
    """Let the lengths whose next start is a new place of the table be due from there."""
    for one in range(queue.size):
        if queue[one] == count:
            due[one] = place_m + lengths_m[one]


@njit(cache=True, nogil=True)
def _first_due(due: Floats) -> int:
    """The length whose next roll ends first."""
    first = 0
    for one in range(1, due.size):
        if due[one] < due[first]:
            first = one
    return first


@njit(cache=True, nogil=True)
def _at(places: Floats, pointer: int) -> float:
    return places[pointer] if pointer < places.size else np.inf


@njit(cache=True, nogil=True)
def _meets(second_from: Floats, second_to: Floats, from_m: float, to_m: float) -> bool:
    """Whether a piece meets downgraded film."""
    second = count_to(second_to, from_m + TOUCH_M)
    return bool(second < second_from.size and second_from[second] < to_m - TOUCH_M)


@njit(cache=True, nogil=True)
def _too_many(counted_from: Ints, counted_to: Ints, begun: int, ended: int, most: Ints) -> bool:
    for limit in range(most.size):  # noqa: SIM110  -- compiled
        if counted_from[begun, limit] - counted_to[ended, limit] > most[limit]:
            return True
    return False
