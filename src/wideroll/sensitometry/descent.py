"""Least squares over the inner coordinates, by Levenberg and Marquardt's method.

Levenberg, Q. Appl. Math. 2 (1944) 164; Marquardt, J. SIAM 11 (1963) 431. Compiled, because twenty readings are few for
array operations and a strip asks for some fifty evaluations a record. Readings may be whitened by a matrix, and rise
and q tied to known values by two more readings.
"""

import math
from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import LEAST_Q, share_and_slopes
from wideroll.sensitometry.shape import WIDEST
from wideroll.sensitometry.small_matrices import factor_of, solve_with

__all__ = [
    "NO_TIES",
    "Problem",
    "descend",
    "evaluate",
    "greatest_studentised",
    "median_sd",
    "robust_residual",
    "weigh",
]

NO_TIES: Final = np.zeros((2, 2))
"""Rows (known value, weight) of rise and of q; a weight is one over the standard deviation, 0 for no tie."""
_LOW: Final = 0
_PLACE: Final = 2
_MOST_STEPS: Final = 200
_MOST_TRIALS: Final = 40
_FIRST_DAMPING: Final = 1e-4
_LEAST_DAMPING: Final = 1e-13
_MOST_DAMPING: Final = 1e14
_LONGEST_STEP: Final = 2.0
_MAD_TO_SD: Final = 1.4826
_REWEIGHTINGS: Final = 10
_ROUGH: Final = 1e-6
"""Both enough to tell a fault of 5 standard deviations."""


class Problem(NamedTuple):
    """What is fitted; a named tuple, since compiled code takes those."""

    sign: float
    """Of the slope."""
    x: Floats
    """Log H (n,)."""
    y: Floats
    """Densities (n,)."""
    whiten: Floats
    """Matrix (n, n) by which residuals are multiplied, or weights (1, n)."""
    ties: Floats
    """Rows (known value, weight) of rise and of q; ``NO_TIES`` for none."""
    first: int
    """1 where the first coordinate, the minimum density, is held; else 0."""


@njit(cache=True, nogil=True, error_model="numpy")
def descend(problem: Problem, start: Floats, tolerance: float) -> tuple[Floats, float]:
    """The inner coordinates (5,) near the start with the least sum of squares, and that sum.

    The walk ends when a step lessens the sum of squares by less than the tolerance, as a share, and moves no coordinate
    by more than its root.
    """
    n = len(problem.x)
    theta = start.copy()
    misfit, slopes = np.empty(n + 2), np.empty((n + 2, 5))
    tried, unused = np.empty(n + 2), np.empty((0, 5))
    squares = evaluate(problem, theta, misfit, slopes)
    damping = _FIRST_DAMPING
    for _ in range(_MOST_STEPS):
        curvature, downhill = _normal(misfit, slopes, problem.first)
        moved, step, less = theta, 0.0, math.inf
        for _ in range(_MOST_TRIALS):
            wanted = downhill.copy()
            solve_with(factor_of(curvature, damping), wanted)
            moved, step = _move(theta, wanted)
            less = evaluate(problem, moved, tried, unused)
            if less <= squares:
                break
            damping *= 5.0
            if damping > _MOST_DAMPING:
                break
        if not less <= squares:
            break
        gained, theta, squares = squares - less, moved, less
        damping = max(damping * 0.1, _LEAST_DAMPING)
        if gained <= tolerance * squares and step <= math.sqrt(tolerance):
            break
        evaluate(problem, theta, misfit, slopes)
    return theta, squares


@njit(cache=True, nogil=True, error_model="numpy")
def robust_residual(problem: Problem, start: Floats, scale: float) -> Floats:
    """Residuals (n,) of a fit with Cauchy's loss, by reweighting; the problem's own weights aren't used."""
    theta = start
    residual = _residual(problem, theta)
    for _ in range(_REWEIGHTINGS):
        weights = np.empty((1, len(residual)))
        for i in range(len(residual)):
            weights[0, i] = 1.0 / math.sqrt(1.0 + (residual[i] / scale) ** 2)
        weighted = Problem(problem.sign, problem.x, problem.y, weights, problem.ties, problem.first)
        theta, _ = descend(weighted, theta, _ROUGH)
        residual = _residual(problem, theta)
    return residual


@njit(cache=True, nogil=True, error_model="numpy")
def greatest_studentised(residual: Floats, slopes: Floats, inverse: Floats) -> float:
    """The greatest residual (n,) over the root of what its own leverage leaves; Jacobian (n, m), its inverse (m, n)."""
    greatest = 0.0
    n = len(residual)
    for i in range(n):
        leverage = 0.0
        for j in range(slopes.shape[1]):
            leverage += slopes[i, j] * inverse[j, i]
        greatest = max(greatest, abs(residual[i]) / math.sqrt(max(1.0 - leverage, 1.0 / n)))
    return greatest


