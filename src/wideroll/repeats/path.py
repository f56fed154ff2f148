"""The one most likely chain through a lane at a known spacing: which marks are prints, and of which turn."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.repeats.chain import MOST_CROWDED, Gait, LaneMarks, hidden_turns

__all__ = ["Chain", "most_likely_chain"]

_WIDEST: Final = 3.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Prints in order along."""

    rows: NDArray[np.int64]
    """(c,) row of each print among the marks of the lane."""
    turns: NDArray[np.int64]
    """(c,) turn of each print, 0 the first."""
    could_print: int
    """Turns after the first print, up to the last, that lie where marks could be seen."""


def most_likely_chain(lane: LaneMarks, gait: Gait, spacing: float, chance: float) -> Chain:
    """Find the chain of greatest likelihood, by dynamic programming (Viterbi).

    The same model as ``chain_evidence``, with the greatest term in place of the sum.

    Args:
        lane: the marks, at least one.
        gait: how regular a series is.
        spacing: metres.
        chance: probability that a turn prints, between 0 and 1.
    """
    count = lane.along.size
    turns = lane.seen_m / spacing
    silent = float(np.log1p(-chance))
    printed = np.log(chance * lane.rarity / spacing * count / (count - min(MOST_CROWDED * count, chance * turns)))
    turn = np.minimum((lane.seen * (1.0 / spacing)).astype(np.int64), int(turns))
    best, before = _follow(lane, gait, spacing, (turn, _edge(turn, silent, chance, turns), printed, silent))
    rows = [int(np.argmax(best + _edge(int(turns) - turn, silent, chance, turns)))]
    while before[rows[-1]] >= 0:
        rows.append(int(before[rows[-1]]))
    return _counted(lane, spacing, np.array(rows[::-1]))


def _edge(turn: NDArray[np.int64], silent: float, chance: float, turns: float) -> NDArray[np.float64]:
    """Log weight of a chain's first or last print, by the turns between it and the end of the web."""
    edge: NDArray[np.float64] = np.log(
        0.5 * np.exp(silent * turn) + 0.5 * -np.expm1(silent * (turn + 1.0)) / (chance * (turns + 1.0))
    )
    return edge


@njit(cache=True, nogil=True)
def _follow(
    lane: LaneMarks,
    gait: Gait,
    spacing: float,
    weights: tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64], float],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The greatest log weight of a chain that ends at each mark, and the mark before it, -1 for none."""
    turn, first, printed, silent = weights
    along, seen = lane.along, lane.seen
    best, before = np.empty(along.size), np.full(along.size, -1)
    far, far_best, far_row = 0, -np.inf, -1
    for j in range(along.size):
        while (seen[j] - seen[far]) / spacing > gait.reach or j - far > gait.most_links:
            if best[far] - silent * turn[far] > far_best:  # best once the silent turns up to any later mark are added
                far_best, far_row = best[far] - silent * turn[far], far
            far += 1
        best[j] = first[j]
        if far_best + silent * turn[j] >= best[j]:
            best[j], before[j] = far_best + silent * turn[j], far_row
        for i in range(far, j):
            weight = best[i] + _link(lane, gait, spacing, i, j, silent)
            if weight > best[j]:
                best[j], before[j] = weight, i
        best[j] += printed[j]
    return best, before


@njit(cache=True, nogil=True)
def _link(lane: LaneMarks, gait: Gait, spacing: float, i: int, j: int, silent: float) -> float:  # noqa: PLR0917  -- compiled
    """Log density, per turn, of the gap from mark i to mark j, and of the turns silent between."""
    gap = (lane.along[j] - lane.along[i]) / spacing
    m = np.floor(gap + 0.5)
    v = 2.0 * (gait.jitter_m / spacing) ** 2 + m * (gait.wander**2 + m * gait.drift**2)
    off2 = (gap - m) ** 2 / v
    if m < 1.0 or off2 > _WIDEST**2:
        return -np.inf
    missed = int(m) - 1
    if missed > 0 and lane.gaps.size:
        missed -= hidden_turns(lane.along[i], (lane.along[j] - lane.along[i]) / m, missed, lane.gaps)
    return float(-0.5 * (off2 + np.log(2.0 * np.pi * v)) + silent * missed)


def _hidden(lane: LaneMarks, i: int, j: int, turns: int) -> int:
    if turns < 2:  # noqa: PLR2004  # nothing lies between neighbouring turns
        return 0
    return int(hidden_turns(lane.along[i], (lane.along[j] - lane.along[i]) / turns, turns - 1, lane.gaps))


def _counted(lane: LaneMarks, spacing: float, rows: NDArray[np.int64]) -> Chain:
    steps = np.maximum(np.round(np.diff(lane.along[rows]) / spacing).astype(np.int64), 1)
    hidden = sum(_hidden(lane, int(i), int(j), int(m)) for i, j, m in zip(rows, rows[1:], steps, strict=False))
    return Chain(
        rows=rows,
        turns=np.concatenate(([0], np.cumsum(steps))).astype(np.int64),
        could_print=int(steps.sum()) - hidden,
    )
