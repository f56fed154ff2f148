"""What one lane is worth by itself: the worths of berths, asked for a single one."""

import numpy as np

from wideroll.slitting.lanes import Stowed
from wideroll.slitting.rows import fill_rows


def lane_worths(lane, sold, start_m, ends_m):
    """Greatest worth of the pieces of a lane from where the knives are set to each of several ends.

    Args:
        lane: what the lane meets.
        sold: how its film is sold; film by the metre of second quality for no more than that of first.
        start_m: where the knives are set, in slitter metres.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth; 0 for ends before the start.
    """
    worths = np.zeros(ends_m.size)
    first = int(np.searchsorted(ends_m, start_m, side="right"))
    if first < ends_m.size:
        firsts = np.array([0])
        free, starts_m = np.zeros(1, np.bool_), np.array([start_m])
        fill_rows(_stow(lane), free, (0, 1), sold, starts_m, ends_m[first:], firsts, worths[first:])
    return worths


def _stow(lane):
    """One lane as that of the only berth."""
    blocked, second, mark = (np.array([0, places.size]) for places in (lane.blocked_to, lane.second_to, lane.mark_to))
    return Stowed(blocked, lane[0], lane[1], second, lane[2], lane[3], mark, lane[4], lane[5], lane[6], lane[7])
