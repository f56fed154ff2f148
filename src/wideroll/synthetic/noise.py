"""Normal noise that is a hash of where it stands, so that any stretch can be made by itself, with true tails.

A pixel's noise is the sum of two entries of a table of normal quantiles, picked by the halves of a 32-bit hash. Such a
sum is normal in its body but thins out from four times the noise on and ends at six. So the three in 10,000 that lie
further out than ``THRESHOLD`` are drawn again: from the tail of the normal itself, each with 64 bits of its own, which
reaches ten times the noise.
"""

import math
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtri, ndtri_exp

__all__ = ["THRESHOLD", "Normal", "draw_far", "draw_normal", "lay_noise", "mix", "normal_tables"]

THRESHOLD: Final = 3.6
"""Sums further from 0 than this, in units of the noise, are drawn again."""
_TABLE_BITS: Final = 16
_HALF_MASK: Final = 0xFFFF
_FAR_KNOTS: Final = 2048
_FAR_STEP: Final = 64.0 * math.log(2.0) / _FAR_KNOTS
_CHUNK: Final = 128


class Normal(NamedTuple):
    """What the loops draw from."""

    halves: NDArray[np.float32]
    """Standard normal quantiles over √2: the sum of two picked at random is standard normal in its body."""
    far: NDArray[np.float64]
    """Quantiles of the tail: knot k is passed by a share exp(-k × step) of the departures beyond the threshold."""
    noise: float
    """Standard deviation of a pixel as a share of its signal."""
    scaled: NDArray[np.float32]
    """``halves`` times ``noise``."""


def normal_tables(noise: float = 1.0) -> Normal:
    """What to draw noise of a size from.

    The tail starts where a normal leaves as much beyond as the sums leave beyond ``THRESHOLD``, counted over all pairs.

    Example:
        >>> [round(float(knot), 3) for knot in normal_tables().far[[0, -1]]]
        [3.601, 9.988]
    """
    number = 1 << _TABLE_BITS
    quantiles: NDArray[np.float64] = ndtri((np.arange(number) + 0.5) / number)
    halves: NDArray[np.float32] = (quantiles / (quantiles.std() * math.sqrt(2.0))).astype(np.float32)
    partner = np.searchsorted(halves, np.float32(THRESHOLD) - halves, side="right")
    beyond = float((number - partner).sum()) / float(number) ** 2
    far: NDArray[np.float64] = -ndtri_exp(math.log(beyond) - _FAR_STEP * np.arange(_FAR_KNOTS + 1))
    scaled = (halves.astype(np.float64) * noise).astype(np.float32)
    return Normal(halves=halves, far=far, noise=noise, scaled=scaled)


@njit(cache=True, nogil=True)
def mix(seed: int | np.uint64, counter: int) -> np.uint64:
    """64 random bits of a counter (the finaliser of SplitMix64, [steele2014])."""
    x = np.uint64(seed) + np.uint64(counter) * np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


@njit(cache=True, nogil=True)
def draw_normal(bits: np.uint64, normal: Normal) -> float:
    """A standard normal number of 32 of 64 random bits; it ends at six."""
    return float(normal.halves[bits & np.uint64(_HALF_MASK)] + normal.halves[bits >> np.uint64(48)])


@njit(cache=True, nogil=True)
def draw_far(bits: np.uint64, normal: Normal) -> float:
    """How far out a departure beyond the threshold lies, of 64 random bits; straight between the knots."""
    share = (float(bits) + 1.0) / 18446744073709551616.0
    at = -math.log(min(share, 1.0)) / _FAR_STEP
    knot = min(int(at), _FAR_KNOTS - 1)
    return float(normal.far[knot] + (at - knot) * (normal.far[knot + 1] - normal.far[knot]))


@njit(cache=True, nogil=True)
def _hash(column: int, first: np.uint32, second: np.uint32) -> np.uint32:
    """32 random bits of a column; constants of the mixer by [wellons2018].

    Every product is cut to 32 bits at once, so that the loop runs in vectors.
    """
    x = np.uint32(np.uint32(np.uint32(column) * np.uint32(0x9E3779B1)) + first)
    x = np.uint32(np.uint32(x ^ (x >> np.uint32(16))) * np.uint32(0x7FEB352D))
    x = np.uint32(x ^ (x >> np.uint32(15)))
    x = np.uint32(np.uint32(x + second) * np.uint32(0x846CA68B))
    return np.uint32(x ^ (x >> np.uint32(16)))


@njit(cache=True, nogil=True)
def _count(value: np.float32) -> np.uint8:
    return np.uint8(np.int32(min(max(value + np.float32(0.5), np.float32(0.0)), np.float32(255.0))))


@njit(cache=True, nogil=True)
def lay_noise(signal: NDArray[np.float32], key: np.uint64, normal: Normal, out: NDArray[np.uint8]) -> None:
    """Counts of one line: its signal with noise in proportion."""
    first, second = np.uint32(key & np.uint64(0xFFFFFFFF)), np.uint32(key >> np.uint64(32))
    # A little less than the threshold, so that rounding hides none; _redraw decides.
    limit = np.float32(normal.noise * (THRESHOLD - 0.001))
    factor = np.empty(_CHUNK, dtype=np.float32)
    # A loop for each step: one that did all of it would not run in vectors.
    for start in range(0, signal.size, _CHUNK):
        stop = min(start + _CHUNK, signal.size)
        for column in range(start, stop):
            x = _hash(column, first, second)
            one, other = normal.scaled[x & np.uint32(_HALF_MASK)], normal.scaled[x >> np.uint32(_TABLE_BITS)]
            factor[column - start] = np.float32(1.0) + one + other
        for column in range(start, stop):
            out[column] = _count(signal[column] * factor[column - start])
        beyond = np.int32(0)
        for n in range(stop - start):
            beyond += np.int32(abs(factor[n] - np.float32(1.0)) > limit)
        if beyond > 0:
            _redraw(start, signal[start:stop], key, normal, out[start:stop])


@njit(cache=True, nogil=True)
def _redraw(start: int, signal: NDArray[np.float32], key: np.uint64, normal: Normal, out: NDArray[np.uint8]) -> None:
    first, second = np.uint32(key & np.uint64(0xFFFFFFFF)), np.uint32(key >> np.uint64(32))
    for n in range(signal.size):
        x = _hash(start + n, first, second)
        departure = normal.halves[x & np.uint32(_HALF_MASK)] + normal.halves[x >> np.uint32(_TABLE_BITS)]
        if abs(departure) > np.float32(THRESHOLD):
            far = math.copysign(draw_far(mix(key, start + n), normal), departure)
            out[n] = _count(np.float32(signal[n] * (1.0 + normal.noise * far)))
