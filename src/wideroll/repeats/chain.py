"""The likelihood of a chain of marks that returns every turn, summed over all chains the marks allow.

A roller with a nick prints at each turn with probability p. From one print to the next there are m turns with
probability p (1 − p)^(m − 1), and the web that passed is normal about m × spacing: a renewal process laid over
scattered marks. Its likelihood relative to scattered marks alone is a sum over all ways to choose the prints among the
marks, in which each print brings a factor (density of its gap) / (density of scattered marks there). The sum runs from
head to tail as the forward pass of a hidden Markov model does [rabiner1989].

A chain starts and ends at the ends of the web or, with the same prior probability, at any turn between. After more than
``reach`` turns the phase is forgotten and the chain may go on at any place: a long silence or a stop of the line costs
a series evidence without ending it. Turns through web that nobody looked at don't count as silent.
"""

import math
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["BURST", "LONG", "PRINTS", "Gait", "LaneMarks", "chain_evidence", "hidden_turns", "print_odds"]

PRINTS: Final = (0.05, 0.15, 0.4, 0.8, 0.4, 0.8)
"""Trial print probabilities; a factor of 1.7 between truth and trial costs a few per cent of the evidence. The first
``LONG`` stand for chains that hold as many prints as the whole web has room for, the others for a burst."""
LONG: Final = 4
MOST_CROWDED: Final = 0.9
"""Largest share of a lane's marks that a trial may call prints."""
BURST: Final = 12.0
"""Prints of a burst: what a chain brings in its first turns isn't lost in what the whole web could have brought."""

_KINDS: Final = len(PRINTS)
_WIDEST: Final = 3.5  # a mark further than this many standard deviations from its turn isn't a print
_LARGE: Final = 1e150
_TOUCHING: Final = 1e-9  # rounding of a gap, in turns


class LaneMarks(NamedTuple):
    """The marks of one lane in order along, and what could be seen."""

    along: NDArray[np.float64]
    """(n,) places in metres, ascending."""
    seen: NDArray[np.float64]
    """(n,) metres of web looked at before each mark."""
    rarity: NDArray[np.float64]
    """(n,) metres looked at per scattered mark there: one over the density."""
    gaps: NDArray[np.float64]
    """(g, 2) stretches from, to in metres that nobody looked at."""
    seen_m: float
    """Metres of web looked at."""


class Gait(NamedTuple):
    """How regular a series is: standard deviations, how far a link reaches, and odds by number of turns."""

    jitter_m: float
    wander: float
    """Per turn, as a fraction of the spacing; adds up as a random walk."""
    drift: float
    """Of the spacing within one gap, as a fraction; adds up in proportion to the turns."""
    reach: int
    """Most turns after which the phase is still known."""
    most_links: int
    """Most marks back to which a link is tried."""
    silent: NDArray[np.float64]
    """(turns, kinds): (1 − p)^turns for each of ``PRINTS``."""
    printed: NDArray[np.float64]
    """(turns, kinds): p (1 − p)^turns."""


class _Links(NamedTuple):
    """Which earlier marks a mark may follow at one spacing, lengths in turns; filled anew for each."""

    place: NDArray[np.float64]
    seen: NDArray[np.float64]
    misfit: NDArray[np.float64]
    turn: NDArray[np.int64]
    """(n,) turns seen before each mark."""
    first: NDArray[np.int64]
    """(n,) first mark still within reach."""
    end: NDArray[np.int64]
    """(n,) where the links of each mark end in the arrays below."""
    source: NDArray[np.int64]
    missed: NDArray[np.int64]
    near: NDArray[np.float64]
    """Density of the gap, per turn."""


