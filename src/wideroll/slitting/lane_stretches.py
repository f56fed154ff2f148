"""The clean stretches of one lane, between what is blocked and the stops."""

from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.lane import BY_LENGTH, BY_METRE, Floats, Ints, Lane, Selling

__all__ = [
    "TOUCH_M",
    "WORTH_TIE",
    "carries_all",
    "clean_stretches_of",
    "copy_rows",
    "count_below",
    "count_to",
    "grow",
    "move_past",
    "plain_pointers",
    "stretch_is_plain",
]

TOUCH_M: Final = 1e-9
"""Places along that are no farther apart count as one."""
WORTH_TIE: Final = 1e-9
"""Worths that differ by no more count as equal."""


@njit(cache=True, nogil=True)
def clean_stretches_of(lane: Lane, sold: Selling, start_m: float, end_m: float) -> Floats:
    """Stretches of a lane that no blocked film and no stop lies in.

    Args:
        lane: what is met.
        sold: where the stops are; downgraded film counts as blocked where it can't be sold.
        start_m: where the knives were set.
        end_m: no stretch reaches farther.

    Returns:
        (S, 2) from and to, ascending.
    """
    blocked = count_to(lane.blocked_to, start_m)
    beyond = count_below(lane.blocked_from, end_m)
    second = count_to(lane.second_to, start_m) if _is_lost(sold) else lane.second_to.size
    stops = int((end_m - start_m) / sold.run_m) if sold.run_m < np.inf else 0
    rows = int(beyond) - int(blocked) + int(lane.second_to.size) - int(second) + stops + 2
    found = np.empty((max(rows, 2), 2))
    count, reach, stop = 0, start_m, 1
    while reach < end_m - TOUCH_M:
        stop_m = start_m + stop * sold.run_m
        blocked_m = lane.blocked_from[blocked] if blocked < lane.blocked_from.size else np.inf
        second_m = lane.second_from[second] if second < lane.second_from.size else np.inf
        until = min(stop_m, end_m, blocked_m, second_m)
        if until > reach + TOUCH_M:
            found[count] = reach, until
            count += 1
        if until == blocked_m:
            reach = max(reach, lane.blocked_to[blocked])
            blocked += 1
        elif until == second_m:
            reach = max(reach, lane.second_to[second])
            second += 1
        else:
            reach = max(reach, until)
            stop += 1
    return found[:count]


@njit(cache=True, nogil=True)
def plain_pointers(lane: Lane, start_m: float) -> Ints:
    """(3,) for ``stretch_is_plain``: downgraded film and marks that end before, marks that begin before a place."""
    return np.array(
        [
            count_to(lane.second_to, start_m),
            count_to(lane.mark_to, start_m),
            count_below(lane.mark_from, start_m),
        ]
    )


@njit(cache=True, nogil=True)
def stretch_is_plain(lane: Lane, sold: Selling, from_m: float, to_m: float, pointers: Ints) -> bool:
    """Whether a stretch meets no downgraded film, and no more marks than one finished roll may carry.

    ``pointers`` go on from stretch to stretch.
    """
    second, ended, begun = pointers
    while second < lane.second_to.size and lane.second_to[second] <= from_m + TOUCH_M:
        second += 1
    while ended < lane.mark_to.size and lane.mark_to[ended] <= from_m + TOUCH_M:
        ended += 1
    while begun < lane.mark_from.size and lane.mark_from[begun] < to_m - TOUCH_M:
        begun += 1
    pointers[0], pointers[1], pointers[2] = second, ended, begun
    if second < lane.second_from.size and lane.second_from[second] < to_m - TOUCH_M:
        return False
    for limit in range(sold.most.size):
        if lane.counted_from[begun, limit] - lane.counted_to[ended, limit] > sold.most[limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def carries_all(lane: Lane, sold: Selling, start_m: float, end_m: float) -> bool:
    """Whether one spliced roll could carry all marks between two places, though each of its parts met all of them."""
    begun, ended, parts = count_below(lane.mark_from, end_m), count_below(lane.mark_to, start_m), sold.most_splices + 1
    for limit in range(sold.most.size):
        if parts * (lane.counted_from[begun, limit] - lane.counted_to[ended, limit]) > sold.most[limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def count_below(places: Floats, place_m: float) -> int:
    """How many of ascending places lie before a place."""
    low, high = 0, places.size
    while low < high:
        middle = (low + high) // 2
        if places[middle] < place_m:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True)
def count_to(places: Floats, place_m: float) -> int:
    """How many of ascending places lie before a place or at it."""
    low, high = 0, places.size
    while low < high:
        middle = (low + high) // 2
        if places[middle] <= place_m:
            low = middle + 1
        else:
            high = middle
    return low


@njit(cache=True, nogil=True)
def move_past(places: Floats, pointer: int, place_m: float) -> int:
    """The pointer moved past all places up to one."""
    while pointer < places.size and places[pointer] <= place_m:
        pointer += 1
    return pointer


@njit(cache=True, nogil=True)
def grow(table: Floats) -> Floats:
    """A table with twice the rows."""
    grown = np.zeros((2 * table.shape[0], table.shape[1]))
    copy_rows(grown, 0, table)
    return grown


@njit(cache=True, nogil=True)
def copy_rows(into: Floats, at: int, rows: Floats) -> None:
    """Rows into a table from a row on; the compiler takes long over a slice put into a slice."""
    for row in range(rows.shape[0]):
        for column in range(rows.shape[1]):
            into[at + row, column] = rows[row, column]


@njit(cache=True, nogil=True)
def _is_lost(sold: Selling) -> bool:
    if sold.kind == BY_METRE:
        return sold.second_per_m <= 0.0
    return sold.kind != BY_LENGTH or not np.any(sold.second_values > 0.0)
