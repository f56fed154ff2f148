"""Whether values look normal, and how they don't."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.special import log_ndtr

from wideroll.control.model import Normality
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["normality"]

_LEAST: Final = 8
_LEVEL: Final = 0.01
_LEANS: Final = 0.5
_HEAVY: Final = 1.0
_LIGHT: Final = -0.8
_FEW_DIFFERENT: Final = 0.3
_P_VALUES: Final = (
    (0.6, (1.2937, -5.709, 0.0186)),
    (0.34, (0.9177, -4.279, -1.38)),
    (0.2, (-8.318, 42.796, -59.938)),
    (-math.inf, (-13.436, 101.14, -223.73)),
)
"""From which statistic on, and the coefficients of its exponent; of the last two the exponential is 1 − p."""
_SMALL: Final = 0.34
_LARGE: Final = 10.0
"""Far beyond what the exponents were fitted to."""


def normality(values: Sequence[float]) -> Normality:
    """Anderson and Darling's test of normal values, mean and deviation being estimated, and how they differ.

    A² = −n − Σ (2i − 1)(ln Φ(zᵢ) + ln(1 − Φ(zₙ₊₁₋ᵢ))) ⁄ n, times 1 + 0.75 ⁄ n + 2.25 ⁄ n²; p-values as D'Agostino and
    Stephens 1986 (Goodness-of-Fit Techniques; from memory, checked by simulation). Values are called not normal below
    1 %. Coarsely rounded values fail it too, and are then said to be coarse.

    Args:
        values: at least 8 that differ.

    Raises:
        ArgumentError: when there are fewer, one isn't finite, or all are alike.

    Example:
        >>> normality([1.0, 1.1, 1.2, 1.1, 0.9, 1.0, 1.3, 0.8, 1.1, 1.0]).words
        ''
        >>> normality([0.1, 0.1, 0.2, 0.1, 0.3, 0.1, 0.2, 5.0, 0.1, 0.2]).words
        'they lean, with a tail to high values'
    """
    points = np.sort(np.array(check_series(values, where="values")))
    count = len(points)
    if count < _LEAST or points[0] == points[-1]:
        raise ArgumentError(
            where="values", rule=f"at least {_LEAST} that differ", value=count, mend="Give more values."
        )
    z = (points - points.mean()) / points.std(ddof=1)
    order = 2.0 * np.arange(1, count + 1) - 1.0
    plain = -count - float(np.sum(order * (log_ndtr(z) + log_ndtr(-z[::-1])))) / count
    statistic = plain * (1.0 + 0.75 / count + 2.25 / count**2)
    p_value = _p_value(statistic)
    central = (points - points.mean()) / points.std()
    skewness, kurtosis = float(np.mean(central**3)), float(np.mean(central**4)) - 3.0
    coarse = len(np.unique(points)) < _FEW_DIFFERENT * min(count, 50)
    words = _words(skewness, kurtosis, coarse=coarse) if p_value < _LEVEL else ""
    return Normality(statistic=statistic, p_value=p_value, skewness=skewness, excess_kurtosis=kurtosis, words=words)


def _p_value(statistic: float) -> float:
    if statistic > _LARGE:
        return 0.0
    first, second, third = next(terms for least, terms in _P_VALUES if statistic >= least)
    value = math.exp(first + second * statistic + third * statistic**2)
    return value if statistic >= _SMALL else 1.0 - value


def _words(skewness: float, kurtosis: float, *, coarse: bool) -> str:
    if coarse:
        return "they are read so coarsely that only a few different values occur"
    if abs(skewness) > _LEANS:
        return f"they lean, with a tail to {'high' if skewness > 0.0 else 'low'} values"
    if kurtosis > _HEAVY:
        return "more of them lie far out than of normal values"
    if kurtosis < _LIGHT:
        return "they lie in two heaps or spread evenly, and few far out"
    return "their distribution isn't the normal one"
