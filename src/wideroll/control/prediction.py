"""How far a single new value may lie from earlier ones, and an earlier one from its fellows."""

import math
from typing import Final

from scipy.stats import t

from wideroll.errors import ArgumentError

__all__ = ["outlier_limit", "prediction_factor", "single_level"]

_LEAST: Final = 2
_LEAST_FELLOWS: Final = 3


def single_level(family: float, count: int) -> float:
    """The level at which each of several tests is to be made so that all together have the level of the family.

    1 − (1 − α)^(1/k): exact for independent tests, and on the safe side for normal ones that go together (Šidák 1967,
    from memory).

    Args:
        family: chance that any of the tests fails by chance, between 0 and 1.
        count: of tests.

    Raises:
        ArgumentError: when the level isn't between 0 and 1, or there is no test.

    Example:
        >>> round(single_level(0.05, 5), 5), round(single_level(0.25, 1), 5)
        (0.01021, 0.25)
    """
    _check_level(family)
    if count < 1:
        raise ArgumentError(where="count", rule="at least 1", value=count, mend="Count the tests.")
    return -math.expm1(math.log1p(-family) / count)


def prediction_factor(count: int, level: float) -> float:
    """How many sample standard deviations from the mean of so many values one further value may lie.

    t(1 − α/2; n − 1) √(1 + 1/n): the two-sided prediction interval of one further value from the same normal
    distribution (Hahn and Meeker, Statistical Intervals; from memory). It knows that mean and deviation are only
    estimated, and comes down to the usual 3 as values are many and the level is 0.27 %.

    Args:
        count: of values, at least 2.
        level: chance that a further value lies beyond, between 0 and 1.

    Raises:
        ArgumentError: when there are too few values or the level isn't between 0 and 1.

    Example:
        >>> round(prediction_factor(20, 0.0027), 2), round(prediction_factor(10**7, 0.0026998), 4)
        (3.53, 3.0)
    """
    _check_level(level)
    if count < _LEAST:
        raise ArgumentError(where="count", rule="at least 2 values", value=count, mend="Give more values.")
    return float(t.isf(level / 2.0, count - 1)) * math.sqrt(1.0 + 1.0 / count)


def outlier_limit(count: int, level: float) -> float:
    """How many sample standard deviations from the mean the farthest of so many values may lie.

    Grubbs' test, two-sided: (n − 1)/√n √(t² ⁄ (n − 2 + t²)), t = t(1 − α/2n; n − 2) (NIST/SEMATECH e-Handbook of
    Statistical Methods, 1.3.5.17.1). The same limits, at falling n, are those of the generalised extreme studentised
    deviates (1.3.5.17.3), which find several outliers that would hide one another.

    Args:
        count: of values, at least 3.
        level: chance that the farthest of normal values lies beyond, between 0 and 1.

    Raises:
        ArgumentError: when there are too few values or the level isn't between 0 and 1.

    Example:
        >>> round(outlier_limit(8, 0.10), 3)
        2.032
    """
    _check_level(level)
    if count < _LEAST_FELLOWS:
        raise ArgumentError(where="count", rule="at least 3 values", value=count, mend="Give more values.")
    square = float(t.isf(level / (2.0 * count), count - 2)) ** 2
    return (count - 1) / math.sqrt(count) * math.sqrt(square / (count - 2 + square))


def _check_level(level: float) -> None:
    if not 0.0 < level < 1.0:
        raise ArgumentError(where="level", rule="must lie between 0 and 1", value=level, mend="Give 0.0027.")
