"""The best pieces by the metre out of one clean stretch of a lane, where counted marks limit how far a piece may reach.

Let f(x) be the worth up to x and p that of a metre. A piece from y makes f(x) at least f(y) + p·(x − y) from the least
length on and as far as its marks allow, so the greatest f(y) − p·y among the starts in reach decides: a sliding window.
As f nowhere rises faster than p, f(y) − p·y only falls, but where f jumps; so the only starts to try are the ends of
marks, the start of the stretch and the jumps, which come where a piece reaches the least length.
"""

from typing import NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, grow

__all__ = ["metre_ends", "metre_pieces"]

_PLACE, _LEVEL, _PIECES, _REACH, _START, _END = range(6)
_FIRST, _BEYOND, _WAITING, _COUNT, _MARK = range(5)


class _Sweep(NamedTuple):
    """How far the sweep along a stretch has come.

    ``starts`` (N, 6): place, level f(y) − p·y, number of pieces before, how far a piece from there may reach, and the
    last piece before, as its start in this table and its end. ``row`` (N,) are the starts in reach, the best first,
    from ``at[_FIRST]`` to ``at[_BEYOND]``. ``best`` (4,): greatest worth of what has ended, its pieces, and the last of
    them. ``reach`` (R,): for each limit the mark that stops a piece from the newest start.
    """

    from_m: float
    starts: Floats
    row: Ints
    at: Ints
    best: Floats
    reach: Ints


