"""What the film of one lane is worth at best, and the pieces that make it so.

A clean stretch without downgraded film and with no more marks than one roll may carry is worth what its length says
(``lane_steps``). The others are worked out one by one, by way of sale:
``lane_metre``, ``lane_graded``, ``lane_length``.
Spliced rolls reach over stretches, so they are worked out for the whole lane (``lane_spliced``).
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import BY_METRE, SPLICED, Cuts, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_crowded import crowded_ends, crowded_parts
from wideroll.slitting.lane_graded import graded_ends, graded_pieces
from wideroll.slitting.lane_length import fill_stretch
from wideroll.slitting.lane_metre import metre_pieces
from wideroll.slitting.lane_spliced import is_crowded, spliced_ends, spliced_parts
from wideroll.slitting.lane_steps import step_worth
from wideroll.slitting.lane_stretches import TOUCH_M, clean_stretches_of, plain_pointers, stretch_is_plain
from wideroll.slitting.lane_sweeps import length_worths, metre_worths

__all__ = ["cut_lane", "has_steps", "lane_worths", "stretch_ends", "unspliced_ends"]


def lane_worths(lane: Lane, sold: Selling, start_m: float, ends_m: Floats) -> Floats:
    """Greatest worth of the pieces of a lane from where the knives are set to each of several ends.

    Args:
        lane: what the lane meets.
        sold: how its film is sold; film by the metre of second quality for no more than that of first.
        start_m: where the knives are set, in slitter metres.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth; 0 for ends before the start.
    """
    ends_of = unspliced_ends
    if sold.kind == SPLICED and sold.most_splices > 0:
        ends_of = crowded_ends if is_crowded(sold) else spliced_ends
    worths: Floats = ends_of(lane, sold, start_m, ends_m)
    return worths


@njit(cache=True, nogil=True)
def unspliced_ends(lane: Lane, sold: Selling, start_m: float, ends_m: Floats) -> Floats:
    """``lane_worths`` of film that isn't spliced."""
    worths = np.zeros(ends_m.size)
    if ends_m.size == 0 or ends_m[-1] <= start_m:
        return worths
    if sold.kind == BY_METRE and lane.mark_from.size == 0 and lane.second_from.size == 0 and sold.run_m == np.inf:
        return _metres_between(lane, sold, start_m, ends_m)
    total, end = 0.0, np.searchsorted(ends_m, start_m, side="right")
    pointers = plain_pointers(lane, start_m)
    found = clean_stretches_of(lane, sold, start_m, ends_m[-1])
    for stretch in range(found.shape[0]):
        from_m, to_m = found[stretch, 0], found[stretch, 1]
        while end < ends_m.size and ends_m[end] <= from_m:
            worths[end] = total
            end += 1
        beyond = end
        while beyond < ends_m.size and ends_m[beyond] <= to_m:
            beyond += 1
        if stretch_is_plain(lane, sold, from_m, to_m, pointers) and has_steps(sold, to_m - from_m):
            for at in range(end, beyond):
                worths[at] = total + step_worth(sold, ends_m[at] - from_m)
            total += step_worth(sold, to_m - from_m)
        else:
            own = stretch_ends(lane, sold, from_m, np.append(ends_m[end:beyond], to_m))
            worths[end:beyond] = total + own[:-1]
            total += own[-1]
        end = beyond
    worths[end:] = total
    return worths


def cut_lane(lane: Lane, sold: Selling, start_m: float, end_m: float) -> tuple[float, Cuts]:
    """The pieces of a lane that are worth most.

    Of several such cuts it is one with the fewest pieces in each stretch, mostly the one nearest the start.

    Args:
        lane: what the lane meets.
        sold: how its film is sold.
        start_m: where the knives are set, in slitter metres.
        end_m: where the setting ends.

    Returns:
        Worth, as ``lane_worths`` has it, and the pieces.
    """
    worth = lane_worths(lane, sold, start_m, np.array([end_m]))[0]
    if sold.kind == SPLICED and sold.most_splices > 0:
        parts_of = crowded_parts if is_crowded(sold) else spliced_parts
        parts, rolls = parts_of(lane, sold, start_m, end_m)
    else:
        found = clean_stretches_of(lane, sold, start_m, end_m)
        pieces = [_stretch_pieces(lane, sold, from_m, to_m) for from_m, to_m in found.tolist()]
        parts = np.concatenate([np.zeros((0, 2)), *pieces])
        rolls = np.arange(parts.shape[0])
    return float(worth), _as_cuts(lane, parts, rolls)


