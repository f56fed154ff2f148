"""Matrices of a few rows, in plain loops: they compile in a fraction of the time that calls of a library take."""

import math
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats

__all__ = ["factor_of", "principal_axes", "pseudo_inverse", "solve_with"]

_ROUNDING: Final = 2.2e-16
_LEAST_COLUMN: Final = 1e-30
_WELL_CONDITIONED: Final = 1e-9
_LEAST_VARIANCE: Final = 1e-14
"""Share of the greatest, below which a principal axis of the normal equations is rounding and nothing else."""
_SWEEPS: Final = 60


@njit(cache=True, nogil=True, error_model="numpy")
def factor_of(matrix: Floats, damping: float) -> Floats:
    """Cholesky's factor (m, m) of a matrix whose diagonal is raised by a share; only its lower half is read.

    Infinite on the diagonal where nothing but rounding is left.
    """
    size = len(matrix)
    factor = np.zeros((size, size))
    for i in range(size):
        for j in range(i):
            total = matrix[i, j]
            for m in range(j):
                total -= factor[i, m] * factor[j, m]
            factor[i, j] = total / factor[j, j]
        left = (1.0 + damping) * matrix[i, i]
        for m in range(i):
            left -= factor[i, m] ** 2
        factor[i, i] = math.sqrt(left) if left > _ROUNDING * matrix[i, i] else math.inf
    return factor


@njit(cache=True, nogil=True, error_model="numpy")
def solve_with(factor: Floats, right: Floats) -> None:
    """Write the solution over the right side (m,), given the matrix's factor."""
    size = len(right)
    for i in range(size):
        for m in range(i):
            right[i] -= factor[i, m] * right[m]
        right[i] /= factor[i, i]
    for i in range(size - 1, -1, -1):
        for m in range(i + 1, size):
            right[i] -= factor[m, i] * right[m]
        right[i] /= factor[i, i]


@njit(cache=True, nogil=True, error_model="numpy")
def principal_axes(matrix: Floats) -> tuple[Floats, Floats]:
    """Variances (m,) and axes (m, m), in columns, of a symmetric matrix, by Jacobi's rotations.

    Source: Golub and Van Loan, Matrix Computations, on the cyclic Jacobi method; from memory.
    """
    size = len(matrix)
    left, axes = matrix.copy(), np.zeros((size, size))
    for i in range(size):
        axes[i, i] = 1.0
    for _ in range(_SWEEPS):
        aside = 0.0
        for i in range(size):
            for j in range(i):
                aside = max(aside, abs(left[i, j]))
        if aside <= _ROUNDING:
            break
        for p in range(size):
            for q in range(p):
                _rotate(left, axes, p, q)
    variances = np.empty(size)
    for i in range(size):
        variances[i] = left[i, i]
    return variances, axes


@njit(cache=True, nogil=True, error_model="numpy")
def _rotate(left: Floats, axes: Floats, p: int, q: int) -> None:
    """Turn two axes so that nothing is left between them."""
    if left[p, q] == 0.0:
        return
    half = (left[q, q] - left[p, p]) / (2.0 * left[p, q])
    tangent = (1.0 if half >= 0.0 else -1.0) / (abs(half) + math.sqrt(half * half + 1.0))
    cosine = 1.0 / math.sqrt(tangent * tangent + 1.0)
    sine = tangent * cosine
    for i in range(len(left)):
        a, b = left[i, p], left[i, q]
        left[i, p], left[i, q] = cosine * a - sine * b, sine * a + cosine * b
    for i in range(len(left)):
        a, b = left[p, i], left[q, i]
        left[p, i], left[q, i] = cosine * a - sine * b, sine * a + cosine * b
        a, b = axes[i, p], axes[i, q]
        axes[i, p], axes[i, q] = cosine * a - sine * b, sine * a + cosine * b


@njit(cache=True, nogil=True, error_model="numpy")
def pseudo_inverse(jacobian: Floats) -> Floats:
    """Moore and Penrose's inverse (m, n) of a Jacobian (n, m) whose columns may be of very different size.

    By the normal equations of the scaled columns where they are well conditioned, which they nearly always are; else by
    their principal axes, of which those without variance count for nothing.
    """
    n, size = jacobian.shape
    scaled, scale = _scaled(jacobian)
    normal, core = np.zeros((size, size)), np.zeros((size, size))
    for i in range(size):
        for j in range(size):
            for row in range(n):
                normal[i, j] += scaled[row, i] * scaled[row, j]
    factor = factor_of(normal, 0.0)
    least = math.inf
    for i in range(size):
        least = min(least, factor[i, i] ** 2 if factor[i, i] < math.inf else 0.0)
        core[i, i] = 1.0
        solve_with(factor, core[i])
    if not least > _WELL_CONDITIONED:
        core[:] = 0.0
        _invert_axes(normal, core)
    inverse = np.zeros((size, n))
    for i in range(size):
        for row in range(n):
            for j in range(size):
                inverse[i, row] += core[i, j] * scaled[row, j] / scale[i]
    return inverse


@njit(cache=True, nogil=True, error_model="numpy")
def _scaled(jacobian: Floats) -> tuple[Floats, Floats]:
    """Columns divided by their length, and the lengths."""
    scaled, scale = jacobian.copy(), np.empty(jacobian.shape[1])
    for j in range(len(scale)):
        total = 0.0
        for i in range(len(scaled)):
            total += scaled[i, j] ** 2
        scale[j] = max(math.sqrt(total), _LEAST_COLUMN)
        for i in range(len(scaled)):
            scaled[i, j] /= scale[j]
    return scaled, scale


@njit(cache=True, nogil=True, error_model="numpy")
def _invert_axes(normal: Floats, core: Floats) -> None:
    variances, axes = principal_axes(normal)
    greatest = variances.max()
    for m in range(len(normal)):
        if variances[m] > _LEAST_VARIANCE * greatest:
            for i in range(len(normal)):
                for j in range(len(normal)):
                    core[i, j] += axes[i, m] * axes[j, m] / variances[m]
