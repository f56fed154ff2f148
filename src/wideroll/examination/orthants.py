"""How likely measured densities are when one, two or three dyes changed in one direction."""

import math
from typing import Final

import numpy as np
from scipy.special import log_ndtr, ndtr

from wideroll.examination.model import Floats

__all__ = ["log_normal_density", "log_positive"]

_REACH: Final = 8.0
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_LEAST: Final = 1e-12


def log_normal_density(value: Floats, covariance: Floats) -> float:
    """Natural logarithm of a normal density around 0.

    Args:
        value: (n,).
        covariance: (n, n), positive definite.

    Example:
        >>> round(log_normal_density(np.zeros(1), np.eye(1)), 4)
        -0.9189
    """
    root = np.linalg.cholesky(covariance)
    scaled = np.linalg.solve(root, value)
    return float(-0.5 * (scaled @ scaled + len(value) * math.log(2.0 * math.pi)) - np.log(np.diag(root)).sum())


def log_positive(mean: Floats, covariance: Floats) -> float:
    """Natural logarithm of the probability that all of up to three normal quantities are positive.

    One after the other, each given those before, by Gauss-Legendre's rule over 8 standard deviations. Where next to
    nothing is left, the quantities are taken as independent, which is good enough to say so.

    Args:
        mean: (n,), n from 1 to 3.
        covariance: (n, n), positive definite.

    Example:
        >>> round(math.exp(log_positive(np.zeros(2), np.array([[1.0, 0.5], [0.5, 1.0]]))), 6)  # 1/4 + asin(1/2)/(2 pi)
        0.333333
    """
    sd = np.sqrt(np.diag(covariance))
    apart = float(log_ndtr(mean / sd).sum())
    if len(mean) == 1:
        return apart
    probability = _positive(mean, np.asarray(np.linalg.cholesky(covariance), dtype=np.float64))
    return math.log(probability) if probability > _LEAST else min(apart, math.log(_LEAST))


def _positive(mean: Floats, root: Floats) -> float:
    """With x = mean + root u: u1 is summed over; then u2; the last is known in closed form."""
    low, weight = _stretch(np.array(-mean[0] / root[0, 0]))
    if len(mean) == 2:  # noqa: PLR2004  -- a pair of dyes
        return float(weight @ ndtr((mean[1] + root[1, 0] * low) / root[1, 1]))
    second, inner = _stretch(-(mean[1] + root[1, 0] * low) / root[1, 1])
    third = (mean[2] + root[2, 0] * low[:, None] + root[2, 1] * second) / root[2, 2]
    return float(weight @ (inner * ndtr(third)).sum(axis=1))


def _stretch(start: Floats) -> tuple[Floats, Floats]:
    """Nodes and weights, normal density included, from each start up to 8."""
    first = np.clip(start, -_REACH, _REACH)
    half = (_REACH - first) / 2.0
    nodes = first[..., None] + half[..., None] * (1.0 + _NODES)
    weights = half[..., None] * _WEIGHTS * np.exp(-0.5 * nodes**2) / math.sqrt(2.0 * math.pi)
    return nodes, weights
