"""The best spliced rolls out of a lane whose counted marks limit what a roll may hold.

What a roll is worth depends on its number of splices alone. So of all rolls beyond a place, only those that end
first, one for each number of splices, can be in a best cut; and only places where rolls end are such places.
``lane_film`` finds them.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane
from wideroll.slitting.lane_film import NOT_FOUND, Film, first_rolls, latest_start
from wideroll.slitting.lane_plain import Splicing
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, count_below, count_to, grow

__all__ = ["Known", "counted_parts", "counted_worths", "nothing_known"]

_PLACE, _START, _SPLICES = range(3)
_LOOKED, _WHOLE, _UNTIL, _ENDS = 1, 2, 3, 4
Known = tuple[Floats, float, float]
"""The rolls found in a like lane, and the first and the last place where it is another one.

A row (5 + K,) for each place that was asked, ascending: the place; how far the lane was looked at; where the next whole
roll would end; up to where the same rolls end first; and where the first roll with so many splices ends, infinite where
fewer do as well.
"""


@njit(cache=True, nogil=True)
def counted_worths(  # noqa: PLR0917  -- compiled
    lane: Lane, most: Ints, splicing: Splicing, film: Film, asked: tuple[Floats, Floats], known: Known
) -> tuple[Floats, Floats, int, Floats]:
    """Worth of the best rolls from each of several places where the knives are set to each of several ends.

    Rolls are made from all places at once: behind the first mark or flaw mostly the same ones, whatever the start.

    Args:
        lane: what is met.
        most: (R,) marks that a roll may carry.
        splicing: how rolls are spliced.
        film: that of the lane from the first start on.
        asked: the starts (S,) and ends (E,), ascending.
        known: see ``Known``; ``nothing_known`` where there is no like lane.

    Returns:
        (S, E) worth, 0 for ends before the start; where rolls end (N, 3): place, the row before, splices; the row of
        the last that counts; and what was found. The rows lead back to the start where there is but one.
    """
    starts_m, ends_m = asked
    worths, count, at, done, last = np.zeros((starts_m.size, ends_m.size)), starts_m.size, 0, 0, 0
    rolls, levels, found = np.empty((count + 64, 3)), np.full((count + 64, count), -np.inf), 0
    searched = np.empty((count + 64, splicing.most_splices + 5))
    best, same_m = np.full(count, -np.inf), TOUCH_M if count > 1 else 0.0
    for start in range(count):
        rolls[start, _PLACE], rolls[start, _START], levels[start, start] = starts_m[start], -1.0, 0.0
    while at < count and done < ends_m.size:
        done = _fill(worths, done, ends_m, best, rolls[at, _PLACE] - TOUCH_M)
        if done < ends_m.size and _is_raised(best, levels[at]):
            last = at
            if found == searched.shape[0]:
                searched = grow(searched)
            _look_up(lane, most, splicing, film, known, rolls[at, _PLACE], searched[max(found - 1, 0) : found + 1])
            for splices in range(splicing.most_splices + 1):
                end_m = searched[found, _ENDS + splices]
                if end_m <= ends_m[-1] + TOUCH_M:
                    if count == rolls.shape[0]:
                        rolls, levels = grow(rolls), grow(levels)
                    count = _insert(rolls, levels, (at, count, splices), splicing, end_m, same_m)
            found += 1
        at += 1
    _fill(worths, done, ends_m, best, np.inf)
    return worths, rolls, last, searched[:found]


@njit(cache=True, nogil=True)
def _look_up(  # noqa: PLR0917  -- compiled
    lane: Lane, most: Ints, splicing: Splicing, film: Film, known: Known, place_m: float, searched: Floats
) -> None:
    """The rolls that end first from a place, into the last row of those searched.

    They are those of the row before it, or of the like lane, where the same rolls end first from there, and where what
    was looked at in the like lane is the same.
    """
    rows, other_from_m, other_to_m = known
    whole_m, found = film.whole_m[count_below(film.place[: film.place.size - 1], place_m - TOUCH_M)], searched[-1]
    if searched.shape[0] > 1 and searched[0, _PLACE] <= place_m <= searched[0, _UNTIL]:
        _copy(searched[0], found, place_m, whole_m)
        return
    row = count_to(rows[:, _PLACE], place_m) - 1
    if row >= 0 and place_m <= rows[row, _UNTIL] and rows[row, _WHOLE] == whole_m:
        looked_m = max(rows[row, _LOOKED], place_m + splicing.length_m)
        if looked_m < other_from_m or place_m > other_to_m:
            _copy(rows[row], found, place_m, whole_m)
            return
    ends, lasts = np.full(splicing.most_splices + 1, np.inf), np.empty((splicing.most_splices + 1, 2), dtype=np.int64)
    lasts[:] = NOT_FOUND
    found[_LOOKED] = first_rolls(lane, most, splicing, film, (place_m, ends, lasts))
    found[_PLACE], found[_WHOLE] = place_m, whole_m
    found[_UNTIL] = latest_start(film, splicing, (place_m, ends, lasts))
    for splices in range(ends.size):
        found[_ENDS + splices] = ends[splices] if lasts[splices, 0] != NOT_FOUND else np.inf


@njit(cache=True, nogil=True)
def _copy(row: Floats, found: Floats, place_m: float, whole_m: float) -> None:
    """What is known of an earlier place, for a place from which the same rolls end first."""
    for column in range(found.size):
        found[column] = row[column]
    found[_PLACE], found[_WHOLE] = place_m, whole_m


def counted_parts(  # noqa: PLR0917  -- as the compiled code it calls
    lane: Lane, most: Ints, splicing: Splicing, film: Film, start_m: float, end_m: float
) -> tuple[Floats, Ints]:
    """The parts (n, 2), as long as they may be, and the number of the roll that each belongs to (n,)."""
    asked = np.array([start_m]), np.array([end_m])
    _, rolls, roll, _ = counted_worths(lane, most, splicing, film, asked, nothing_known(splicing))
    parts: list[tuple[float, float]] = []
    numbers: list[int] = []
    ends, lasts = np.empty(splicing.most_splices + 1), np.zeros((splicing.most_splices + 1, 2), dtype=np.int64)
    while roll > 0:
        start, splices = int(rolls[roll, _START]), int(rolls[roll, _SPLICES])
        ends[:] = np.inf
        lasts[:] = NOT_FOUND
        first_rolls(lane, most, splicing, film, (float(rolls[start, _PLACE]), ends, lasts))
        anchor, load = lasts[splices].tolist()
        from_m = film.place[anchor]
        if splices == 0:
            from_m = max(ends[0] - splicing.length_m, rolls[start, _PLACE])
        parts.append((from_m, ends[splices]))
        for part in range(splices, 0, -1):
            state = (anchor, part, load)
            parts.append((film.place[film.last_from[state]], film.last_to[state]))
            anchor, load = film.last_from[state], film.before[state]
        numbers += [numbers[-1] + 1 if numbers else 0] * (splices + 1)
        roll = start
    found = np.array(parts[::-1], dtype=np.float64).reshape(-1, 2)
    return found, max(numbers, default=0) - np.array(numbers[::-1], dtype=np.int64)


@njit(cache=True, nogil=True)
def nothing_known(splicing: Splicing) -> Known:
    """Of a first lane."""
    return np.empty((0, splicing.most_splices + 5)), -np.inf, np.inf


@njit(cache=True, nogil=True)
def _fill(worths: Floats, asked: int, ends_m: Floats, best: Floats, place_m: float) -> int:
    """Worths of the ends before a place; the first end beyond."""
    while asked < ends_m.size and ends_m[asked] < place_m:
        for start in range(best.size):
            worths[start, asked] = max(best[start], 0.0)
        asked += 1
    return asked


@njit(cache=True, nogil=True)
def _is_raised(best: Floats, level: Floats) -> bool:
    """Whether a place is worth more from any start than all before it; both are then the greater of the two."""
    raised = False
    for start in range(best.size):
        raised = raised or level[start] > best[start] + WORTH_TIE
    if raised:
        for start in range(best.size):
            best[start] = level[start] = max(best[start], level[start])
    return raised


@njit(cache=True, nogil=True)
def _insert(  # noqa: PLR0917  -- compiled
    rolls: Floats, levels: Floats, where: tuple[int, int, int], splicing: Splicing, place_m: float, same_m: float
) -> int:
    """With a roll after a row: one more, or its worths at the place that is the same; how many rows there are then."""
    at, count, splices = where
    row, starts, more = count, levels.shape[1], splicing.value - splices * splicing.loss
    while row > at + 1 and rolls[row - 1, _PLACE] >= place_m - same_m:
        row -= 1
    if row == count or rolls[row, _PLACE] > place_m + same_m:
        for below in range(count, row, -1):
            for column in range(3):
                rolls[below, column] = rolls[below - 1, column]
            for start in range(starts):
                levels[below, start] = levels[below - 1, start]
        rolls[row, _PLACE], count = place_m, count + 1
        for start in range(starts):
            levels[row, start] = -np.inf
    for start in range(starts):
        if levels[at, start] + more > levels[row, start]:
            levels[row, start] = levels[at, start] + more
            rolls[row, _START], rolls[row, _SPLICES] = at, splices
    return count