@njit(cache=True, nogil=True)
def metre_ends(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> tuple[Floats, Floats, Floats]:
    """Worth of the best pieces of first quality from the start of a clean stretch to each of several ends in it.

    Args:
        lane: what is met; nothing blocked or downgraded between ``from_m`` and the last end.
        sold: value of a metre and the least length.
        from_m: start of the stretch.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth; and for ``metre_pieces`` the starts tried (N, 6) and what is best at the last end (4,).
    """
    worths = np.zeros(ends_m.size)
    sweep = _add_start(lane, sold, _begin(lane, sold, from_m), from_m)
    at, asked = sweep.at, 0
    while True:
        long_m = sweep.starts[at[_WAITING], _PLACE] + sold.least_m if at[_WAITING] < at[_COUNT] else np.inf
        over_m = sweep.starts[sweep.row[at[_FIRST]], _REACH] if at[_FIRST] < at[_BEYOND] else np.inf
        mark_m = lane.mark_to[at[_MARK]] if at[_MARK] < lane.mark_to.size else np.inf
        place_m = min(long_m, over_m, mark_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = _best_at(sold, sweep, ends_m[asked])[0]
            asked += 1
        if asked == ends_m.size:
            return worths, sweep.starts[: at[_COUNT]], _best_at(sold, sweep, ends_m[asked - 1])
        if long_m <= place_m:
            if _line_up(sold, sweep, long_m):
                sweep = _add_start(lane, sold, sweep, long_m)
        elif over_m <= place_m:
            sweep.best[:] = _best_at(sold, sweep, over_m)
            at[_FIRST] += 1
        else:
            sweep = _add_start(lane, sold, sweep, mark_m)
            while at[_MARK] < lane.mark_to.size and lane.mark_to[at[_MARK]] <= mark_m + TOUCH_M:
                at[_MARK] += 1


@njit(cache=True, nogil=True)
def metre_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    """The pieces of first quality of a clean stretch, (n, 2) from and to."""
    _, starts, best = metre_ends(lane, sold, from_m, np.array([to_m]))
    pieces = np.zeros((int(best[1]), 2))
    start, end_m = int(best[2]), best[3]
    for piece in range(pieces.shape[0] - 1, -1, -1):
        pieces[piece] = starts[start, _PLACE], end_m
        start, end_m = int(starts[start, _START]), starts[start, _END]
    return pieces


@njit(cache=True, nogil=True)
def _begin(lane: Lane, sold: Selling, from_m: float) -> _Sweep:
    at = np.zeros(5, dtype=np.int64)
    at[_MARK] = np.searchsorted(lane.mark_to, from_m + TOUCH_M, side="right")
    reach = np.zeros(sold.most.size, dtype=np.int64)
    best = np.array([0.0, 0.0, -1.0, from_m])
    return _Sweep(from_m, np.zeros((16, 6)), np.zeros(16, dtype=np.int64), at, best, reach)


@njit(cache=True, nogil=True, inline="always")
def _best_at(sold: Selling, sweep: _Sweep, place_m: float) -> Floats:
    """What is best up to a place, no farther than the first start reaches: worth, pieces, last one's start and end."""
    if sweep.at[_FIRST] == sweep.at[_BEYOND]:
        return sweep.best
    start = sweep.row[sweep.at[_FIRST]]
    worth = sweep.starts[start, _LEVEL] + sold.per_m * (place_m - sweep.from_m)
    pieces = sweep.starts[start, _PIECES] + 1.0
    if _is_more(worth, pieces, sweep.best[0], sweep.best[1]):
        return np.array([worth, pieces, float(start), place_m])
    return sweep.best


@njit(cache=True, nogil=True)
def _add_start(lane: Lane, sold: Selling, sweep: _Sweep, place_m: float) -> _Sweep:
    """With a start there, and how far it reaches."""
    if sweep.at[_COUNT] == sweep.row.size:
        row = np.zeros(2 * sweep.row.size, dtype=np.int64)
        row[: sweep.row.size] = sweep.row
        sweep = _Sweep(sweep.from_m, grow(sweep.starts), row, sweep.at, sweep.best, sweep.reach)
    reach_m = np.inf
    ended = np.searchsorted(lane.mark_to, place_m + TOUCH_M, side="right")
    for limit in range(sold.most.size):
        mark = sweep.reach[limit]
        allowed = sold.most[limit] + lane.counted_to[ended, limit]
        while mark < lane.mark_from.size and lane.counted_from[mark + 1, limit] <= allowed:
            mark += 1
        sweep.reach[limit] = mark
        if mark < lane.mark_from.size:
            reach_m = min(reach_m, lane.mark_from[mark])
    worth, pieces, start, end_m = _best_at(sold, sweep, place_m)
    level = worth - sold.per_m * (place_m - sweep.from_m)
    sweep.starts[sweep.at[_COUNT]] = place_m, level, pieces, reach_m, start, end_m
    sweep.at[_COUNT] += 1
    return sweep


@njit(cache=True, nogil=True)
def _line_up(sold: Selling, sweep: _Sweep, place_m: float) -> bool:
    """Let the waiting start come into the row, now that its piece is long enough; says whether the worth jumps."""
    starts, row, at = sweep.starts, sweep.row, sweep.at
    start = at[_WAITING]
    at[_WAITING] += 1
    if starts[start, _REACH] < place_m - TOUCH_M:
        return False
    level, pieces = starts[start, _LEVEL], starts[start, _PIECES]
    before = _best_at(sold, sweep, place_m)
    worth = level + sold.per_m * (place_m - sweep.from_m)
    jumps = _is_more(worth, pieces + 1.0, before[0], before[1])
    while at[_BEYOND] > at[_FIRST]:
        last = row[at[_BEYOND] - 1]
        if not _is_more(level, pieces, starts[last, _LEVEL], starts[last, _PIECES]):
            break
        at[_BEYOND] -= 1
    row[at[_BEYOND]] = start
    at[_BEYOND] += 1
    return jumps


@njit(cache=True, nogil=True, inline="always")
def _is_more(worth: float, pieces: float, than: float, of_pieces: float) -> bool:
    """Whether it is worth more, or as much in fewer pieces."""
    return worth - than > WORTH_TIE or (worth - than > -WORTH_TIE and pieces < of_pieces)