@njit(cache=True, nogil=True)
def _metres_between(lane: Lane, sold: Selling, start_m: float, ends_m: Floats) -> Floats:
    """``lane_worths`` of film by the metre, where only blocked film matters."""
    worths = np.zeros(ends_m.size)
    least_m, reach, total = sold.least_m - TOUCH_M, start_m, 0.0
    end = np.searchsorted(ends_m, start_m, side="right")
    for at in range(np.searchsorted(lane.blocked_to, start_m, side="right"), lane.blocked_from.size):
        while end < ends_m.size and ends_m[end] <= lane.blocked_from[at]:
            gap = ends_m[end] - reach
            worths[end] = sold.per_m * (total + (gap if gap >= least_m and gap > 0.0 else 0.0))
            end += 1
        if end == ends_m.size:
            return worths
        gap = lane.blocked_from[at] - reach
        if gap >= least_m and gap > 0.0:
            total += gap
        reach = max(reach, lane.blocked_to[at])
    for last in range(end, ends_m.size):
        gap = ends_m[last] - reach
        worths[last] = sold.per_m * (total + (gap if gap >= least_m and gap > 0.0 else 0.0))
    return worths


@njit(cache=True, nogil=True, inline="always")
def has_steps(sold: Selling, length_m: float) -> bool:
    """Whether the worth of a plain stretch so long can be looked up."""
    return sold.kind == BY_METRE or (sold.steps_at.size > 1 and length_m <= sold.steps_m[-1])


@njit(cache=True, nogil=True)
def stretch_ends(lane: Lane, sold: Selling, from_m: float, ends_m: Floats) -> Floats:
    """(E,) worth of the best pieces from the start of a clean stretch to each of several ends in it."""
    if sold.kind != BY_METRE:
        return length_worths(lane, sold, from_m, ends_m)
    if _holds_second(lane, from_m, ends_m[-1]):
        return graded_ends(lane, sold, from_m, ends_m)[0]
    return metre_worths(lane, sold, from_m, ends_m)


@njit(cache=True, nogil=True)
def _stretch_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    if sold.kind != BY_METRE:
        return fill_stretch(lane, sold, from_m, to_m)
    if _holds_second(lane, from_m, to_m):
        return graded_pieces(lane, sold, from_m, to_m)
    return metre_pieces(lane, sold, from_m, to_m)


@njit(cache=True, nogil=True)
def _holds_second(lane: Lane, from_m: float, to_m: float) -> bool:
    second = np.searchsorted(lane.second_to, from_m + TOUCH_M, side="right")
    return bool(second < lane.second_from.size and lane.second_from[second] < to_m - TOUCH_M)


@njit(cache=True, nogil=True)
def _as_cuts(lane: Lane, parts: Floats, rolls: Ints) -> Cuts:
    """With the qualities, and places a hair beyond a border set to it."""
    second = np.zeros(parts.shape[0], dtype=np.bool_)
    for part in range(parts.shape[0]):
        from_m, to_m = parts[part]
        for borders in (lane.blocked_to, lane.second_to, lane.mark_to):
            at = np.searchsorted(borders, from_m, side="right")
            if at < borders.size and borders[at] <= from_m + TOUCH_M:
                from_m = borders[at]
        for borders in (lane.blocked_from, lane.second_from, lane.mark_from):
            at = np.searchsorted(borders, to_m, side="left") - 1
            if at >= 0 and borders[at] >= to_m - TOUCH_M:
                to_m = borders[at]
        parts[part] = from_m, to_m
        second[part] = _holds_second(lane, from_m, to_m)
    return Cuts(parts[:, 0].copy(), parts[:, 1].copy(), rolls, second)
