"""What lanes of spliced rolls are worth in every berth, for every place where a knife set may begin or end."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.lane import Floats, Ints, Selling
from wideroll.slitting.lane_counted import counted_rolls, ends_of_rolls, film_of
from wideroll.slitting.lane_crowded import crowded_ends
from wideroll.slitting.lane_plain import plain_worths, splicing_of, track_lane, without_track
from wideroll.slitting.lane_stretches import carries_all, clean_stretches_of
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
    splicing, last_m = splicing_of(sold, 0.0), asked.ends_m[-1]
    for berth in berths:
        lane = lane_of_berth(stowed, berth)
        film = film_of(lane, sold.most, splicing, clean_stretches_of(lane, sold, asked.starts_m[0], last_m))
        for start in range(asked.starts_m.size):
            start_m = asked.starts_m[start]
            if start > 0 and sold.run_m < np.inf:
                film = film_of(lane, sold.most, splicing, clean_stretches_of(lane, sold, start_m, last_m))
            worths = ends_of_rolls(counted_rolls(lane, sold.most, splicing, film, start_m), asked.ends_m)
            out[at[start] + berth : at[start + 1] : all_berths] = worths[asked.firsts[start] :]


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
