"""The best pieces by the metre out of one clean stretch of a lane, where counted marks limit how far a piece may reach.

Let f(x) be the worth up to x and p that of a metre. A piece from y makes f(x) at least f(y) + p·(x − y) from the least
length on and as far as its marks allow, so the greatest f(y) − p·y among the starts in reach decides: a sliding window.
As f nowhere rises faster than p, f(y) − p·y only falls, but where f jumps; so the only starts to try are the ends of
marks, the start of the stretch and the jumps, which come where a piece reaches the least length.
Arrays are taken out of their tuples once: out of a tuple each use would count references.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import PIECE_COST, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import TOUCH_M, WORTH_TIE, count_to, grow, move_past

__all__ = ["metre_pieces", "metre_starts"]

_ROOM = 64
_PLACE, _LEVEL, _REACH, _LAST, _END, _ROW = range(6)


@njit(cache=True, nogil=True)
def metre_starts(
    lane: Lane, sold: Selling, piece_cost: float, from_m: float, ends_m: Floats
) -> tuple[Floats, Floats, Floats]:
    """Worth of the best pieces of first quality from the start of a clean stretch to each of several ends in it.

    Args:
        lane: what is met; nothing blocked or downgraded between ``from_m`` and the last end.
        sold: value of a metre and the least length.
        piece_cost: taken off for each piece.
        from_m: start of the stretch.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth; and for ``metre_pieces`` the starts tried (N, 6): place, level f(y) − p·y less the cost of a piece,
        how far a piece from there may reach, the last piece before (its start in this table, its end), and besides the
        starts in reach, the best first; then what is best at the last end (3,): worth, start and end of its last piece.
    """
    per_m, least_m, mark_to, table = sold.per_m, sold.least_m, lane.mark_to, np.zeros((_ROOM, 6))
    worths, stops, best = np.zeros(ends_m.size), np.zeros(sold.most.size, dtype=np.int64), np.array([0.0, -1.0, from_m])
    mark, asked, first, beyond, waiting, count, start_m = count_to(mark_to, from_m + TOUCH_M), 0, 0, 0, 0, 0, from_m
    while True:
        leader = int(table[first, _ROW]) if first < beyond else -1
        if start_m < np.inf:
            table = grow(table) if count == table.shape[0] else table
            _settle(per_m, table, leader, start_m, best)
            table[count, _PLACE], table[count, _LAST], table[count, _END] = start_m, best[1], best[2]
            table[count, _REACH] = _reach(lane, sold, stops, start_m)
            table[count, _LEVEL] = best[0] - per_m * (start_m - from_m) - piece_cost
            count, start_m = count + 1, np.inf
        long_m = table[waiting, _PLACE] + least_m if waiting < count else np.inf
        over_m = table[leader, _REACH] if leader >= 0 else np.inf
        mark_m = mark_to[mark] if mark < mark_to.size else np.inf
        place_m = min(long_m, over_m, mark_m)
        while asked < ends_m.size and ends_m[asked] < place_m - TOUCH_M:
            worths[asked] = _now(per_m, table, leader, ends_m[asked], best)
            asked += 1
        if asked == ends_m.size:
            _settle(per_m, table, leader, ends_m[-1], best)
            return worths, table[:count], best
        if long_m <= place_m:
            level = table[waiting, _LEVEL]
            if table[waiting, _REACH] >= long_m - TOUCH_M:
                more = level + per_m * (long_m - from_m) - _now(per_m, table, leader, long_m, best)
                start_m = long_m if more > WORTH_TIE else np.inf
                while beyond > first and level - table[int(table[beyond - 1, _ROW]), _LEVEL] > WORTH_TIE:
                    beyond -= 1
                table[beyond, _ROW] = waiting
                beyond += 1
            waiting += 1
        elif over_m <= place_m:
            _settle(per_m, table, leader, over_m, best)
            first += 1
        else:
            start_m, mark = mark_m, move_past(mark_to, mark, mark_m + TOUCH_M)


def metre_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    """The pieces of first quality of a clean stretch, (n, 2) from and to; of cuts worth the same one of the fewest."""
    _, starts, best = metre_starts(lane, sold, PIECE_COST, from_m, np.array([to_m]))
    pieces, start, end_m = [], int(best[1]), float(best[2])
    while start >= 0:
        pieces.append((float(starts[start, _PLACE]), min(end_m, to_m)))
        start, end_m = int(starts[start, _LAST]), float(starts[start, _END])
    return np.array(pieces[::-1], dtype=np.float64).reshape(-1, 2)


@njit(cache=True, nogil=True)
def _now(per_m: float, table: Floats, leader: int, place_m: float, best: Floats) -> float:
    """What is best up to a place, no farther than the leading start in reach (-1 for none) reaches."""
    worth = best[0]
    if leader >= 0:
        worth = max(worth, table[leader, _LEVEL] + per_m * (place_m - table[0, _PLACE]))
    return float(worth)


@njit(cache=True, nogil=True)
def _settle(per_m: float, table: Floats, leader: int, place_m: float, best: Floats) -> None:
    """Let a piece from the leading start end there, where that is the best."""
    worth = _now(per_m, table, leader, place_m, best)
    if worth > best[0]:
        best[0], best[1], best[2] = worth, leader, place_m


@njit(cache=True, nogil=True)
def _reach(lane: Lane, sold: Selling, stops: Ints, start_m: float) -> float:
    """How far a piece from there may reach; the pointers (R,) to the marks that stop it go on."""
    mark_from, counted_from, counted_to, most = lane.mark_from, lane.counted_from, lane.counted_to, sold.most
    ended = count_to(lane.mark_to, start_m + TOUCH_M)
    reach_m = np.inf
    for limit in range(most.size):
        stop, allowed = stops[limit], most[limit] + counted_to[ended, limit]
        while stop < mark_from.size and counted_from[stop + 1, limit] <= allowed:
            stop += 1
        stops[limit] = stop
        reach_m = min(reach_m, mark_from[stop]) if stop < mark_from.size else reach_m
    return reach_m
