"""What lanes of spliced rolls are worth in every berth, for every place where a knife set may begin or end."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_counted import counted_worths, nothing_known
from wideroll.slitting.lane_crowded import crowded_ends
from wideroll.slitting.lane_film import film_of
from wideroll.slitting.lane_plain import plain_worths, splicing_of, track_lane, without_track
from wideroll.slitting.lane_stretches import TOUCH_M, carries_all, clean_stretches_of
from wideroll.slitting.lanes import Stowed, lane_of_berth
from wideroll.slitting.rows_divide import Asked, rows_at

__all__ = ["fill_crowded", "fill_spliced"]


def fill_spliced(  # noqa: PLR0917  -- as the compiled code it calls
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    """Fill the worths of some berths (n,) of one width into ``out``, laid out as ``rows_at`` says."""
    plain = _are_plain(stowed, berths, sold, float(asked.ends_m[-1]))
    for fill, some in ((_fill_plain, berths[plain]), (_fill_counted, berths[~plain])):
        if some.size:
            fill(stowed, some, sold, asked, all_berths, out)


@njit(cache=True, nogil=True)
def _are_plain(stowed: Stowed, berths: Ints, sold: Selling, last_m: float) -> NDArray[np.bool_]:
    """(n,) whether a lane's marks are so few that they don't matter."""
    plain = np.zeros(berths.size, dtype=np.bool_)
    for number in range(berths.size):
        plain[number] = carries_all(lane_of_berth(stowed, berths[number]), sold, 0.0, last_m)
    return plain


@njit(cache=True, nogil=True)
def _fill_plain(  # noqa: PLR0917  -- compiled
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    at = rows_at(asked.firsts, asked.ends_m.size, all_berths)
    splicing, track, last_m = splicing_of(sold, 0.0), without_track(), asked.ends_m[-1]
    for berth in berths:
        lane = lane_of_berth(stowed, berth)
        stretches = clean_stretches_of(lane, sold, 0.0, last_m)
        if sold.run_m == np.inf:
            track = track_lane(stretches, splicing, asked.ends_m, track)
        for start in range(asked.starts_m.size):
            start_m = asked.starts_m[start]
            if sold.run_m < np.inf:
                stretches = clean_stretches_of(lane, sold, start_m, last_m)
            worths = plain_worths(stretches, splicing, start_m, asked.ends_m, track)
            out[at[start] + berth : at[start + 1] : all_berths] = worths[asked.firsts[start] :]


@njit(cache=True, nogil=True)
def _fill_counted(  # noqa: PLR0917  -- compiled
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    at = rows_at(asked.firsts, asked.ends_m.size, all_berths)
    splicing, last_m, together = splicing_of(sold, 0.0), asked.ends_m[-1], asked.starts_m.size
    if sold.run_m < np.inf:
        # where the stops are, and with them the stretches, depends on where a set begins
        together = 1
    known, before = nothing_known(splicing), lane_of_berth(stowed, berths[0])
    for berth in berths:
        lane = lane_of_berth(stowed, berth)
        if together > 1:
            known, before = (known[0], *first_and_last_other(lane, before)), lane
        for first in range(0, asked.starts_m.size, together):
            starts_m = asked.starts_m[first : first + together]
            film = film_of(lane, sold.most, splicing, clean_stretches_of(lane, sold, starts_m[0], last_m))
            worths, _, _, found = counted_worths(lane, sold.most, splicing, film, (starts_m, asked.ends_m), known)
            if together > 1:
                known = (found, known[1], known[2])
            for row in range(starts_m.size):
                start = first + row
                for end in range(asked.firsts[start], asked.ends_m.size):
                    out[at[start] + (end - asked.firsts[start]) * all_berths + berth] = worths[row, end]


@njit(cache=True, nogil=True)
def first_and_last_other(one: Lane, other: Lane) -> tuple[float, float]:
    """The first and the last place where two lanes differ by blocked film or marks; infinite where nowhere."""
    first_m, last_m = np.inf, -np.inf
    no_counts = np.zeros((0, 0), dtype=np.int64)
    for mine, others, my_counts, other_counts in (
        (one.blocked_from, other.blocked_from, no_counts, no_counts),
        (one.blocked_to, other.blocked_to, no_counts, no_counts),
        (one.mark_from, other.mark_from, one.counted_from, other.counted_from),
        (one.mark_to, other.mark_to, one.counted_to, other.counted_to),
    ):
        same, both = 0, min(mine.size, others.size)
        while same < both and _is_same(mine, others, my_counts, other_counts, same, same):
            same += 1
        if same < max(mine.size, others.size):
            first_m = min(first_m, mine[same] if same < mine.size else np.inf)
            first_m = min(first_m, others[same] if same < others.size else np.inf)
            back = 1
            while back <= both - same and _is_same(
                mine, others, my_counts, other_counts, mine.size - back, others.size - back
            ):
                back += 1
            last_m = max(last_m, mine[mine.size - back] if back <= mine.size else -np.inf)
            last_m = max(last_m, others[others.size - back] if back <= others.size else -np.inf)
    return first_m - 2.0 * TOUCH_M, last_m + 2.0 * TOUCH_M


@njit(cache=True, nogil=True)
def _is_same(  # noqa: PLR0917  -- compiled
    mine: Floats, others: Floats, my_counts: Ints, other_counts: Ints, at: int, other_at: int
) -> bool:
    """Whether two borders lie at the same place and count for the same limits."""
    if mine[at] != others[other_at]:
        return False
    for limit in range(my_counts.shape[1]):
        own = my_counts[at + 1, limit] - my_counts[at, limit]
        if own != other_counts[other_at + 1, limit] - other_counts[other_at, limit]:
            return False
    return True


@njit(cache=True, nogil=True)
def fill_crowded(  # noqa: PLR0917  -- compiled
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    """As ``fill_spliced``, where rolls may carry very many different loads of marks."""
    at = rows_at(asked.firsts, asked.ends_m.size, all_berths)
    for berth in berths:
        lane = lane_of_berth(stowed, berth)
        for start in range(asked.starts_m.size):
            ends_m = asked.ends_m[asked.firsts[start] :]
            worths = crowded_ends(lane, sold, asked.starts_m[start], ends_m)
            out[at[start] + berth : at[start + 1] : all_berths] = worths
