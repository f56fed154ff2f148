"""How finished lengths are packed into a clean stretch: whole numbers of each length, worth most together."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints

__all__ = ["best_patterns", "full_patterns", "units_of"]

_MM: Final = 1000.0
_FUZZ: Final = 1e-6


def units_of(lengths_m: tuple[float, ...]) -> tuple[float, Ints]:
    """The greatest common measure of lengths in metres, and how many of it each length is.

    A length that isn't a whole millimetre counts as the next one, so what fits by measure fits.

    Example:
        >>> units_of((30.48, 60.96))[1].tolist()
        [1, 2]
    """
    whole_mm = [math.ceil(length * _MM - _FUZZ) for length in lengths_m]
    unit_mm = math.gcd(*whole_mm)
    return unit_mm / _MM, np.array([length // unit_mm for length in whole_mm], dtype=np.int64)


def best_patterns(units: Ints, values: Floats, sizes: Ints) -> Ints:
    """The patterns worth most.

    Args:
        units: (K,) what each length takes.
        values: (K,) what one of each is worth.
        sizes: (S,) what each stretch holds, in the same measure.

    Returns:
        (S, K) how many of each length.

    Example:
        >>> best_patterns(np.array([5, 3]), np.array([5.0, 3.1]), np.array([11, 4])).tolist()
        [[1, 2], [0, 1]]
    """
    patterns: Ints = _pack(units, values, sizes)
    return patterns


def full_patterns(units: tuple[int, ...], size: int) -> Iterator[tuple[int, ...]]:
    """Every pattern that leaves no room for another one of any length.

    Example:
        >>> list(full_patterns((5, 3), 11))
        [(2, 0), (1, 2), (0, 3)]
    """
    if not units:
        yield ()
        return
    shortest = min(units)
    for count in range(size // units[0], -1, -1):
        for rest in full_patterns(units[1:], size - count * units[0]):
            left = size - count * units[0] - sum(n * unit for n, unit in zip(rest, units[1:], strict=True))
            if left < shortest:
                yield (count, *rest)


@njit(cache=True, nogil=True)
def _pack(units: Ints, values: Floats, sizes: Ints) -> Ints:
    """The knapsack with as many of each as fit, for all sizes at once."""
    most = sizes.max() if sizes.size else 0
    best, last = np.zeros(most + 1), np.full(most + 1, -1)
    for size in range(1, most + 1):
        best[size] = best[size - 1]
        for kind in range(units.size):
            if units[kind] <= size and best[size - units[kind]] + values[kind] > best[size]:
                best[size] = best[size - units[kind]] + values[kind]
                last[size] = kind
    patterns = np.zeros((sizes.size, units.size), dtype=np.int64)
    for at in range(sizes.size):
        size = sizes[at]
        while size > 0:
            if last[size] < 0:
                size -= 1
            else:
                patterns[at, last[size]] += 1
                size -= units[last[size]]
    return patterns
