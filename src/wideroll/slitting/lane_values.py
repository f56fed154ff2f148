"""The pieces of one lane that make its film worth most.

Spliced rolls reach over the clean stretches, so they are worked out for the whole lane (``lane_spliced``); all else is
worked out for each stretch, by way of sale: ``lane_metre``, ``lane_graded``, ``lane_length``.
"""

import numpy as np
from numpy.typing import NDArray

from wideroll.slitting.lane import BY_METRE, SPLICED, Cuts, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_crowded import crowded_parts
from wideroll.slitting.lane_graded import graded_pieces
from wideroll.slitting.lane_length import length_pieces
from wideroll.slitting.lane_metre import metre_pieces
from wideroll.slitting.lane_spliced import is_crowded, spliced_parts
from wideroll.slitting.lane_stretches import TOUCH_M, clean_stretches_of

__all__ = ["cut_lane"]

Bools = NDArray[np.bool_]


def cut_lane(lane: Lane, sold: Selling, start_m: float, end_m: float) -> Cuts:
    """The pieces of a lane that are worth most.

    Of several such cuts it is one with the fewest pieces in each stretch, mostly the one nearest the start.

    Args:
        lane: what the lane meets.
        sold: how its film is sold.
        start_m: where the knives are set, in slitter metres.
        end_m: where the setting ends.

    Returns:
        The pieces, in slitter metres.
    """
    if sold.kind == SPLICED and sold.most_splices > 0:
        parts_of = crowded_parts if is_crowded(sold) else spliced_parts
        parts, rolls = parts_of(lane, sold, start_m, end_m)
    else:
        found = clean_stretches_of(lane, sold, start_m, end_m)
        if sold.kind == BY_METRE and lane.mark_from.size == 0 and lane.second_from.size == 0:
            parts = found[found[:, 1] - found[:, 0] >= sold.least_m - TOUCH_M] if sold.per_m > 0.0 else found[:0]
        else:
            pieces = [_stretch_pieces(lane, sold, from_m, to_m) for from_m, to_m in found.tolist()]
            parts = np.concatenate([np.zeros((0, 2)), *pieces])
        rolls = np.arange(parts.shape[0])
    return _as_cuts(lane, parts, rolls)


def _stretch_pieces(lane: Lane, sold: Selling, from_m: float, to_m: float) -> Floats:
    if sold.kind != BY_METRE:
        return length_pieces(lane, sold, from_m, to_m)
    if _holds_second(lane, np.array([from_m]), np.array([to_m]))[0]:
        return graded_pieces(lane, sold, from_m, to_m)
    return metre_pieces(lane, sold, from_m, to_m)


def _holds_second(lane: Lane, from_m: Floats, to_m: Floats) -> Bools:
    begin = np.append(lane.second_from, np.inf)[np.searchsorted(lane.second_to, from_m + TOUCH_M, side="right")]
    second: Bools = begin < to_m - TOUCH_M
    return second


def _as_cuts(lane: Lane, parts: Floats, rolls: Ints) -> Cuts:
    """With the qualities, and places a hair beyond a border set to it."""
    from_m, to_m = parts[:, 0].copy(), parts[:, 1].copy()
    for borders in (lane.blocked_to, lane.second_to, lane.mark_to):
        after = np.append(borders, np.inf)[np.searchsorted(borders, from_m, side="right")]
        from_m = np.where(after <= from_m + TOUCH_M, after, from_m)
    for borders in (lane.blocked_from, lane.second_from, lane.mark_from):
        before = np.append(-np.inf, borders)[np.searchsorted(borders, to_m, side="left")]
        to_m = np.where(before >= to_m - TOUCH_M, before, to_m)
    return Cuts(from_m, to_m, rolls, _holds_second(lane, from_m, to_m))
