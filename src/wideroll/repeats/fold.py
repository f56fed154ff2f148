"""Folding at a trial spacing, and the tests of astronomers for whether the phases are uneven.

Shown beside a series and compared with it; the search itself doesn't fold, since a fold over a whole roll loses step as
soon as the web slips.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.repeats.model import FoldTest

__all__ = ["fold", "h_test", "rayleigh_test"]

_MOST_HARMONICS: Final = 20
_FEW: Final = 50  # marks, below which the correction in 1/n and 1/n² counts


def fold(along_m: NDArray[np.float64], spacing_m: float) -> NDArray[np.float64]:
    """Phase of each mark: the part of a turn since the last whole turn from the head.

    Args:
        along_m: float64 (n,), metres.
        spacing_m: metres per turn, greater than 0.

    Returns:
        float64 (n,) in [0, 1).

    Raises:
        ArgumentError: when the spacing isn't greater than 0 or a place isn't finite.

    Example:
        >>> fold(np.array([0.25, 1.5, 3.0]), 2.0).tolist()
        [0.125, 0.75, 0.5]
    """
    if not (math.isfinite(spacing_m) and spacing_m > 0.0):
        raise ArgumentError(
            where="spacing_m", rule="must be greater than 0", value=spacing_m, mend="Give the metres of one turn."
        )
    along = _finite(along_m, "along_m")
    phases: NDArray[np.float64] = np.mod(along / spacing_m, 1.0)
    return np.where(phases == 1.0, 0.0, phases)  # a place just before the head rounds up to a whole turn


def rayleigh_test(phases: NDArray[np.float64]) -> FoldTest:
    """Whether phases gather about one direction: z = n R̄², R̄ the length of the mean vector.

    P = e^−z [1 + (2z − z²)/4n − (24z − 132z² + 76z³ − 9z⁴)/288n²], the correction for fewer than 50 phases
    [fisher1993].

    Args:
        phases: float64 (n,), in turns.

    Returns:
        The statistic z and the probability of one as great from phases without preference; 0 and 1 when there are none.

    Raises:
        ArgumentError: when a phase isn't finite.

    Example:
        >>> round(rayleigh_test(np.array([130.0, 90.0, 0.0, 145.0]) / 360.0).probability, 7)
        0.2563488
    """
    count = _finite(phases, "phases").size
    if count == 0:
        return FoldTest(statistic=0.0, probability=1.0, harmonics=1, marks=0)
    z = float(abs(np.exp(2j * np.pi * phases).sum()) ** 2) / count
    correction = 1.0
    if count < _FEW:
        first = (2.0 * z - z**2) / (4.0 * count)
        second = (24.0 * z - 132.0 * z**2 + 76.0 * z**3 - 9.0 * z**4) / (288.0 * count**2)
        correction += first - second
    probability = min(max(math.exp(-z) * correction, 0.0), 1.0)
    return FoldTest(statistic=z, probability=probability, harmonics=1, marks=count)


def h_test(phases: NDArray[np.float64]) -> FoldTest:
    """Whether phases are uneven in any shape: H = max over m ≤ 20 of Z²_m − 4m + 4 [dejager1989].

    Z²_m = (2/n) Σ_{k ≤ m} [(Σ cos 2πkφ)² + (Σ sin 2πkφ)²]; P(> H) = e^(−0.4 H) [dejager2010].

    Args:
        phases: float64 (n,), in turns.

    Returns:
        The statistic H, its probability from phases without preference and the number of harmonics it was greatest
        with; 0, 1 and 1 when there are none.

    Raises:
        ArgumentError: when a phase isn't finite.

    Example:
        >>> h_test(np.array([0.1, 0.1, 0.1, 0.1])).harmonics
        20
    """
    count = _finite(phases, "phases").size
    if count == 0:
        return FoldTest(statistic=0.0, probability=1.0, harmonics=1, marks=0)
    harmonics = np.arange(1, _MOST_HARMONICS + 1)
    power = np.abs(np.exp(2j * np.pi * np.outer(harmonics, phases)).sum(axis=1)) ** 2
    h = 2.0 / count * np.cumsum(power) - 4.0 * harmonics + 4.0
    best = int(np.argmax(h))
    statistic = float(h[best])
    return FoldTest(
        statistic=statistic, probability=min(1.0, math.exp(-0.4 * statistic)), harmonics=best + 1, marks=count
    )


def _finite(values: NDArray[np.float64], where: str) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or not np.isfinite(array).all():
        raise ArgumentError(where=where, rule="must be a row of finite numbers", value=array, mend="Leave out NaN.")
    return array
