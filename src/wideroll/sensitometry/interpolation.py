"""From the wavelengths at which something was measured to those at which it is needed.

What is interpolated is a sum of the measured values, so it comes as a matrix: uncertainties go through it exactly.
"""

from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from wideroll.sensitometry.model import Floats

__all__ = ["LEAST_READINGS", "interpolation_matrix"]

LEAST_READINGS: Final = 6
"""Sprague's polynomial of the fifth order needs six."""

_SAME_NM: Final = 1e-6
_POLYNOMIAL: Final = (
    np.array(
        [
            [0, 0, 24, 0, 0, 0],
            [2, -16, 0, 16, -2, 0],
            [-1, 16, -30, 16, -1, 0],
            [-9, 39, -70, 66, -33, 7],
            [13, -64, 126, -124, 61, -12],
            [-5, 25, -50, 50, -25, 5],
        ]
    )
    / 24.0
)
"""Coefficients of powers 0 to 5 of the way from reading 0 to 1, by readings −2 to 3."""
_OUTSIDE: Final = np.array([[884, -1960, 3033, -2648, 1080, -180], [508, -540, 488, -367, 144, -24]]) / 209.0
"""The two readings supposed before the first, by the first six; mirrored after the last."""


def interpolation_matrix(measured_nm: Floats, wanted_nm: Floats) -> Floats:
    """Matrix (m, n) that takes readings at (n,) wavelengths to (m,) others within their range.

    Evenly spaced readings: Sprague's polynomial, as CIE 167:2005 recommends (coefficients from memory; checked against
    a public colour library). Others: a cubic spline, not-a-knot. A wavelength that was measured keeps its reading.

    Args:
        measured_nm: ascending, at least ``LEAST_READINGS``.
        wanted_nm: none outside the measured range.
    """
    spacing = np.diff(measured_nm)
    if np.ptp(spacing) <= _SAME_NM:
        return _sprague(measured_nm, float(spacing.mean()), wanted_nm)
    matrix: Floats = CubicSpline(measured_nm, np.eye(len(measured_nm)), axis=0)(wanted_nm)
    return matrix


def _sprague(measured_nm: Floats, spacing_nm: float, wanted_nm: Floats) -> Floats:
    count = len(measured_nm)
    extended = np.zeros((count + 4, count))
    extended[2:-2] = np.eye(count)
    extended[:2, :6] = _OUTSIDE
    extended[-2:, -6:] = _OUTSIDE[::-1, ::-1]
    way = (wanted_nm - measured_nm[0]) / spacing_nm
    first = np.clip(np.floor(way + _SAME_NM).astype(np.intp), 0, count - 2)
    powers = np.where(np.abs(way - np.round(way)) < _SAME_NM, np.round(way), way) - first
    weights = np.vander(powers, 6, increasing=True) @ _POLYNOMIAL
    matrix: Floats = np.einsum("mk,mkn->mn", weights, extended[first[:, np.newaxis] + np.arange(6)])
    return matrix
