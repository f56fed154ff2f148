"""Which trial spacings are worth weighing: distances between pairs of marks, counted about multiples of each spacing.

A series leaves the same distances again and again. Where a share q of a lane's marks are prints, pairs m turns apart
are 1 + q² ⁄ f times as many as chance gives within a window that takes a share f of a turn. The sum of the logarithms
over all turns ranks the spacings; it takes no account of which marks the pairs have in common, so it only ranks.
Spacings left out add nothing to a lane's evidence: that can hide a series, but never make one.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.repeats.chain import Gait

__all__ = ["PairTable", "lay_pairs", "rank_spacings"]

_TURNS: Final = 60
_SHARES: Final = (0.07, 0.35)
"""Shares of prints among the marks of a lane for which spacings are ranked; the better of them counts."""
_WINDOW: Final = 1.5  # standard deviations either way
_BIN_M: Final = 0.001
_MOST_PARTNERS: Final = 1200
_WIDEST: Final = 0.5  # a window wider than this share of a turn tells nothing


class PairTable(NamedTuple):
    """What stays the same for all lanes of a search."""

    spacings: NDArray[np.float64]
    """(k,) metres."""
    half: NDArray[np.float32]
    """(turns, gaits, k) half widths of the windows, in metres; 0 where there is none."""
    gain: NDArray[np.float32]
    """(turns, gaits, shares, k) logarithm of the likelihood ratio that a pair within the window brings."""


def lay_pairs(spacings: NDArray[np.float64], gaits: tuple[Gait, ...]) -> PairTable:
    """Windows about the multiples of each spacing, for each gait."""
    m = np.arange(1, _TURNS + 1)[:, None, None]
    jitter, wander, drift = (
        np.array([getattr(gait, name) for gait in gaits])[:, None] for name in ("jitter_m", "wander", "drift")
    )
    sd = np.sqrt(2.0 * (jitter / spacings) ** 2 + m * (wander**2 + m * drift**2))
    share = 2.0 * _WINDOW * sd
    share[share > _WIDEST] = 0.0
    wide = np.where(share > 0.0, share, np.inf)[:, :, None, :]
    gain = np.log1p(np.array(_SHARES)[:, None] ** 2 / wide)
    half = share / 2.0 * spacings
    return PairTable(spacings=spacings, half=half.astype(np.float32), gain=gain.astype(np.float32))


def rank_spacings(along: NDArray[np.float64], table: PairTable) -> NDArray[np.float64]:
    """How much pairs of marks speak for each spacing, about as a logarithm of a likelihood ratio.

    Args:
        along: float64 (n,), ascending: the marks of one lane, metres.
        table: of ``lay_pairs``.

    Returns:
        float64 (k,).
    """
    if along.size < 2:  # noqa: PLR2004  # one mark is no pair
        return np.zeros(table.spacings.size)
    reach = min((_TURNS + 0.5) * float(table.spacings[-1]), float(along[-1] - along[0]))
    shares = np.array(_SHARES)
    return np.asarray(_rank(_distances(along, reach), table, shares**2))


@njit(cache=True, nogil=True)
def _distances(along: NDArray[np.float64], reach: float) -> NDArray[np.int32]:
    """(bins + 1,) numbers of pairs up to each distance, in steps of ``_BIN_M``."""
    bins = int(reach / _BIN_M) + 2
    upto = np.zeros(bins + 1, np.int32)
    for i in range(along.size):
        for j in range(i + 1, min(along.size, i + _MOST_PARTNERS)):
            distance = along[j] - along[i]
            if distance > reach:
                break
            upto[int(distance / _BIN_M) + 1] += 1
    return np.cumsum(upto).astype(np.int32)


@njit(cache=True, nogil=True)
def _rank(upto: NDArray[np.int32], table: PairTable, squares: NDArray[np.float64]) -> NDArray[np.float64]:
    spacings, half, gain = table
    last, per, count = upto.size - 1, 1.0 / _BIN_M, spacings.size
    sums = np.zeros((half.shape[1], squares.size, count), np.float32)
    turn, some = np.zeros(count, np.float32), np.zeros(count, np.int64)
    for m in range(half.shape[0]):
        stop = int(np.searchsorted(spacings, (last - 1) / (per * (m + 1.5))))
        filled = 0
        for row in range(stop):
            low, high = int((m + 0.5) * spacings[row] * per), int((m + 1.5) * spacings[row] * per)
            turn[row] = upto[high] - upto[low]
            some[filled] = row
            filled += turn[row] > 0
        for kind in range(half.shape[1]):
            for row in some[:filled]:
                reach, middle = half[m, kind, row], (m + 1) * spacings[row]
                # distances are rounded down to whole bins: a window is half a bin wider at either end
                within = upto[int((middle + reach) * per + 1.5)] - upto[int((middle - reach) * per + 0.5)]
                for share in range(squares.size):
                    more = within * gain[m, kind, share, row] - np.float32(squares[share]) * turn[row]
                    sums[kind, share, row] += more if reach > 0.0 else np.float32(0.0)
    best = np.zeros(count)
    for kind in range(half.shape[1]):
        for share in range(squares.size):
            for row in range(count):
                best[row] = max(best[row], sums[kind, share, row])
    return best
