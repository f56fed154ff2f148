"""What lanes are worth in every berth, for every place where a knife set may begin or end.

A clean stretch of a lane is worked out by itself, and neighbouring berths mostly have the same stretches: what was
found for one is used again for the next. Where nothing but stretches matters, those that lie whole between two changes
are worked out once for all of them.
"""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.across import NONE
from wideroll.slitting.lane import BY_METRE, SPLICED, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_spliced import is_crowded
from wideroll.slitting.lane_steps import step_worth
from wideroll.slitting.lane_stretches import TOUCH_M, clean_stretches_of, plain_pointers, stretch_is_plain
from wideroll.slitting.lane_values import has_steps, stretch_ends, unspliced_ends
from wideroll.slitting.lanes import Stowed, lane_of_berth
from wideroll.slitting.rows_spliced import Asked, fill_crowded, fill_spliced, rows_at

__all__ = ["fill_rows", "rows_at"]


class _Known(NamedTuple):
    """Stretches (n, 2) of one berth, where in ``worths`` their tables begin (n + 1,), and whether they have one."""

    stretches: Floats
    at: Ints
    worths: Floats
    lane: Lane


def fill_rows(  # noqa: PLR0917  -- half of it goes on to compiled code
    stowed: Stowed,
    banned: NDArray[np.bool_],
    berths: tuple[int, int],
    sold: Selling,
    starts_m: Floats,
    ends_m: Floats,
    firsts: Ints,
    out: Floats,
) -> None:
    """Fill the worths of the berths of one width into ``out``, laid out as ``rows_at`` says."""
    asked = Asked(starts_m, ends_m, firsts)
    fill = _fill_unspliced
    if sold.kind == SPLICED and sold.most_splices > 0:
        fill = fill_crowded if is_crowded(sold) else fill_spliced
    fill(stowed, banned, berths, sold, asked, out)
    for berth in (np.flatnonzero(banned[berths[0] : berths[1]]) + berths[0]).tolist():
        out[berth :: banned.size] = NONE


@njit(cache=True, nogil=True)
def _fill_unspliced(  # noqa: PLR0917  -- compiled
    stowed: Stowed, banned: NDArray[np.bool_], berths: tuple[int, int], sold: Selling, asked: Asked, out: Floats
) -> None:
    starts_m, ends_m, firsts = asked.starts_m, asked.ends_m, asked.firsts
    at = rows_at(firsts, ends_m.size, banned.size)
    shared = sold.run_m == np.inf
    known = _Known(np.zeros((0, 2)), np.zeros(1, dtype=np.int64), np.zeros(0), lane_of_berth(stowed, berths[0]))
    for berth in range(berths[0], berths[1]):
        if banned[berth]:
            continue
        if shared and not (sold.kind == BY_METRE and _nothing_but_blocked(stowed, berth)):
            known = _share(lane_of_berth(stowed, berth), sold, asked, known)
            _put_together(known, asked, at, berth, banned.size, out)
        else:
            lane = lane_of_berth(stowed, berth)
            for start in range(starts_m.size):
                worths = unspliced_ends(lane, sold, starts_m[start], ends_m[firsts[start] :])
                out[at[start] + berth : at[start + 1] : banned.size] = worths


@njit(cache=True, nogil=True, inline="always")
def _nothing_but_blocked(stowed: Stowed, berth: int) -> bool:
    no_marks = stowed.mark_at[berth] == stowed.mark_at[berth + 1]
    return bool(no_marks and stowed.second_at[berth] == stowed.second_at[berth + 1])


@njit(cache=True, nogil=True)
def _share(lane: Lane, sold: Selling, asked: Asked, before: _Known) -> _Known:
    """The stretches of a lane, with a table each: rows for its start and beginnings in it, columns for ends."""
    length_m = asked.ends_m[-1]
    stretches = clean_stretches_of(lane, sold, 0.0, length_m)
    at = np.zeros(stretches.shape[0] + 1, dtype=np.int64)
    for number in range(stretches.shape[0]):
        rows, columns = _inside(asked, stretches[number, 0], stretches[number, 1])
        at[number + 1] = at[number] + (rows[1] - rows[0] + 1) * (columns[1] - columns[0] + 1)
    worths = np.zeros(at[-1])
    pointers, old = plain_pointers(lane, 0.0), 0
    for number in range(stretches.shape[0]):
        from_m, to_m = stretches[number]
        table = worths[at[number] : at[number + 1]]
        plain = stretch_is_plain(lane, sold, from_m, to_m, pointers) and has_steps(sold, to_m - from_m)
        while old < before.stretches.shape[0] and before.stretches[old, 0] < from_m:
            old += 1
        same = (
            not plain
            and old < before.stretches.shape[0]
            and before.stretches[old, 0] == from_m
            and before.stretches[old, 1] == to_m
            and _meets_the_same(lane, before.lane, from_m, to_m)
        )
        if plain:
            _look_up(sold, asked, stretches[number], table)
        elif same:
            table[:] = before.worths[before.at[old] : before.at[old + 1]]
        else:
            _work_out(lane, sold, asked, stretches[number], table)
    return _Known(stretches, at, worths, lane)


