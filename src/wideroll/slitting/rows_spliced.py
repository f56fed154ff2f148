"""What lanes of spliced rolls are worth in every berth, for every place where a knife set may begin or end."""

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.lane import Floats, Ints, Selling
from wideroll.slitting.lane_counted import counted_rolls, ends_of_rolls, film_of
from wideroll.slitting.lane_crowded import crowded_ends
from wideroll.slitting.lane_plain import plain_worths, splicing_of, track_lane, without_track
from wideroll.slitting.lane_spliced import spliced_ends
from wideroll.slitting.lane_stretches import carries_all, clean_stretches_of
from wideroll.slitting.lanes import Stowed, lane_of_berth

__all__ = ["Asked", "fill_crowded", "fill_spliced", "rows_at"]


class Asked(NamedTuple):
    """Where sets may begin (S,) and end (E,), ascending, and the first end (S,) beyond each beginning."""

    starts_m: Floats
    ends_m: Floats
    firsts: Ints


@njit(cache=True, nogil=True)
def rows_at(firsts: Ints, ends: int, berths: int) -> Ints:
    """(S + 1,) where the rows of each beginning lie in one array of all: ends by berths."""
    at = np.zeros(firsts.size + 1, dtype=np.int64)
    at[1:] = np.cumsum((ends - firsts) * berths)
    return at


@njit(cache=True, nogil=True)
def fill_spliced(  # noqa: PLR0917  -- compiled
    stowed: Stowed, banned: NDArray[np.bool_], berths: tuple[int, int], sold: Selling, asked: Asked, out: Floats
) -> None:
    """Fill the worths of the berths of one width into ``out``, laid out as ``rows_at`` says; nothing where banned."""
    starts_m, ends_m, firsts = asked.starts_m, asked.ends_m, asked.firsts
    at = rows_at(firsts, ends_m.size, banned.size)
    splicing, track, last_m = splicing_of(sold, 0.0), without_track(), ends_m[-1]
    for berth in range(berths[0], berths[1]):
        if banned[berth]:
            continue
        lane = lane_of_berth(stowed, berth)
        stretches, plain = clean_stretches_of(lane, sold, 0.0, last_m), carries_all(lane, sold, 0.0, last_m)
        if sold.run_m == np.inf and plain:
            track = track_lane(stretches, splicing, ends_m, track)
        film = film_of(
            lane, sold.most, splicing, stretches[: 0 if plain or sold.run_m < np.inf else stretches.shape[0]]
        )
        for start in range(starts_m.size):
            start_m = starts_m[start]
            if sold.run_m < np.inf:
                worths = spliced_ends(lane, sold, start_m, ends_m)
            elif plain or carries_all(lane, sold, start_m, last_m):
                worths = plain_worths(stretches, splicing, start_m, ends_m, track if plain else without_track())
            else:
                worths = ends_of_rolls(counted_rolls(lane, sold.most, splicing, film, start_m), ends_m)
            out[at[start] + berth : at[start + 1] : banned.size] = worths[firsts[start] :]


@njit(cache=True, nogil=True)
def fill_crowded(  # noqa: PLR0917  -- compiled
    stowed: Stowed, banned: NDArray[np.bool_], berths: tuple[int, int], sold: Selling, asked: Asked, out: Floats
) -> None:
    """As ``fill_spliced``, where rolls may carry very many different loads of marks."""
    at = rows_at(asked.firsts, asked.ends_m.size, banned.size)
    for berth in range(berths[0], berths[1]):
        if banned[berth]:
            continue
        lane = lane_of_berth(stowed, berth)
        for start in range(asked.starts_m.size):
            ends_m = asked.ends_m[asked.firsts[start] :]
            worths = crowded_ends(lane, sold, asked.starts_m[start], ends_m)
            out[at[start] + berth : at[start + 1] : banned.size] = worths
