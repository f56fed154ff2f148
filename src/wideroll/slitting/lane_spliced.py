"""The best rolls of one length out of one lane, of one part or of several spliced."""

from typing import Final

import numpy as np

from wideroll.slitting.lane import PIECE_COST, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_counted import counted_parts
from wideroll.slitting.lane_film import film_of
from wideroll.slitting.lane_plain import splicing_of, trim
from wideroll.slitting.lane_stretches import clean_stretches_of

__all__ = ["is_crowded", "spliced_parts"]

_MOST_LOADS: Final = 512


def is_crowded(sold: Selling) -> bool:
    """Whether a roll may carry so many different loads of marks that ``lane_crowded`` has to do it."""
    return float(np.prod(sold.most + 1.0)) > _MOST_LOADS


def spliced_parts(lane: Lane, sold: Selling, start_m: float, end_m: float) -> tuple[Floats, Ints]:
    """The parts (n, 2), from and to, and the number of the roll that each belongs to (n,)."""
    splicing, stretches = splicing_of(sold, PIECE_COST), clean_stretches_of(lane, sold, start_m, end_m)
    film = film_of(lane, sold.most, splicing, stretches)
    parts, numbers = counted_parts(lane, sold.most, splicing, film, start_m, end_m)
    for own in np.split(parts, np.flatnonzero(np.diff(numbers)) + 1):
        trim(own, splicing)
    return parts, numbers