@njit(cache=True, nogil=True, inline="always")
def _inside(asked: Asked, from_m: float, to_m: float) -> tuple[tuple[int, int], tuple[int, int]]:
    """Beginnings strictly inside a stretch, and ends strictly inside it."""
    rows = (
        int(np.searchsorted(asked.starts_m, from_m, side="right")),
        int(np.searchsorted(asked.starts_m, to_m, side="left")),
    )
    columns = (
        int(np.searchsorted(asked.ends_m, from_m, side="right")),
        int(np.searchsorted(asked.ends_m, to_m, side="left")),
    )
    return rows, columns


@njit(cache=True, nogil=True)
def _look_up(sold: Selling, asked: Asked, stretch: Floats, table: Floats) -> None:
    """The table of a stretch of which the length alone matters."""
    from_m, to_m = stretch
    rows, columns = _inside(asked, from_m, to_m)
    ends_m = np.append(asked.ends_m[columns[0] : columns[1]], to_m)
    for row in range(rows[1] - rows[0] + 1):
        start_m = from_m if row == 0 else asked.starts_m[rows[0] + row - 1]
        for end in range(int(np.searchsorted(ends_m, start_m, side="right")), ends_m.size):
            table[row * ends_m.size + end] = step_worth(sold, ends_m[end] - start_m)


@njit(cache=True, nogil=True)
def _work_out(lane: Lane, sold: Selling, asked: Asked, stretch: Floats, table: Floats) -> None:
    """The table of a stretch with downgraded film or counted marks."""
    from_m, to_m = stretch
    rows, columns = _inside(asked, from_m, to_m)
    ends_m = np.append(asked.ends_m[columns[0] : columns[1]], to_m)
    for row in range(rows[1] - rows[0] + 1):
        start_m = from_m if row == 0 else asked.starts_m[rows[0] + row - 1]
        first = int(np.searchsorted(ends_m, start_m, side="right"))
        if to_m > start_m + TOUCH_M:
            line = table[row * ends_m.size : (row + 1) * ends_m.size]
            line[first:] = stretch_ends(lane, sold, start_m, ends_m[first:])


@njit(cache=True, nogil=True)
def _meets_the_same(one: Lane, other: Lane, from_m: float, to_m: float) -> bool:
    """Whether two lanes have the same downgraded film and the same counted marks in a stretch."""
    a, b = np.searchsorted(one.second_to, from_m), np.searchsorted(other.second_to, from_m)
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
    a, b = np.searchsorted(one.mark_from, from_m - TOUCH_M), np.searchsorted(other.mark_from, from_m - TOUCH_M)
    c, d = np.searchsorted(one.mark_to, from_m), np.searchsorted(other.mark_to, from_m)
    for limit in range(one.counted_from.shape[1]):
        mine = one.counted_from[a, limit] - one.counted_to[c, limit]
        if mine != other.counted_from[b, limit] - other.counted_to[d, limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def _same_counts(places: tuple[Floats, Floats], counted: tuple[Ints, Ints], from_m: float, to_m: float) -> bool:
    a, b = np.searchsorted(places[0], from_m), np.searchsorted(places[1], from_m)
    size = np.searchsorted(places[0], to_m, side="right") - a
    if np.searchsorted(places[1], to_m, side="right") - b != size:
        return False
    for step in range(size):
        if places[0][a + step] != places[1][b + step]:
            return False
        for limit in range(counted[0].shape[1]):
            mine = counted[0][a + step + 1, limit] - counted[0][a + step, limit]
            if mine != counted[1][b + step + 1, limit] - counted[1][b + step, limit]:
                return False
    return True


@njit(cache=True, nogil=True)
def _put_together(  # noqa: PLR0917  -- compiled
    known: _Known, asked: Asked, at: Ints, berth: int, berths: int, out: Floats
) -> None:
    """The worth between each beginning and end: a part of a stretch, whole stretches, and a part of another one."""
    stretches, count = known.stretches, known.stretches.shape[0]
    whole = np.zeros(count + 1)
    for number in range(count):
        columns = _inside(asked, stretches[number, 0], stretches[number, 1])[1]
        whole[number + 1] = whole[number] + known.worths[known.at[number] + columns[1] - columns[0]]
    for start in range(asked.starts_m.size):
        start_m = asked.starts_m[start]
        first = int(np.searchsorted(stretches[:, 1], start_m, side="right"))
        inside = first < count and stretches[first, 0] < start_m
        head, line = 0.0, 0
        if inside:
            rows, columns = _inside(asked, stretches[first, 0], stretches[first, 1])
            width = columns[1] - columns[0] + 1
            line = known.at[first] + (start - rows[0] + 1) * width
            head = known.worths[line + width - 1]
        number = first
        for end in range(asked.firsts[start], asked.ends_m.size):
            end_m = asked.ends_m[end]
            while number < count and stretches[number, 1] <= end_m:
                number += 1
            worth = whole[number] - whole[first]
            if inside and number > first:
                worth += head - (whole[first + 1] - whole[first])
            if number < count and stretches[number, 0] < end_m:
                columns = _inside(asked, stretches[number, 0], stretches[number, 1])[1]
                if inside and number == first:
                    worth = known.worths[line + end - columns[0]]
                else:
                    worth += known.worths[known.at[number] + end - columns[0]]
            out[at[start] + (end - asked.firsts[start]) * berths + berth] = worth
