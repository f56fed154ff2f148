"""Dye amounts behind measured densities."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Dye, Floats

__all__ = ["DyeAmounts", "DyeDeviations", "SpectralFit", "dye_amounts", "unmix_densities", "unmix_deviations"]

_DYES: Final = 3
_SINGULAR_CONDITION: Final = 1e6
_POOR_CONDITION: Final = 10.0
"""An error of density may come out ten times as large; dyes of usual films stay below 2 (invented spectra)."""
_WORST_CONDITION: Final = 100.0
"""An error of 0.01, a good densitometer's, may come out as a whole unit of dye: nothing can be said."""
_SURELY_NEGATIVE_SD: Final = 2.0
_MOST_KEPT: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpectralFit:
    """How well the dyes' spectra explain a film's."""

    wavelength_nm: Floats
    """Wavelengths (m,) that were used: those the dyes' spectra reach and, without uncertainties, where light passes."""
    residual_density: Floats
    """Measured minus fitted spectral density (m,); to first order when the transmittance was fitted."""
    residual_sd: float
    degrees_of_freedom: int
    chi_squared: float
    """Of the residuals; NaN when the transmittances came without uncertainties."""
    p_value: float
    """How probable residuals at least as large are when dyes and base are all there is; NaN as above."""
    base_amount: float = 1.0
    base_sd: float = 0.0
    """Of the base's amount; 0 when it was taken as known."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyeAmounts:
    """Amounts (3,) of cyan, magenta and yellow dye, with their covariance (3, 3)."""

    amounts: Floats
    covariance: Floats
    condition: float
    """Of the equations, each dye's column scaled to length 1: the most by which relative errors grow."""
    negative: tuple[Dye, ...]
    """Dyes whose amount came out below 0. It is left as it came out."""
    note: str
    """Empty, or what is wrong with the amounts."""
    fit: SpectralFit | None = None
    """When the amounts come from a spectrum."""

    @property
    def standard_uncertainty(self) -> Floats:
        """Of each amount (3,)."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyeDeviations:
    """Check minus aim in dye amounts: (n, 3) at n exposure levels, cyan, magenta and yellow.

    ``covariance`` (3n, 3n) is that of the amounts level by level, cyan, magenta and yellow within each.
    """

    amounts: Floats
    covariance: Floats


def dye_amounts(density: ArrayLike, matrix: ArrayLike) -> Floats:
    """Amounts (..., 3) of cyan, magenta and yellow dye behind integral densities (..., 3) red, green, blue.

    Integral densities mix the dyes' unwanted absorptions: D = M·a, so a = M⁻¹·D (textbooks; holds approximately for
    broad-band densities). Densities are above the support and mask; an amount of 1 is what the matrix is stated for.
    ``unmix_densities`` gives one film's amounts with their uncertainty.

    Args:
        density: red, green and blue densities on the last axis.
        matrix: (3, 3), columns the red, green and blue density of a unit of cyan, magenta and yellow.

    Raises:
        ArgumentError: when a shape is wrong, a value isn't finite or the matrix can't be inverted reliably.

    Example:
        >>> matrix = [[1.0, 0.1, 0.0], [0.1, 1.0, 0.1], [0.0, 0.2, 1.0]]
        >>> np.round(dye_amounts([1.1, 1.2, 1.2], matrix), 9).tolist()
        [1.0, 1.0, 1.0]
    """
    d, m = np.asarray(density, dtype=np.float64), np.asarray(matrix, dtype=np.float64)
    if d.ndim < 1 or d.shape[-1] != _DYES:
        raise ArgumentError(
            where="density", rule="three densities on the last axis", value=d.shape, mend="Give red, green, blue."
        )
    _check_matrix(m, _SINGULAR_CONDITION, float(np.linalg.cond(m)) if np.isfinite(m).all() else math.inf)
    return np.linalg.solve(m, d[..., np.newaxis])[..., 0].astype(np.float64, copy=False)


def unmix_densities(
    density: ArrayLike, matrix: ArrayLike, covariance: ArrayLike, *, matrix_uncertainty: ArrayLike | None = None
) -> DyeAmounts:
    """Dye amounts behind one film's densities (3,) red, green, blue, with all that is known of their uncertainty.

    a = M⁻¹·D and cov a = M⁻¹·(cov D + S)·M⁻ᵀ, where S = diag(Σⱼ aⱼ²·u²(Mᵢⱼ)) for independent errors of the matrix (JCGM
    100, first order). Amounts aren't clipped at 0: a negative one is flagged.

    Args:
        density: above the support and mask.
        matrix: (3, 3), columns the red, green and blue density of a unit of cyan, magenta and yellow.
        covariance: (3, 3) of the densities.
        matrix_uncertainty: (3, 3) standard uncertainties of the matrix; without them it is taken as known.

    Raises:
        ArgumentError: when a shape is wrong, a value isn't finite, the covariance isn't one, or the matrix's condition
            number, its columns scaled to length 1, exceeds 100.

    Example:
        >>> matrix = [[1.0, 0.1, 0.0], [0.1, 1.0, 0.1], [0.0, 0.2, 1.0]]
        >>> found = unmix_densities([1.1, 1.2, 1.2], matrix, 1e-4 * np.eye(3))
        >>> found.amounts.round(9).tolist(), found.standard_uncertainty.round(4).tolist()
        ([1.0, 1.0, 1.0], [0.0102, 0.0104, 0.0104])
    """
    d = _values("density", density, (_DYES,))
    m, condition = _scaled_matrix(matrix)
    spread, _ = covariance_matrix("covariance", covariance, _DYES)
    amounts = np.asarray(np.linalg.solve(m, d), dtype=np.float64)
    if matrix_uncertainty is not None:
        spread = spread + _matrix_part(amounts[np.newaxis], matrix_uncertainty)
    inverse = np.linalg.inv(m)
    return judged_amounts(amounts, inverse @ spread @ inverse.T, condition)


def unmix_deviations(
    density: ArrayLike, matrix: ArrayLike, covariance: ArrayLike, *, matrix_uncertainty: ArrayLike | None = None
) -> DyeDeviations:
    """Deviations (n, 3) of red, green and blue density at n exposure levels, as deviations of dye amounts.

    As ``unmix_densities``, for all levels at once; an error of the matrix is the same at each of them.

    Args:
        density: check minus aim (n, 3).
        matrix: (3, 3), columns the red, green and blue density of a unit of cyan, magenta and yellow.
        covariance: of the deviations, (n, 3, 3) when levels don't share errors, else (3n, 3n), level by level.
        matrix_uncertainty: (3, 3) standard uncertainties of the matrix.

    Raises:
        ArgumentError: as ``unmix_densities``.

    Example:
        >>> found = unmix_deviations([[0.1, 0.01, 0.0]], [[1.0, 0, 0], [0.1, 1.0, 0], [0, 0, 1.0]], [1e-4 * np.eye(3)])
        >>> np.abs(found.amounts.round(9)).tolist()
        [[0.1, 0.0, 0.0]]
    """
    d = np.asarray(density, dtype=np.float64)
    if d.ndim != 2 or len(d) == 0:  # noqa: PLR2004 (levels and records)
        raise ArgumentError(
            where="density", rule="(n, 3), at least one level", value=d.shape, mend="Give red, green, blue by level."
        )
    d = _values("density", d, (len(d), _DYES))
    m, _ = _scaled_matrix(matrix)
    spread, _ = covariance_matrix("covariance", _by_level(covariance, len(d)), d.size)
    amounts = np.asarray(np.linalg.solve(m, d.T).T, dtype=np.float64)
    if matrix_uncertainty is not None:
        spread = spread + _matrix_part(amounts, matrix_uncertainty)
    inverse = np.linalg.inv(m)
    by_level = spread.reshape(len(d), _DYES, len(d), _DYES).swapaxes(1, 2)
    covariance = (inverse @ by_level @ inverse.T).swapaxes(1, 2).reshape(spread.shape)
    return DyeDeviations(amounts=amounts, covariance=covariance)


def judged_amounts(
    amounts: Floats, covariance: Floats, condition: float, fit: SpectralFit | None = None, notes: Sequence[str] = ()
) -> DyeAmounts:
    """Amounts with what is to be said about their conditioning, their signs and, from outside, their fit."""
    said = list(notes)
    if condition > _POOR_CONDITION:
        said.insert(0, f"the dyes are hardly told apart: condition number {condition:.3g}, over {_POOR_CONDITION:g}")
    negative = tuple(dye for dye, amount in zip(Dye, amounts, strict=True) if amount < 0.0)
    for dye, amount, sd in zip(Dye, amounts, np.sqrt(np.diag(covariance)), strict=True):
        if amount < 0.0:
            surely = amount < -_SURELY_NEGATIVE_SD * sd
            why = "surely: the base, the matrix or the dyes are wrong" if surely else "none, within its uncertainty"
            said.append(f"{dye} amount {amount:.3g} ± {sd:.2g} is negative ({why})")
    return DyeAmounts(
        amounts=amounts, covariance=covariance, condition=condition, negative=negative, note="; ".join(said), fit=fit
    )


def scaled_condition(columns: Floats) -> float:
    """Condition number with each column at length 1, so that the units of dye don't matter; infinite when one is 0.

    Raises:
        ArgumentError: when it exceeds 100.
    """
    length = np.linalg.norm(columns, axis=0)
    condition = float(np.linalg.cond(columns / length)) if (length > 0.0).all() else math.inf
    if not condition <= _WORST_CONDITION:
        raise ArgumentError(
            where="dyes",
            rule=f"can be told apart, with a condition number of at most {_WORST_CONDITION:g}",
            value=condition,
            mend="Measure each dye's own density on separation sections, over all wavelengths.",
        )
    return condition


def covariance_matrix(where: str, given: ArrayLike, size: int) -> tuple[Floats, Floats]:
    """A covariance (size, size), checked to be finite, symmetric and without negative variances, and its variances."""
    covariance = _values(where, given, (size, size))
    scale = float(np.abs(covariance).max())
    symmetric = np.allclose(covariance, covariance.T, rtol=0.0, atol=1e-9 * scale)
    variances = np.asarray(np.linalg.eigvalsh(covariance), dtype=np.float64)
    if not symmetric or variances[0] < -1e-9 * scale:
        raise ArgumentError(
            where=where, rule="symmetric, with no negative variance", value=covariance.tolist(), mend="Give variances."
        )
    return covariance, variances


def _by_level(covariance: ArrayLike, levels: int) -> Floats:
    """A block for each level, or the whole as it is."""
    given = np.asarray(covariance, dtype=np.float64)
    if given.shape != (levels, _DYES, _DYES):
        return given
    whole = np.zeros((levels, _DYES, levels, _DYES))
    whole[np.arange(levels), :, np.arange(levels), :] = given
    return whole.reshape(levels * _DYES, levels * _DYES)


def _matrix_part(amounts: Floats, matrix_uncertainty: ArrayLike) -> Floats:
    """Covariance (3n, 3n) of densities that errors of the matrix stand for, at amounts (n, 3)."""
    u = _values("matrix_uncertainty", matrix_uncertainty, (_DYES, _DYES))
    shared = np.einsum("lj,mj,ij->lmi", amounts, amounts, u**2)
    levels = len(amounts)
    part = np.zeros((levels, _DYES, levels, _DYES))
    channel = np.arange(_DYES)
    part[:, channel, :, channel] = np.moveaxis(shared, 2, 0)
    return part.reshape(levels * _DYES, levels * _DYES)


def _scaled_matrix(matrix: ArrayLike) -> tuple[Floats, float]:
    m = np.asarray(matrix, dtype=np.float64)
    _check_matrix(m, math.inf, 0.0)
    return m, _condition_of(m.tobytes())


@lru_cache(maxsize=_MOST_KEPT)
def _condition_of(matrix: bytes) -> float:
    # one film's dyes come with every strip of it
    return scaled_condition(np.frombuffer(matrix).reshape(_DYES, _DYES))


def _check_matrix(matrix: Floats, worst: float, condition: float) -> None:
    if matrix.shape != (_DYES, _DYES) or not np.isfinite(matrix).all() or condition > worst:
        raise ArgumentError(
            where="matrix",
            rule="3 × 3, finite and invertible",
            value=matrix.tolist(),
            mend="Give each dye's own densities, measured on separation sections.",
        )


def _values(where: str, given: ArrayLike, shape: tuple[int, ...]) -> Floats:
    values = np.asarray(given, dtype=np.float64)
    if values.shape != shape or not np.isfinite(values).all():
        raise ArgumentError(
            where=where, rule=f"finite, {shape}", value=values.tolist(), mend="Give red, green and blue in this order."
        )
    return values
