"""The aim's curve laid over a strip, as one does with two sheets of film on a light table.

The aim is lifted, moved along log H and stretched along it about its speed point: low, b and k are fitted, rise and q
stay the aim's. So few coordinates are known several times better than the five of a free fit, as long as the film has
the aim's shape. That is tested first, at 1 %: the tangents of the curve by rise and q, made orthogonal to those by low,
b and k, say what the readings would still change of the shape, and how much of it their scatter explains (Rao's score
test in its F form; from memory). It agrees with the F test on the two sums of squares where the curve is straight in
its parameters, needs no trust in the free fit's q, and takes up the covariance of an error that all steps share.
"""

from typing import Final

import numpy as np
from scipy import special

from wideroll.sensitometry.fitting import fitted, least_squares
from wideroll.sensitometry.model import AimOverlay, CurveFit, Floats
from wideroll.sensitometry.richards import density_of, jacobian_of
from wideroll.sensitometry.shape import shape_of

__all__ = ["overlay_aim"]

_LOW, _RISE, _B, _K, _Q = range(5)
_FITTED: Final = (_LOW, _B, _K)
_HELD: Final = (_RISE, _Q)
_REJECT_BELOW: Final = 0.01
_LEAST_SD: Final = 0.001
"""Densities are written to thousandths at best: smaller departures say nothing about the shape."""


def overlay_aim(fit: CurveFit, aim: CurveFit, *, shared_covariance: Floats | None = None) -> AimOverlay:
    """The aim laid over the readings that a free fit used, and whether they let its shape stand.

    Args:
        fit: the strip's free fit, of at least six readings; its scatter is the noise of the test.
        aim: the aim's fit.
        shared_covariance: covariance (n, n) of an error in the densities beside the readings' own noise; as in
            ``fit_curve``.

    Raises:
        ArgumentError: when the shared covariance hasn't the shape (n, n).

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim, slower = (fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x - place)))) for place in (-1.2, -1.1))
        >>> overlay = overlay_aim(slower, aim)
        >>> np.round(overlay.fit.parameters, 3).tolist(), overlay.same_shape
        ([0.2, 2.0, -3.3, 3.0, 1.0], True)
    """
    x, y = fit.log_h[fit.used], fit.density[fit.used]
    shape = least_squares(x, y, shape_of(aim.parameters, free=_FITTED))
    laid = fitted(shape, fit.log_h, fit.density, fit.used, shared=shared_covariance, faulty_steps=fit.faulty_steps)
    p_value = _p_value(laid, fit, shared_covariance)
    return AimOverlay(fit=laid, p_value=p_value, same_shape=p_value >= _REJECT_BELOW)


def _p_value(laid: CurveFit, fit: CurveFit, shared: Floats | None) -> float:
    if fit.degrees_of_freedom < 1:
        return 1.0
    x, y = fit.log_h[fit.used], fit.density[fit.used]
    tangents = jacobian_of(laid.parameters, x)[:, [*_FITTED, *_HELD]]
    across = np.linalg.qr(tangents)[0][:, len(_FITTED) :]
    seen = across.T @ (y - density_of(laid.parameters, x))
    expected = max(fit.residual_sd, _LEAST_SD) ** 2 * np.eye(len(_HELD))
    if shared is not None:
        expected += across.T @ shared[np.ix_(fit.used, fit.used)] @ across
    ratio = float(seen @ np.linalg.solve(expected, seen)) / len(_HELD)
    return float(special.fdtrc(len(_HELD), fit.degrees_of_freedom, ratio))
