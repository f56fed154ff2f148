"""The aim's curve laid over a strip, as one lays one sheet of film over another on a light table.

A free fit of five parameters to one strip leaves rise and skew q almost open, and the speed point with them. But the
strip is of a film whose shape is known: the aim may be lifted, moved and stretched at will (low, b, k), while its rise
and q are tied to the aim's by what batches of one product differ in them. The ties enter the least squares as two more
readings, of rise and of q (mixed estimation: Theil and Goldberger, Int. Econ. Rev. 2 (1961) 65; from memory). Where
the readings say more about the shape than the ties, the readings win.

The covariance has three parts: of the readings' own noise; of the error that the shared covariance states, which the
strips of a process run have in common; and of the ties, which the strips of a batch have in common, as the batch has
one shape.

Whether readings and ties agree is an F test, at 1 %, of what tying adds to the sum of squares of the free fit. An error
that all steps share is taken up by whitening: all sums of squares are those of residuals made independent.
"""

import math
from dataclasses import replace
from typing import Final

import numpy as np
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.descent import Problem
from wideroll.sensitometry.fitting import check_shared
from wideroll.sensitometry.model import SHAPE_SPREAD, AimOverlay, CurveFit, Floats
from wideroll.sensitometry.richards import density_of
from wideroll.sensitometry.settling import lay

__all__ = ["overlay_aim"]

_TIED: Final = [1, 4]
_PLACE: Final = 2
_LEAST_Q_COUNTED: Final = 0.15
"""A smaller q is allowed as much as this one: there a curve answers to q itself, not to its logarithm."""
_REJECT_BELOW: Final = 0.01
_LEAST_SD: Final = 0.001
"""Densities are written to thousandths at best: smaller departures say nothing about the shape."""


def overlay_aim(
    fit: CurveFit,
    aim: CurveFit,
    *,
    shared_covariance: Floats | None = None,
    shape_spread: tuple[float, float] = SHAPE_SPREAD,
) -> AimOverlay:
    """The aim laid over the readings that a free fit used, and whether they agree with its shape.

    Args:
        fit: the strip's free fit; its scatter is the noise of the test.
        aim: the aim's fit, taken as exact.
        shared_covariance: covariance (n, n) of an error in the densities beside the readings' own noise; as in
            ``fit_curve``.
        shape_spread: relative standard deviations of rise and of q about the aim's; for a q below 0.15, of 0.15.
            Small ones hold the aim's shape.

    Raises:
        ArgumentError: when the shared covariance hasn't the shape (n, n) or a spread isn't positive.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim, slower = (fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x - place)))) for place in (-1.2, -1.1))
        >>> overlay = overlay_aim(slower, aim)
        >>> np.round(overlay.fit.parameters, 3).tolist(), overlay.same_shape
        ([0.2, 2.0, -1.1, 3.0, 1.0], True)
    """
    if not min(shape_spread) > 0.0:
        raise ArgumentError(
            where="shape_spread", rule="greater than 0", value=shape_spread, mend="Give a small one to hold the shape."
        )
    x, y = fit.log_h[fit.used], fit.density[fit.used]
    whiten = _whitening(fit, shared_covariance)
    known = aim.parameters[_TIED]
    sd = np.array(shape_spread) * np.maximum(np.abs(known), [0.0, _LEAST_Q_COUNTED])
    ties = np.array([known, 1.0 / sd]).T.copy()
    sign = math.copysign(1.0, aim.parameters[3])
    problem = Problem(sign=sign, x=x, y=y, whiten=whiten, ties=ties, first=0)
    curve, squares, free_squares, inverse = lay(problem, aim.parameters, fit.parameters)
    freedom = fit.degrees_of_freedom + len(_TIED)
    scale = squares / freedom
    covariance = scale * (inverse @ inverse.T)
    covariance[_PLACE, _PLACE] += fit.log_h_sd**2
    by_ties = inverse[:, len(x) :]
    residual = density_of(curve, x) - y
    laid = replace(
        fit,
        parameters=curve,
        covariance=covariance,
        residual_sd=math.sqrt(float(residual @ residual) / freedom),
        degrees_of_freedom=freedom,
        run_covariance=_run_covariance(fit, scale, (inverse[:, : len(x)], whiten), shared_covariance),
        batch_covariance=scale * (by_ties @ by_ties.T),
    )
    p_value = _p_value(fit, max(squares - free_squares, 0.0))
    return AimOverlay(fit=laid, p_value=p_value, same_shape=p_value >= _REJECT_BELOW)


def _whitening(fit: CurveFit, shared: Floats | None) -> Floats:
    """Matrix (n, n) that makes the used readings' errors independent and of size 1; weights (1, n) where they are."""
    noise = max(fit.residual_sd, _LEAST_SD) if fit.degrees_of_freedom > 0 else _LEAST_SD
    count = int(fit.used.sum())
    if shared is None:
        return np.full((1, count), 1.0 / noise)
    check_shared(shared, fit.log_h)
    both = shared[np.ix_(fit.used, fit.used)] + noise**2 * np.eye(count)
    whitening: Floats = np.linalg.inv(np.linalg.cholesky(both))
    return whitening


def _run_covariance(
    fit: CurveFit, scale: float, answers: tuple[Floats, Floats], shared: Floats | None
) -> Floats | None:
    """The part (5, 5) of the covariance that strips of a run share; answers (5, n) to whitened readings, and matrix."""
    if shared is None and not fit.log_h_sd:
        return None
    covariance = np.zeros_like(fit.covariance)
    if shared is not None:
        by_readings = answers[0] @ answers[1]
        covariance += scale * (by_readings @ shared[np.ix_(fit.used, fit.used)] @ by_readings.T)
    covariance[_PLACE, _PLACE] += fit.log_h_sd**2
    return covariance


def _p_value(fit: CurveFit, added: float) -> float:
    """How probable it is that tying adds so much to the sum of squares, where the film has the aim's shape."""
    if fit.degrees_of_freedom < 1:
        return 1.0
    return float(special.fdtrc(len(_TIED), fit.degrees_of_freedom, added / len(_TIED)))