@njit(cache=True, nogil=True, error_model="numpy")
def median_sd(residual: Floats, free: int, least: float) -> float:
    """Standard deviation from the median absolute residual, corrected for the parameters fitted; at least the least."""
    n = len(residual)
    sizes = np.empty(n)
    for i in range(n):  # sorted by insertion
        size, place = abs(residual[i]), i
        while place > 0 and sizes[place - 1] > size:
            sizes[place] = sizes[place - 1]
            place -= 1
        sizes[place] = size
    median: float = 0.5 * (sizes[(n - 1) // 2] + sizes[n // 2])
    return float(max(_MAD_TO_SD * median * math.sqrt(n / max(n - free, 1)), least))


@njit(cache=True, nogil=True, error_model="numpy")
def _residual(problem: Problem, theta: Floats) -> Floats:
    rise, k, q = math.exp(theta[1]), problem.sign * math.exp(theta[3]), LEAST_Q + math.exp(theta[4])
    residual = np.empty(len(problem.x))
    for i in range(len(residual)):
        residual[i] = problem.y[i] - theta[0] - rise * share_and_slopes(k * (problem.x[i] - theta[2]), q)[0]
    return residual


@njit(cache=True, nogil=True, error_model="numpy")
def evaluate(problem: Problem, theta: Floats, misfit: Floats, slopes: Floats) -> float:
    """Sum of squares; misfits (n + 2,) and, where there is room for them, slopes (n + 2, 5) are written."""
    n = len(problem.x)
    rise, k, q = math.exp(theta[1]), problem.sign * math.exp(theta[3]), LEAST_Q + math.exp(theta[4])
    wanted = len(slopes) > 0
    for i in range(n):
        z = k * (problem.x[i] - theta[2])
        share, by_z, by_q = share_and_slopes(z, q)
        misfit[i] = problem.y[i] - theta[0] - rise * share
        if wanted:
            slopes[i, 0] = 1.0
            slopes[i, 1] = rise * share
            slopes[i, 2] = -rise * by_z * k
            slopes[i, 3] = rise * by_z * z
            slopes[i, 4] = rise * by_q * (q - LEAST_Q)
    weigh(problem.whiten, misfit, slopes, n)
    misfit[n] = (problem.ties[0, 0] - rise) * problem.ties[0, 1]
    misfit[n + 1] = (problem.ties[1, 0] - q) * problem.ties[1, 1]
    if wanted:
        for j in range(slopes.shape[1]):
            slopes[n, j] = slopes[n + 1, j] = 0.0
        slopes[n, 1] = rise * problem.ties[0, 1]
        slopes[n + 1, 4] = (q - LEAST_Q) * problem.ties[1, 1]
    squares = 0.0
    for i in range(n + 2):
        squares += misfit[i] ** 2
    return squares


@njit(cache=True, nogil=True, error_model="numpy")
def weigh(whiten: Floats, misfit: Floats, slopes: Floats, n: int) -> None:
    """Whiten, in place, the first n misfits and, where there are any, slopes."""
    wide = slopes.shape[1] if len(slopes) else 0
    if len(whiten) == n:
        plain = np.empty((n, wide + 1))
        for i in range(n):
            plain[i, wide] = misfit[i]
            for j in range(wide):
                plain[i, j] = slopes[i, j]
        for i in range(n):
            for j in range(wide + 1):
                total = 0.0
                for m in range(n):
                    total += whiten[i, m] * plain[m, j]
                if j == wide:
                    misfit[i] = total
                else:
                    slopes[i, j] = total
        return
    for i in range(n):
        misfit[i] *= whiten[0, i]
        for j in range(wide):
            slopes[i, j] *= whiten[0, i]


@njit(cache=True, nogil=True, error_model="numpy")
def _normal(misfit: Floats, slopes: Floats, first: int) -> tuple[Floats, Floats]:
    """Matrix and right side of the normal equations for the coordinates from the first free one on."""
    size = slopes.shape[1] - first
    curvature, downhill = np.zeros((size, size)), np.zeros(size)
    for row in range(len(misfit)):
        for i in range(size):
            slope = slopes[row, first + i]
            downhill[i] += slope * misfit[row]
            for j in range(i + 1):
                curvature[i, j] += slope * slopes[row, first + j]
    return curvature, downhill


@njit(cache=True, nogil=True, error_model="numpy")
def _move(theta: Floats, step: Floats) -> tuple[Floats, float]:
    """The coordinates moved within their bounds, and the length of the longest part of the move."""
    moved = theta.copy()
    first = len(theta) - len(step)
    longest = 0.0
    for i in range(len(step)):
        place = first + i
        if place == _LOW:
            moved[place] += step[i]
        else:
            moved[place] += min(max(step[i], -_LONGEST_STEP), _LONGEST_STEP)
        if place not in {_LOW, _PLACE}:
            moved[place] = min(max(moved[place], -WIDEST), WIDEST)
        longest = max(longest, abs(moved[place] - theta[place]))
    return moved, longest
