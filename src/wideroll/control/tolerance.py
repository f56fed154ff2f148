"""How wide an interval must be to hold a share of all values, known from few."""

import math
from typing import Final, Literal, TypeAlias

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, ndtr, ndtri
from scipy.stats import nct

from wideroll.control.series import check_confidence
from wideroll.errors import ArgumentError

__all__ = ["Sides", "tolerance_factor"]

Sides: TypeAlias = Literal["one", "two", "two, Howe"]

_LEAST: Final = 2
_NODES: Final = 128
_REACH: Final = 9.0


def tolerance_factor(count: int, *, coverage: float, confidence: float = 0.95, sides: Sides = "two") -> float:
    """How many sample standard deviations from the mean hold a share of a normal process, at a confidence.

    One-sided, exact: t(γ; n − 1, z_p √n) ⁄ √n of the noncentral t distribution. Two-sided, exact: k with E[P(χ² > (n
    − 1) r²(x) ⁄ k²)] = γ, x the error of the mean and r(x) the half-width about it that covers the share. Howe's
    approximation: z((1 + p) ⁄ 2) √((n − 1)(1 + 1⁄n) ⁄ χ²(1 − γ; n − 1)). NIST/SEMATECH e-Handbook of Statistical
    Methods, 7.2.6.3; ISO 16269-6 (exact forms from memory).

    Args:
        count: of values the mean and deviation come from, at least 2.
        coverage: share of the process to be held, between 0 and 1.
        confidence: that so much is held, between 0 and 1.
        sides: one, two, or two by Howe's approximation.

    Raises:
        ArgumentError: when the count is too small or a share isn't between 0 and 1.

    Example:
        >>> round(tolerance_factor(10, coverage=0.95), 4), round(tolerance_factor(10, coverage=0.95, sides="one"), 4)
        (3.3934, 2.911)
        >>> round(tolerance_factor(43, coverage=0.90, confidence=0.99, sides="two, Howe"), 4)
        2.2173
    """
    if count < _LEAST:
        raise ArgumentError(where="count", rule="at least 2 values", value=count, mend="Give more values.")
    if not 0.0 < coverage < 1.0:
        raise ArgumentError(where="coverage", rule="must lie between 0 and 1", value=coverage, mend="Give 0.95.")
    check_confidence(confidence)
    if sides == "one":
        root = math.sqrt(count)
        return float(nct.ppf(confidence, count - 1, float(ndtri(coverage)) * root)) / root
    freedom = count - 1
    howe = float(ndtri((1.0 + coverage) / 2.0)) * math.sqrt(
        freedom * (1.0 + 1.0 / count) / float(chdtri(freedom, confidence))
    )
    return howe if sides == "two, Howe" else _exact(count, coverage, confidence, howe)


def _exact(count: int, coverage: float, confidence: float, near: float) -> float:
    """The two-sided factor, by Gauss's rule over the error of the mean."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    z, density = nodes * _REACH, weights * _REACH * np.exp(-0.5 * (nodes * _REACH) ** 2) / math.sqrt(2.0 * math.pi)
    off = np.abs(z) / math.sqrt(count)
    half = np.array([brentq(_uncovered, 0.0, one + 40.0, args=(one, coverage), xtol=1e-13) for one in off.tolist()])
    freedom = count - 1

    def short(factor: float) -> float:
        return float(np.sum(density * chdtrc(freedom, freedom * (half / factor) ** 2))) - confidence

    return float(brentq(short, near / 20.0, near * 20.0, xtol=1e-12))


def _uncovered(half: float, off: float, coverage: float) -> float:
    return float(ndtr(off + half) - ndtr(off - half)) - coverage
