"""The best rolls of one length out of one lane, of one part or of several spliced.

Where no roll could carry too many marks, ``lane_plain`` tells what they're worth, else ``lane_counted``.
"""

from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints, Lane, Selling
from wideroll.slitting.lane_counted import counted_parts, counted_rolls, ends_of_rolls, film_of
from wideroll.slitting.lane_plain import PIECE_COST, plain_worths, splicing_of, trim, without_track
from wideroll.slitting.lane_stretches import carries_all, clean_stretches_of

__all__ = ["is_crowded", "spliced_ends", "spliced_parts"]

_MOST_LOADS: Final = 512


def is_crowded(sold: Selling) -> bool:
    """Whether a roll may carry so many different loads of marks that ``lane_crowded`` has to do it."""
    return float(np.prod(sold.most + 1.0)) > _MOST_LOADS


@njit(cache=True, nogil=True)
def spliced_ends(lane: Lane, sold: Selling, start_m: float, ends_m: Floats) -> Floats:
    """Worth of the best rolls from where the knives are set to each of several ends.

    Args:
        lane: what is met.
        sold: the one length, its value, and how it may be spliced.
        start_m: where the knives are set.
        ends_m: (E,) ascending.

    Returns:
        (E,) worth.
    """
    if ends_m.size == 0 or ends_m[-1] <= start_m:
        return np.zeros(ends_m.size)
    stretches, splicing = clean_stretches_of(lane, sold, start_m, ends_m[-1]), splicing_of(sold, 0.0)
    if carries_all(lane, sold, start_m, ends_m[-1]):
        return plain_worths(stretches, splicing, start_m, ends_m, without_track())
    film = film_of(lane, sold.most, splicing, stretches)
    return ends_of_rolls(counted_rolls(lane, sold.most, splicing, film, start_m), ends_m)


@njit(cache=True, nogil=True)
def spliced_parts(lane: Lane, sold: Selling, start_m: float, end_m: float) -> tuple[Floats, Ints]:
    """The parts (n, 2), from and to, and the number of the roll that each belongs to (n,)."""
    splicing, stretches = splicing_of(sold, PIECE_COST), clean_stretches_of(lane, sold, start_m, end_m)
    film = film_of(lane, sold.most, splicing, stretches)
    parts, numbers = counted_parts(lane, sold.most, splicing, film, start_m)
    first = 0
    for part in range(1, numbers.size + 1):
        if part == numbers.size or numbers[part] != numbers[first]:
            trim(parts[first:part], splicing)
            first = part
    return parts, numbers
