"""Dye amounts behind measured densities."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats

__all__ = ["dye_amounts"]

_DYES: Final = 3
_WORST_CONDITION: Final = 1e6


def dye_amounts(density: ArrayLike, matrix: ArrayLike) -> Floats:
    """Amounts (..., 3) of cyan, magenta and yellow dye behind integral densities (..., 3) red, green, blue.

    Integral densities mix the dyes' unwanted absorptions: D = M·a, so a = M⁻¹·D (textbooks; holds approximately for
    broad-band densities). Densities are above the support and mask; an amount of 1 is what the matrix is stated for.

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
    if m.shape != (_DYES, _DYES) or not np.isfinite(m).all() or np.linalg.cond(m) > _WORST_CONDITION:
        raise ArgumentError(
            where="matrix",
            rule="3 × 3, finite and invertible",
            value=m.tolist(),
            mend="Give each dye's own densities, measured on separation sections.",
        )
    return np.linalg.solve(m, d[..., np.newaxis])[..., 0].astype(np.float64, copy=False)
