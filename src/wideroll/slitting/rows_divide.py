"""The clean stretches of lanes side by side, and which of them have to be worked out."""

from typing import NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import BY_METRE, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import (
    TOUCH_M,
    clean_stretches_of,
    count_below,
    count_to,
    grow,
    plain_pointers,
    stretch_is_plain,
)
from wideroll.slitting.lanes import Stowed, lane_of_berth

__all__ = ["PLAIN", "Asked", "Divided", "divide", "rows_at"]

PLAIN = -1
"""Of a stretch of which the length alone matters."""
_FROM, _TO, _BERTH, _AT, _SOURCE, _SECOND, _ROW, _ROWS, _COLUMN, _COLUMNS = range(10)


class Asked(NamedTuple):
    """Where sets may begin (S,) and end (E,), ascending, and the first end (S,) beyond each beginning."""

    starts_m: Floats
    ends_m: Floats
    firsts: Ints


class Divided(NamedTuple):
    """Stretches (N, 2) of some lanes, one lane after the other: lane l has those from ``first[l]`` to ``first[l + 1]``.

    Each has a table of worths, all one after the other from ``at`` (N + 1,): rows for its start and the beginnings
    inside it, columns for the ends inside it and its own. ``source`` (N,) is PLAIN, or the stretch that has the same
    table: itself where there is none before. ``berth`` (N,) is that of its lane. ``inside`` (N, 4): the first beginning
    strictly inside it and that beyond, the first end strictly inside it and that beyond; none lies inside where both
    are the same.
    """

    stretches: Floats
    first: Ints
    berth: Ints
    at: Ints
    source: Ints
    holds_second: Ints
    inside: Ints


@njit(cache=True, nogil=True)
def rows_at(firsts: Ints, ends: int, berths: int) -> Ints:
    """(S + 1,) where the rows of each beginning lie in one array of all: ends by berths."""
    at = np.zeros(firsts.size + 1, dtype=np.int64)
    for start in range(firsts.size):
        at[start + 1] = at[start] + (ends - firsts[start]) * berths
    return at


@njit(cache=True, nogil=True)
def divide(stowed: Stowed, berths: Ints, sold: Selling, asked: Asked) -> Divided:
    """The stretches of the lanes of some berths (n,), from the first beginning to the last end."""
    table, first, count, at = np.zeros((256, 10)), np.zeros(berths.size + 1, dtype=np.int64), 0, 0
    start_m, last_m = asked.starts_m[0], asked.ends_m[-1]
    steps = sold.steps_m[-1] if sold.steps_at.size > 1 else -1.0
    before = lane_of_berth(stowed, 0)
    for number in range(berths.size):
        lane, old = lane_of_berth(stowed, berths[number]), first[max(number - 1, 0)]
        stretches, pointers = clean_stretches_of(lane, sold, start_m, last_m), plain_pointers(lane, start_m)
        for one in range(stretches.shape[0]):
            from_m, to_m = stretches[one, 0], stretches[one, 1]
            if count == table.shape[0]:
                table = grow(table)
            table[count, _FROM], table[count, _TO] = from_m, to_m
            table[count, _BERTH], table[count, _AT] = berths[number], at
            row, column = count_to(asked.starts_m, from_m), count_to(asked.ends_m, from_m)
            rows, columns = max(count_below(asked.starts_m, to_m), row), max(count_below(asked.ends_m, to_m), column)
            table[count, _ROW], table[count, _ROWS] = row, rows
            table[count, _COLUMN], table[count, _COLUMNS] = column, columns
            at += (rows - row + 1) * (columns - column + 1)
            while old < first[number] and table[old, _FROM] < from_m:
                old += 1
            table[count, _SOURCE] = count
            if stretch_is_plain(lane, sold, from_m, to_m, pointers) and (
                sold.kind == BY_METRE or to_m - from_m <= steps
            ):
                table[count, _SOURCE] = PLAIN
            elif (
                old < first[number]
                and table[old, _FROM] == from_m
                and table[old, _TO] == to_m
                and table[old, _SOURCE] != PLAIN
                and _meets_the_same(lane, before, from_m, to_m)
            ):
                table[count, _SOURCE] = table[old, _SOURCE]
            table[count, _SECOND] = _holds_second(lane, from_m, to_m)
            count += 1
        first[number + 1], before = count, lane
    return _as_divided(table[:count], first, at)


@njit(cache=True, nogil=True)
def _as_divided(table: Floats, first: Ints, end: int) -> Divided:
    count = table.shape[0]
    numbers = np.zeros((4, count + 1), dtype=np.int64)
    stretches, inside = np.empty((count, 2)), np.empty((count, 4), dtype=np.int64)
    for one in range(count):
        stretches[one, 0], stretches[one, 1] = table[one, _FROM], table[one, _TO]
        for column in range(4):
            numbers[column, one] = int(table[one, _BERTH + column])
            inside[one, column] = int(table[one, _ROW + column])
    numbers[1, count] = end
    return Divided(stretches, first, numbers[0, :count], numbers[1], numbers[2, :count], numbers[3, :count], inside)


@njit(cache=True, nogil=True)
def _holds_second(lane: Lane, from_m: float, to_m: float) -> bool:
    second = count_to(lane.second_to, from_m + TOUCH_M)
    return bool(second < lane.second_from.size and lane.second_from[second] < to_m - TOUCH_M)


@njit(cache=True, nogil=True)
def _meets_the_same(one: Lane, other: Lane, from_m: float, to_m: float) -> bool:
    """Whether two lanes have the same downgraded film and the same counted marks in a stretch."""
    a, b = count_below(one.second_to, from_m), count_below(other.second_to, from_m)
    while a < one.second_from.size and one.second_from[a] < to_m:
        if b >= other.second_from.size or one.second_from[a] != other.second_from[b]:
            return False
        if one.second_to[a] != other.second_to[b]:
            return False
        a, b = a + 1, b + 1
    if b < other.second_from.size and other.second_from[b] < to_m:
        return False
    return (
        _same_running(one, other, from_m)
        and _same_counts(
            (one.mark_from, other.mark_from), (one.counted_from, other.counted_from), from_m - TOUCH_M, to_m
        )
        and _same_counts((one.mark_to, other.mark_to), (one.counted_to, other.counted_to), from_m, to_m + TOUCH_M)
    )


@njit(cache=True, nogil=True)
def _same_running(one: Lane, other: Lane, from_m: float) -> bool:
    """Whether as many marks of each limit have begun before a stretch and not ended."""
    a, b = count_below(one.mark_from, from_m - TOUCH_M), count_below(other.mark_from, from_m - TOUCH_M)
    c, d = count_below(one.mark_to, from_m), count_below(other.mark_to, from_m)
    for limit in range(one.counted_from.shape[1]):
        mine = one.counted_from[a, limit] - one.counted_to[c, limit]
        if mine != other.counted_from[b, limit] - other.counted_to[d, limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def _same_counts(places: tuple[Floats, Floats], counted: tuple[Ints, Ints], from_m: float, to_m: float) -> bool:
    a, b = count_below(places[0], from_m), count_below(places[1], from_m)
    size = count_to(places[0], to_m) - a
    if count_to(places[1], to_m) - b != size:
        return False
    for step in range(size):
        if places[0][a + step] != places[1][b + step]:
            return False
        for limit in range(counted[0].shape[1]):
            mine = counted[0][a + step + 1, limit] - counted[0][a + step, limit]
            if mine != counted[1][b + step + 1, limit] - counted[1][b + step, limit]:
                return False
    return True
