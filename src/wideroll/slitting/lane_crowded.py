"""The best spliced rolls out of a lane, where a roll may carry very many different loads of counted marks.

A roll in progress is known by the worth before it, the length its parts could have at most, their number and the marks
they carry: more worth, more length, fewer parts and fewer marks are as good or better. Its parts are kept as long as
they may be, as in ``lane_counted``, which is faster but needs a row for every load. A roll in progress that can end no
sooner than one that is worth as much is given up.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import PIECE_COST, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_plain import Splicing, splicing_of, trim
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, clean_stretches_of, count_below

__all__ = ["crowded_ends", "crowded_parts"]

_PLACE, _WORTH, _START, _PART, _FROM, _LENGTH, _NUMBER = range(7)
"""Of a finished roll: its end, the worth up to there, the roll before, the part before its last one, its start.

Of a part: its end, the worth before its roll, the roll before, the part before, its start, then the length of all parts
so far and their number.
"""
_ROLLS, _PARTS, _OPEN, _WAITING, _FULL = range(5)


class _Work(NamedTuple):
    """How far the lane is worked out; ``used`` (5,) tells how many rows of each table are, and whether one is full.

    ``rolls`` (N, 5): places that a roll ends at or one may start at, each worth more than those before. ``waiting``
    (N, 5): ends of rolls farther along in this stretch, ascending, each worth more than those before. ``parts`` (N, 7)
    of rolls in progress and the marks ``carried`` (N, R) by these; ``open`` (N,) are the parts that may go on.
    """

    mark_from: Floats
    mark_to: Floats
    counted_from: Ints
    counted_to: Ints
    most: Ints
    splicing: Splicing
    rolls: Floats
    waiting: Floats
    parts: Floats
    carried: Ints
    open: Ints
    turn: Ints
    used: Ints


@njit(cache=True, nogil=True)
def crowded_ends(lane: Lane, sold: Selling, start_m: float, ends_m: Floats) -> Floats:
    """As ``spliced_ends``."""
    worths, roll = np.zeros(ends_m.size), 0
    if ends_m.size == 0 or ends_m[-1] <= start_m:
        return worths
    stretches = clean_stretches_of(lane, sold, start_m, ends_m[-1])
    work = _work_out(lane, sold.most, splicing_of(sold, 0.0), stretches, start_m)
    for end in range(ends_m.size):
        while roll + 1 < work.used[_ROLLS] and work.rolls[roll + 1, _PLACE] <= ends_m[end] + TOUCH_M:
            roll += 1
        worths[end] = work.rolls[roll, _WORTH]
    return worths


def crowded_parts(lane: Lane, sold: Selling, start_m: float, end_m: float) -> tuple[Floats, Ints]:
    """The parts (n, 2), from and to, and the number of the roll that each belongs to (n,)."""
    splicing = splicing_of(sold, PIECE_COST)
    stretches = clean_stretches_of(lane, sold, start_m, end_m)
    work = _work_out(lane, sold.most, splicing, stretches, start_m)
    parts = np.zeros((work.used[_ROLLS] * (splicing.most_splices + 1), 2))
    numbers = np.zeros(parts.shape[0], dtype=np.int64)
    roll, at, number = work.used[_ROLLS] - 1, parts.shape[0], 0
    while roll > 0:
        row = work.rolls[roll]
        if row[_FROM] < row[_PLACE]:
            last, part = at, int(row[_PART])
            at -= 1
            parts[at, 0], parts[at, 1] = row[_FROM], row[_PLACE]
            while part >= 0:
                at -= 1
                parts[at, 0], parts[at, 1] = work.parts[part, _FROM], work.parts[part, _PLACE]
                part = int(work.parts[part, _PART])
            trim(parts[at:last], splicing)
            numbers[at:last] = number
            number += 1
        roll = int(row[_START])
    return parts[at:], number - 1 - numbers[at:]


@njit(cache=True, nogil=True)
def _work_out(lane: Lane, most: Ints, splicing: Splicing, stretches: Floats, start_m: float) -> _Work:
    size = 256
    while True:
        work = _Work(
            lane.mark_from,
            lane.mark_to,
            lane.counted_from,
            lane.counted_to,
            most,
            splicing,
            np.empty((size, 5)),
            np.empty((size, 5)),
            np.empty((size, 7)),
            np.empty((size, most.size), dtype=np.int64),
            np.empty(size, dtype=np.int64),
            np.empty(size, dtype=np.int64),
            np.zeros(5, dtype=np.int64),
        )
        _add_roll(work, start_m, 0.0, 0, -1, start_m)
        for number in range(stretches.shape[0]):
            from_m, to_m = stretches[number, 0], stretches[number, 1]
            if to_m - from_m >= min(splicing.between_m, splicing.length_m) - TOUCH_M:
                _sweep_stretch(work, from_m, to_m)
        if work.used[_FULL] == 0:
            return work
        size *= 4


@njit(cache=True, nogil=True)
def _sweep_stretch(work: _Work, from_m: float, to_m: float) -> None:
    """Go on from place to place where a roll or a part may start."""
    anchor_m, first = from_m, 0
    mark = count_below(work.mark_to, from_m + TOUCH_M)
    while work.used[_FULL] == 0:
        waits = first < work.used[_WAITING]
        if waits and work.waiting[first, _PLACE] < anchor_m:
            row = work.waiting[first]
            first += 1
            _add_roll(work, row[_PLACE], row[_WORTH], int(row[_START]), int(row[_PART]), row[_FROM])
            _begin_rolls(work, first, to_m)
        elif anchor_m < np.inf:
            last = work.used[_ROLLS] - 1
            _add_roll(work, anchor_m, work.rolls[last, _WORTH], last, -1, anchor_m)
            _go_on(work, first, anchor_m, to_m)
            _begin_rolls(work, first, to_m)
            while mark < work.mark_to.size and work.mark_to[mark] < anchor_m + TOUCH_M:
                mark += 1
            within = mark < work.mark_to.size and work.mark_to[mark] < to_m - TOUCH_M
            anchor_m = work.mark_to[mark] if within else np.inf
        else:
            break
    work.used[_WAITING] = 0


@njit(cache=True, nogil=True)
def _add_roll(  # noqa: PLR0917  -- compiled
    work: _Work, place_m: float, worth: float, start: int, part: int, from_m: float
) -> None:
    row = work.rolls[work.used[_ROLLS]]
    row[_PLACE], row[_WORTH], row[_START], row[_PART], row[_FROM] = place_m, worth, start, part, from_m
    work.used[_ROLLS] += 1
    if work.used[_ROLLS] == work.rolls.shape[0]:
        work.used[_FULL] = 1


@njit(cache=True, nogil=True)
def _begin_rolls(work: _Work, first: int, to_m: float) -> None:
    """A whole roll, and first parts of spliced ones, from the last place on; ``first`` is the next roll that waits."""
    roll, splicing = work.used[_ROLLS] - 1, work.splicing
    if work.used[_FULL]:
        return
    from_m = work.rolls[roll, _PLACE]
    end_m = from_m + splicing.length_m
    if end_m <= to_m + TOUCH_M and _may_carry(work, -1, from_m, end_m):
        _wait(work, first, (min(end_m, to_m), work.rolls[roll, _WORTH] + splicing.value, from_m), (roll, -1))
    _add_parts(work, first, -1, from_m, to_m)


@njit(cache=True, nogil=True)
def _go_on(work: _Work, first: int, from_m: float, to_m: float) -> None:
    """Last and further parts, from a place on, of the rolls in progress."""
    splicing, kept = work.splicing, 0
    for at in range(work.used[_OPEN]):
        part = work.open[at]
        if not _is_hopeless(work, first, part, from_m):
            work.open[kept] = work.turn[kept] = part
            kept += 1
    work.used[_OPEN] = kept
    for at in range(kept):
        part = work.turn[at]
        row = work.parts[part]
        if row[_PLACE] > from_m + TOUCH_M:
            continue
        end_m = from_m + max(splicing.between_m, splicing.length_m - row[_LENGTH])
        if end_m <= to_m + TOUCH_M and _may_carry(work, part, from_m, end_m):
            worth = row[_WORTH] + splicing.value - splicing.loss * row[_NUMBER]
            _wait(work, first, (min(end_m, to_m), worth, from_m), (int(row[_START]), part))
        _add_parts(work, first, part, from_m, to_m)


@njit(cache=True, nogil=True)
def _is_hopeless(work: _Work, first: int, part: int, from_m: float) -> bool:
    """Whether a roll in progress, going on from there, is worth no more than one that ends as soon."""
    row, splicing = work.parts[part], work.splicing
    worth = row[_WORTH] + splicing.value - splicing.loss * row[_NUMBER] - WORTH_TIE
    if worth <= work.rolls[work.used[_ROLLS] - 1, _WORTH]:
        return True
    end_m = max(row[_PLACE], from_m) + max(splicing.between_m, splicing.length_m - row[_LENGTH]) + TOUCH_M
    for at in range(first, work.used[_WAITING]):
        if work.waiting[at, _PLACE] > end_m:
            return False
        if worth <= work.waiting[at, _WORTH]:
            return True
    return False


@njit(cache=True, nogil=True)
def _may_carry(work: _Work, part: int, from_m: float, to_m: float) -> bool:
    """Whether a roll with the marks up to a part (-1: none) may have a part there too."""
    begun = count_below(work.mark_from, to_m - TOUCH_M)
    ended = count_below(work.mark_to, from_m + TOUCH_M)
    for limit in range(work.most.size):
        carried = work.carried[part, limit] if part >= 0 else 0
        if carried + work.counted_from[begun, limit] - work.counted_to[ended, limit] > work.most[limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def _add_parts(work: _Work, first: int, part: int, from_m: float, to_m: float) -> None:
    """Parts from a place on, to the beginnings of marks and to the end of the stretch, after a part (-1: first)."""
    splicing, count = work.splicing, work.mark_from.size
    number = 1.0 + (work.parts[part, _NUMBER] if part >= 0 else 0.0)
    if number > splicing.most_splices or (number + 1.0) * splicing.between_m > splicing.length_m + TOUCH_M:
        return
    ended = count_below(work.mark_to, from_m + TOUCH_M)
    mark = count_below(work.mark_from, from_m + splicing.between_m - TOUCH_M)
    begun, end_m = count_below(work.mark_from, from_m), -np.inf
    while end_m < to_m and work.used[_FULL] == 0:
        end_m = work.mark_from[mark] if mark < count and work.mark_from[mark] < to_m else to_m
        mark += 1
        while begun < count and work.mark_from[begun] < end_m - TOUCH_M:
            begun += 1
        new = work.used[_PARTS]
        for limit in range(work.most.size):
            carried = work.carried[part, limit] if part >= 0 else 0
            carried += work.counted_from[begun, limit] - work.counted_to[ended, limit]
            if carried > work.most[limit]:
                return
            work.carried[new, limit] = carried
        if end_m - from_m >= splicing.between_m - TOUCH_M:
            _describe_part(work, part, from_m, end_m, number)
            _open_part(work, first)


@njit(cache=True, nogil=True)
def _describe_part(work: _Work, part: int, from_m: float, end_m: float, number: float) -> None:
    """Write a part, after another one, into the first free row."""
    row, splicing, roll = work.parts[work.used[_PARTS]], work.splicing, work.used[_ROLLS] - 1
    row[_PLACE], row[_PART], row[_FROM], row[_NUMBER] = end_m, part, from_m, number
    row[_LENGTH] = end_m - from_m
    if part >= 0:
        row[_WORTH], row[_START] = work.parts[part, _WORTH], work.parts[part, _START]
        row[_LENGTH] += work.parts[part, _LENGTH]
    else:
        row[_WORTH], row[_START] = work.rolls[roll, _WORTH], roll
    row[_LENGTH] = min(row[_LENGTH], splicing.length_m - splicing.between_m)


@njit(cache=True, nogil=True)
def _open_part(work: _Work, first: int) -> None:
    """Open the part in the first free row, unless an open one is as good; close those that it is better than."""
    new, kept = work.used[_PARTS], 0
    if _is_hopeless(work, first, new, -np.inf):
        return
    for at in range(work.used[_OPEN]):
        if _is_as_good(work, work.open[at], new):
            return
    for at in range(work.used[_OPEN]):
        part = work.open[at]
        if not _is_as_good(work, new, part):
            work.open[kept] = part
            kept += 1
    work.open[kept] = new
    work.used[_PARTS], work.used[_OPEN] = new + 1, kept + 1
    if new + 1 == work.parts.shape[0]:
        work.used[_FULL] = 1


@njit(cache=True, nogil=True)
def _is_as_good(work: _Work, part: int, other: int) -> bool:
    """Whether a roll in progress leaves all that another does."""
    one, two = work.parts[part], work.parts[other]
    if one[_PLACE] > two[_PLACE] or one[_LENGTH] < two[_LENGTH] - TOUCH_M or one[_NUMBER] > two[_NUMBER]:
        return False
    if one[_WORTH] < two[_WORTH] - WORTH_TIE:
        return False
    for limit in range(work.most.size):  # noqa: SIM110  -- compiled
        if work.carried[part, limit] > work.carried[other, limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def _wait(work: _Work, first: int, ends: tuple[float, float, float], after: tuple[int, int]) -> None:
    """Let a roll (end, worth, start of its last part) wait, unless one that ends no later is worth as much."""
    place_m, worth, from_m = ends
    count, at = work.used[_WAITING], first
    if worth <= work.rolls[work.used[_ROLLS] - 1, _WORTH] + WORTH_TIE:
        return
    while at < count and work.waiting[at, _PLACE] <= place_m:
        if work.waiting[at, _WORTH] >= worth - WORTH_TIE:
            return
        at += 1
    beyond = at
    while beyond < count and work.waiting[beyond, _WORTH] <= worth + WORTH_TIE:
        beyond += 1
    moved, room = count - beyond, beyond - at
    if room == 0:
        for row in range(count - 1, at - 1, -1):
            work.waiting[row + 1] = work.waiting[row]
    else:
        for row in range(moved):
            work.waiting[at + 1 + row] = work.waiting[beyond + row]
    row_at = work.waiting[at]
    row_at[_PLACE], row_at[_WORTH], row_at[_FROM] = place_m, worth, from_m
    row_at[_START], row_at[_PART] = after
    work.used[_WAITING] = at + 1 + moved
    if work.used[_WAITING] == work.waiting.shape[0]:
        work.used[_FULL] = 1
