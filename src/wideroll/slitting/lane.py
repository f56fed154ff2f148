"""What one lane meets on its way through the slitter, and how its film is sold: plain arrays for compiled code.

All along is in slitter metres here: from the tail, which the slitter meets first, towards the head.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["BY_LENGTH", "BY_METRE", "PIECE_COST", "SPLICED", "Cuts", "Floats", "Ints", "Lane", "Selling"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BY_METRE = 0
BY_LENGTH = 1
SPLICED = 2

PIECE_COST: Final = 1e-8
"""What a piece costs when pieces are laid out, so that of cuts worth the same the one with fewer pieces is taken."""


class Lane(NamedTuple):
    """What lies in a lane at one place across.

    ``blocked_from``, ``blocked_to`` (B,): what may be in no piece; disjoint, ascending, never touching.
    ``second_from``, ``second_to`` (D,): what is of second quality; disjoint, ascending; may overlap what is blocked.
    ``mark_from`` (M,) and ``mark_to`` (M,): where counted marks begin and where they end, each sorted by itself.
    ``counted_from`` (M + 1, R): how many of the first k of ``mark_from`` count for each limit; ``counted_to`` likewise.
    A piece [a, b) meets counted_from[#(mark_from < b), r] − counted_to[#(mark_to ≤ a), r] marks of limit r.
    """

    blocked_from: Floats
    blocked_to: Floats
    second_from: Floats
    second_to: Floats
    mark_from: Floats
    mark_to: Floats
    counted_from: Ints
    counted_to: Ints


class Selling(NamedTuple):
    """How the film of one width is sold: see ``ByMetre``, ``ByLength`` and ``Spliced``.

    ``kind`` is BY_METRE, BY_LENGTH or SPLICED. ``per_m``, ``second_per_m`` and ``least_m`` are of film by the metre.
    ``lengths_m``, ``values``, ``second_values`` (K,) are the finished lengths (one, without second, when spliced).
    ``most`` (R,) are the marks that a finished roll may carry by each limit. ``run_m`` is where the wound rolls are
    taken off, again and again from the start of the knives' setting: no piece lies across such a stop.
    """

    kind: int
    per_m: float
    second_per_m: float
    least_m: float
    lengths_m: Floats
    values: Floats
    second_values: Floats
    most_splices: int
    least_between_m: float
    loss_per_splice: float
    most: Ints
    run_m: float
    steps_m: Floats = np.zeros(0)
    """(T,) lengths of clean film at which the best fixed lengths out of it are worth more, ascending from 0."""
    steps_worth: Floats = np.zeros(0)
    """(T,) what they are worth; without steps each stretch is worked out by itself."""
    steps_at: Ints = np.zeros(0, dtype=np.int64)
    """(S,) the last of the steps up to each multiple of the greatest length over S - 1."""


class Cuts(NamedTuple):
    """The pieces of one lane in slitter order (n,): from, to, number of the finished roll from 0, and second or not."""

    from_m: Floats
    to_m: Floats
    roll: Ints
    second: NDArray[np.bool_]
