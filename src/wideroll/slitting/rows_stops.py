"""Sets with stops, where the wound rolls are taken off: no piece lies across one.

So a set is worth what it is worth from its beginning to the first stop, and from there on as if it began at the stop.
What lies between beginnings, stops and ends is worked out once for all of them.
"""

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.lane_stretches import count_below
from wideroll.slitting.rows_divide import Asked, rows_at

__all__ = ["add_between_stops", "with_stops"]


def with_stops(asked: Asked, run_m: float) -> Asked:
    """The beginnings and ends, and the stops of every beginning as both."""
    last_m = float(asked.ends_m[-1])
    stops: list[float] = []
    for start_m in asked.starts_m.tolist():
        count = int((last_m - start_m) / run_m)
        stops += [at for at in (start_m + stop * run_m for stop in range(1, count + 1)) if at < last_m]
    starts_m, ends_m = np.unique([*asked.starts_m, *stops]), np.unique([*asked.ends_m, *stops])
    return Asked(starts_m, ends_m, np.searchsorted(ends_m, starts_m, side="right"))


@njit(cache=True, nogil=True)
def add_between_stops(  # noqa: PLR0917  -- compiled
    between: Asked, worths: Floats, asked: Asked, run_m: float, berths: Ints, all_berths: int, out: Floats
) -> None:
    """Add up the worths between stops of some berths (n,), laid out for these alone, into ``out`` for all."""
    count, total = berths.size, np.zeros(berths.size)
    at = rows_at(asked.firsts, asked.ends_m.size, all_berths)
    rows = rows_at(between.firsts, between.ends_m.size, count)
    for start in range(asked.starts_m.size):
        start_m, stop = asked.starts_m[start], 1
        row, stop_m = count_below(between.starts_m, start_m), start_m + run_m
        total[:] = 0.0
        for end in range(asked.firsts[start], asked.ends_m.size):
            while stop_m < asked.ends_m[end]:
                cell = rows[row] + (count_below(between.ends_m, stop_m) - between.firsts[row]) * count
                for berth in range(count):
                    total[berth] += worths[cell + berth]
                row, stop = count_below(between.starts_m, stop_m), stop + 1
                stop_m = start_m + stop * run_m
            cell = rows[row] + (count_below(between.ends_m, asked.ends_m[end]) - between.firsts[row]) * count
            line = at[start] + (end - asked.firsts[start]) * all_berths
            for berth in range(count):
                out[line + berths[berth]] = total[berth] + worths[cell + berth]
