"""What measured densities of a mark say about the layer it sits in."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.examination.hypotheses import Case
from wideroll.examination.model import DensityChange, Floats
from wideroll.examination.orthants import log_normal_density, log_positive

__all__ = ["DyeMatrix", "density_change", "density_weights", "dye_change", "dye_matrix_of"]

_DYES: Final = 3
_DYE_AMOUNT: Final = 0.3
"""Typical change of a dye's amount, in density where it absorbs most (common practice)."""
_ANYTHING: Final = 0.5
_CROSS_KNOWN: Final = 0.03
_CROSS_UNKNOWN: Final = 0.15
"""Share of the greatest density that unwanted absorptions may add to the others: with a matrix, what is left of them;
without one, what is usual (common practice)."""
_ROUNDING: Final = 0.003
_WORST_CONDITION: Final = 100.0

DyeMatrix = tuple[Floats, float]
"""Red, green and blue density (rows) of a unit of cyan, magenta and yellow (columns), and what it leaves open."""


def density_change(
    density: ArrayLike, standard_uncertainty: Sequence[float] | float, *, covariance: ArrayLike | None = None
) -> DensityChange:
    """Three densities of a mark less its surround's, with standard uncertainties or a whole covariance.

    Args:
        density: in red, green and blue.
        standard_uncertainty: of each, or one for all; left aside when a covariance is given.
        covariance: (3, 3).

    Raises:
        ArgumentError: when there aren't three finite densities, or an uncertainty isn't positive.

    Example:
        >>> density_change([0.2, 0.01, 0.0], 0.02).standard_uncertainty.tolist()
        [0.02, 0.02, 0.02]
    """
    values = np.asarray(density, dtype=np.float64)
    if values.shape != (_DYES,) or not np.isfinite(values).all():
        raise ArgumentError(
            where="density", rule="three finite densities", value=density, mend="Measure red, green and blue."
        )
    if covariance is None:
        sd = np.broadcast_to(np.asarray(standard_uncertainty, dtype=np.float64), (_DYES,))
        matrix = np.diag(sd) ** 2
    else:
        matrix = np.asarray(covariance, dtype=np.float64)
    positive = matrix.shape == (_DYES, _DYES) and np.isfinite(matrix).all() and (np.linalg.eigvalsh(matrix) > 0.0).all()
    if not positive:
        raise ArgumentError(
            where="standard_uncertainty",
            rule="greater than 0 and finite",
            value=standard_uncertainty,
            mend="Say how well the densities repeat; nothing is known exactly.",
        )
    return DensityChange(density=values, covariance=matrix)


def dye_matrix_of(matrix: ArrayLike | None) -> DyeMatrix:
    """The matrix (3, 3) to unmix densities by; without one each dye is taken to absorb in its own third only.

    Raises:
        ArgumentError: when it isn't a finite 3 by 3 matrix that tells the dyes apart.
    """
    if matrix is None:
        return np.eye(_DYES), _CROSS_UNKNOWN
    given = np.asarray(matrix, dtype=np.float64)
    if given.shape != (_DYES, _DYES) or not np.isfinite(given).all() or not _tells_apart(given):
        raise ArgumentError(
            where="dye_matrix",
            rule="3 by 3 densities (rows red, green, blue) that tell cyan, magenta and yellow apart",
            value=np.shape(given),
            mend="Measure a unit of each dye on the separation sections.",
        )
    return given, _CROSS_KNOWN


def _tells_apart(matrix: Floats) -> bool:
    lengths = np.linalg.norm(matrix, axis=0)
    return bool((lengths > 0.0).all() and np.linalg.cond(matrix / np.where(lengths > 0, lengths, 1)) < _WORST_CONDITION)


def dye_change(change: DensityChange, matrix: DyeMatrix) -> tuple[Floats, Floats]:
    """Amounts (3,) of cyan, magenta and yellow more than in the surround, and their covariance (3, 3).

    D = M·a, so a = M⁻¹·D.
    """
    back = np.linalg.inv(matrix[0])
    amounts: Floats = back @ change.density
    covariance: Floats = back @ _noise(change, matrix[1]) @ back.T
    return amounts, covariance


def density_weights(cases: Sequence[Case], change: DensityChange, matrix: DyeMatrix, *, astray: float) -> Floats:
    """Likelihood of the densities in each case (n,), up to one factor for all.

    D = M·a + e. The amounts of the dyes that change are all positive or all negative, each half of a normal
    distribution with standard deviation 0.3; something opaque adds the same to all three, half of a normal
    distribution with standard deviation 1. The error e has the densities' covariance and 3 % of the greatest density,
    15 % without a matrix. In a share ``astray`` of cases something else was measured.
    """
    noise = _noise(change, matrix[1])
    # cases that differ in their sections only have the same densities
    kept: dict[tuple[object, ...], float] = {}
    for case in cases:
        if _kind(case) not in kept:
            kept[_kind(case)] = _log_likelihood(case, change.density, noise, matrix[0])
    logs = np.array([kept[_kind(case)] for case in cases])
    elsewhere = log_normal_density(change.density, noise + _ANYTHING**2 * np.eye(_DYES))
    top = max(float(logs.max()), elsewhere)
    weights: Floats = (1.0 - astray) * np.exp(logs - top) + astray * math.exp(elsewhere - top)
    return weights


def _kind(case: Case) -> tuple[object, ...]:
    return case.dyes, case.sign < 0, case.neutral, case.either_way


def _noise(change: DensityChange, cross: float) -> Floats:
    greatest = float(np.abs(change.density).max())
    noise: Floats = change.covariance + ((cross * greatest) ** 2 + _ROUNDING**2) * np.eye(_DYES)
    return noise


def _log_likelihood(case: Case, density: Floats, noise: Floats, matrix: Floats) -> float:
    columns = matrix[:, list(case.dyes)] if case.dyes else np.ones((_DYES, 1))
    scale = _DYE_AMOUNT if case.dyes else case.neutral
    free = log_normal_density(density, noise + scale**2 * columns @ columns.T)
    if case.either_way:
        return free
    sign = -1.0 if case.sign < 0 else 1.0
    inverse = np.linalg.inv(noise)
    count = len(columns.T)
    precision = columns.T @ inverse @ columns + np.eye(count) / scale**2
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = sign * (covariance @ (columns.T @ (inverse @ density)))
    return free + log_positive(mean, covariance) + count * math.log(2.0)
