"""What surrounds the mark in a photograph: a plane of density, and how uneven it is."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from wideroll.examination.model import Floats

__all__ = ["Surround", "find_surround", "noise_of_means"]

Mask = NDArray[np.bool_]

_ROUNDS: Final = 8
_WITHIN: Final = 3.5
_SAMPLE: Final = 40_000
_SD_OF_MAD: Final = 1.4826
_LEAST_SD: Final = 0.0005
_LEAST_PATCHES: Final = 12
_LEAST_SIDE: Final = 3
_FEW: Final = 6.0
_ALIKE: Final = 1.5
"""Neighbouring patches are alike, so that a mean over several is worse than theirs, if they were independent."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surround:
    """The surround of what stands out in densities ``[row, column, colour]``."""

    residual: Floats
    """Density less the plane's."""
    smooth: Floats
    """The same, each pixel averaged with its neighbours."""
    covariance: Floats
    """Of ``smooth`` where nothing stands out (3, 3)."""
    strength: Floats
    """How far a pixel of ``smooth`` stands out, in standard deviations."""
    clear: Mask
    """Where nothing stands out."""


def find_surround(density: Floats, *, side: int = 3) -> Surround:
    """The plane that most of the photograph lies in; what departs from it is left out, again and again.

    Args:
        density: ``[row, column, colour]``.
        side: pixels of the square over which each pixel is averaged.

    Example:
        >>> flat = np.random.default_rng(1).normal(0.3, 0.01, (50, 60, 3))
        >>> bool(find_surround(flat).clear.mean() > 0.98)
        True
    """
    rows, columns = density.shape[:2]
    every = max(1, math.isqrt(rows * columns // _SAMPLE))
    row, column = np.mgrid[0:rows:every, 0:columns:every]
    base = np.column_stack([np.ones(row.size), row.ravel() / rows, column.ravel() / columns])
    averaged = ndimage.uniform_filter(density, size=(side, side, 1), mode="nearest")
    sample = averaged[::every, ::every].reshape(-1, density.shape[2])
    plane = np.zeros((3, density.shape[2]))
    plane[0] = np.median(sample, axis=0)
    for _ in range(_ROUNDS):
        left = sample - base @ plane
        sd = np.maximum(_SD_OF_MAD * np.median(np.abs(left - np.median(left, axis=0)), axis=0), _LEAST_SD)
        keep = (np.abs(left - np.median(left, axis=0)) < _WITHIN * sd).all(axis=1)
        plane = np.linalg.lstsq(base[keep], sample[keep], rcond=None)[0]
    tilt = plane[1] * np.arange(rows)[:, None, None] / rows + plane[2] * np.arange(columns)[None, :, None] / columns
    residual, smooth = density - plane[0] - tilt, averaged - plane[0] - tilt
    covariance = _robust_covariance(smooth[::every, ::every].reshape(-1, smooth.shape[2]))
    scaled = np.linalg.solve(np.linalg.cholesky(covariance), smooth.reshape(-1, smooth.shape[2]).T)
    strength: Floats = np.sqrt((scaled**2).sum(axis=0)).reshape(rows, columns)
    return Surround(
        residual=residual, smooth=smooth, covariance=covariance, strength=strength, clear=strength < _WITHIN + 0.5
    )


def _robust_covariance(values: Floats) -> Floats:
    """Of the middle of the values (n, 3), those that no colour sets apart."""
    middle = np.median(values, axis=0)
    sd = np.maximum(_SD_OF_MAD * np.median(np.abs(values - middle), axis=0), _LEAST_SD)
    keep = (np.abs(values - middle) < _WITHIN * sd).all(axis=1)
    covariance: Floats = np.cov(values[keep].T) + _LEAST_SD**2 * np.eye(values.shape[1])
    return covariance


def noise_of_means(residual: Floats, clear: Mask, pixels: int) -> Floats | None:
    """Covariance (3, 3) of the mean over a patch of that many pixels of the surround; None where too little is left.

    Patches as large as the mark, or, where fewer than 12 of them find room, smaller ones, taken to be independent.

    Args:
        residual: ``[row, column, colour]``.
        clear: where the surround is.
        pixels: of the mark.
    """
    side = max(_LEAST_SIDE, math.isqrt(pixels))
    while side >= _LEAST_SIDE:
        whole = ndimage.uniform_filter(clear.astype(np.float64), side, mode="constant") > 1.0 - 1e-9
        if whole.sum() >= _LEAST_PATCHES * side**2 / 2.0:
            means = ndimage.uniform_filter(residual, size=(side, side, 1), mode="nearest")[whole]
            # the plane took some of the scatter, and few patches tell it badly
            few = 1.0 + _FEW * side**2 / float(clear.sum())
            scatter: Floats = np.cov(means.T) * (few * min(1.0, _ALIKE * side**2 / pixels))
            return scatter
        side = side * 2 // 3
    return None