def print_odds(turns: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The tables ``silent`` and ``printed`` of a ``Gait``, float64 (turns + 1, kinds)."""
    prints = np.array(PRINTS)
    silent = (1.0 - prints)[None, :] ** np.arange(turns + 1)[:, None]
    return silent, silent * prints


@njit(cache=True, nogil=True)
def chain_evidence(lane: LaneMarks, gait: Gait, spacings: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log likelihood ratio of one chain over scattered marks at trial spacings.

    The ratio averages at most 1 over marks that are scattered independently with the density given.

    Args:
        lane: the marks, at least one.
        gait: how regular a series is; its tables need at least two rows more than the least spacing has turns.
        spacings: float64 (k,), metres.

    Returns:
        float64 (k, kinds): for each spacing and each of ``PRINTS``.
    """
    count = lane.along.size
    most = count * min(count, gait.most_links)
    real, whole = np.empty((3, count)), np.empty((3, count), np.int64)
    links = _Links(
        real[0],
        real[1],
        real[2],
        whole[0],
        whole[1],
        whole[2],
        np.empty(most, np.int64),
        np.empty(most, np.int64),
        np.empty(most),
    )
    # rows of sums: logarithm taken out, all chains, its factor, chains at this mark, chains out of reach, then the
    # weights of an end between, of an end by silent turns, and of a print among scattered marks
    weight, sums = np.empty((count, _KINDS)), np.empty((8, _KINDS))
    out = np.empty((spacings.size, _KINDS))
    all_ways = math.lgamma(count + 1.0)
    for row in range(spacings.size):
        _find_links(lane, gait, spacings[row], links)
        _sum_chains(lane, gait, spacings[row], links, (weight, sums))
        for p in range(_KINDS):
            prints = _prints(p, count, gait.printed[0, p] * lane.seen_m / spacings[row])
            # over n marks scattered independently with density thinned to n − c, a chain of a prints brings on average
            # n!/(n − a)! / (n − c)^a, which is greatest at a = c: whatever the chain holds, the mean stays at most 1
            norm = all_ways - math.lgamma(count - prints + 1.0) - prints * math.log(count - prints)
            out[row, p] = sums[0, p] + np.log(sums[1, p]) - norm
    return out


@njit(cache=True, nogil=True)
def _find_links(lane: LaneMarks, gait: Gait, spacing: float, links: _Links) -> None:
    # a named tuple's arrays are counted at each use: taken out once, the loops run several times faster
    place, seen, misfit, turn, first, end, source, missed, near = links
    v0, v1, v2 = 2.0 * (gait.jitter_m / spacing) ** 2, gait.wander**2, gait.drift**2
    along, seen_m, reach, most_links = lane.along, lane.seen, gait.reach, gait.most_links
    last, per = int(lane.seen_m / spacing), 1.0 / spacing
    far = filled = 0
    for j in range(place.size):
        place[j], seen[j] = along[j] * per, seen_m[j] * per
        turn[j] = min(int(seen[j]), last)
        while seen[j] - seen[far] > reach or j - far > most_links:
            far += 1
        first[j] = far
        here = place[j]
        for i in range(far, j):  # no branch, so that the compiler takes several at once
            gap = here - place[i]
            m = np.floor(gap + 0.5)
            misfit[i] = (gap - m) ** 2 - _WIDEST**2 * (v0 + m * (v1 + m * v2)) + (_LARGE if m < 1.0 else 0.0)
        for i in range(far, j):
            if misfit[i] <= 0.0:
                gap = here - place[i]
                m = np.floor(gap + 0.5)
                v = v0 + m * (v1 + m * v2)
                source[filled] = i
                near[filled] = math.exp(-0.5 * (gap - m) ** 2 / v) / math.sqrt(2.0 * math.pi * v)
                missed[filled] = int(m) - 1
                if seen[j] - seen[i] < gap - _TOUCHING:
                    missed[filled] -= hidden_turns(along[i], (along[j] - along[i]) / m, int(m) - 1, lane.gaps)
                filled += 1
        end[j] = filled


@njit(cache=True, nogil=True)
def _begin(lane: LaneMarks, spacing: float, chance: NDArray[np.float64], sums: NDArray[np.float64]) -> None:
    """Set out with nothing summed; an end of a chain weighs ``between`` + ``edge`` × (1 − p)^(turns beyond)."""
    count, turns = lane.along.size, lane.seen_m / spacing
    sums[:] = 0.0
    for p in range(_KINDS):
        sums[2, p] = 1.0
        sums[5, p] = 0.5 / (chance[p] * (turns + 1.0))
        sums[6, p] = 0.5 - sums[5, p] * (1.0 - chance[p])
        sums[7, p] = count / (count - _prints(p, count, chance[p] * turns)) / spacing


@njit(cache=True, nogil=True)
def _prints(kind: int, count: int, expected: float) -> float:
    """How many of a lane's marks a trial takes for prints, when it thins the scattered marks out by them."""
    most = min(MOST_CROWDED * count, expected)
    return most if kind < LONG else min(most, BURST)


@njit(cache=True, nogil=True)
def _sum_chains(
    lane: LaneMarks, gait: Gait, spacing: float, links: _Links, work: tuple[NDArray[np.float64], NDArray[np.float64]]
) -> None:
    _, _, _, turn, first, end, source, missed, near = links
    rarity, silent, printed = lane.rarity, gait.silent, gait.printed
    count, turns, chance = rarity.size, lane.seen_m / spacing, printed[0]
    weight, sums = work
    _, total, scale, here, far_sum, between, edge, crowd = sums
    _begin(lane, spacing, chance, sums)
    far = link = 0
    for j in range(count):
        now, left, since = turn[j], int(turns) - turn[j], turn[j] - turn[max(j - 1, 0)]
        for p in range(_KINDS):
            far_sum[p] *= silent[since, p]
        while far < first[j]:
            for p in range(_KINDS):
                far_sum[p] += weight[far, p] * silent[now - turn[far], p]
            far += 1
        for p in range(_KINDS):
            here[p] = chance[p] * ((between[p] + edge[p] * silent[now, p]) * scale[p] + far_sum[p])
        while link < end[j]:
            for p in range(_KINDS):
                here[p] += weight[source[link], p] * near[link] * printed[missed[link], p]
            link += 1
        top = 0.0
        for p in range(_KINDS):
            weight[j, p] = here[p] * crowd[p] * rarity[j]
            total[p] += weight[j, p] * (between[p] + edge[p] * silent[left, p])
            top += total[p] + weight[j, p]
        if top > _LARGE:
            _scale_down(weight[far : j + 1], sums)


@njit(cache=True, nogil=True)
def _scale_down(weight: NDArray[np.float64], sums: NDArray[np.float64]) -> None:
    """Keep the numbers within range, each print probability on its own."""
    for p in range(_KINDS):
        if max(sums[1, p], weight[-1, p]) > _LARGE:
            weight[:, p] /= _LARGE
            sums[1:5, p] /= _LARGE
            sums[0, p] += math.log(_LARGE)


@njit(cache=True, nogil=True)
def hidden_turns(start: float, spacing: float, between: int, gaps: NDArray[np.float64]) -> int:
    """How many of the ``between`` turns that follow ``start`` fall into web that nobody looked at."""
    hidden = 0
    for row in range(gaps.shape[0]):
        first = max(1.0, np.ceil((gaps[row, 0] - start) / spacing))
        last = min(float(between), np.ceil((gaps[row, 1] - start) / spacing) - 1.0)
        if last >= first:
            hidden += int(last - first) + 1
    return hidden
