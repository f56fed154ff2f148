"""Reading a fitted curve: density, log H and slope, and the band the curve lies in."""

import numpy as np
from numpy.typing import ArrayLike

from wideroll.sensitometry.intervals import half_width
from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.richards import density_of, gradient_of, jacobian_of, log_h_of

__all__ = ["density_at", "density_band", "gradient_at", "log_h_at"]


def density_at(fit: CurveFit, log_h: ArrayLike) -> Floats:
    """Density of the fitted curve at log H, any shape.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> np.round(density_at(fit, [-1.2]), 4).tolist()
        [1.2]
    """
    return density_of(fit.parameters, np.asarray(log_h, dtype=np.float64))


def log_h_at(fit: CurveFit, density: ArrayLike) -> Floats:
    """Log H at which the curve has the density, any shape; NaN for densities the curve never has.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> np.round(log_h_at(fit, [1.2, 9.0]), 4).tolist()
        [-1.2, nan]
    """
    return log_h_of(fit.parameters, np.asarray(density, dtype=np.float64))


def gradient_at(fit: CurveFit, log_h: ArrayLike) -> Floats:
    """Slope of the curve in density per log H, any shape; negative for reversal film.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> np.round(gradient_at(fit, [-1.2]), 3).tolist()
        [1.5]
    """
    return gradient_of(fit.parameters, np.asarray(log_h, dtype=np.float64))


def density_band(fit: CurveFit, log_h: ArrayLike, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Lower and upper limit of the curve's density at each log H, each of the shape of ``log_h``.

    Pointwise, for the curve (not for a further reading), by the delta method with the analytic Jacobian.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> noise = 0.01 * np.cos(40.0 * x)
        >>> low, high = density_band(fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))) + noise), x)
        >>> bool((low < high).all())
        True
    """
    x = np.asarray(log_h, dtype=np.float64)
    jacobian = jacobian_of(fit.parameters, x)
    error = np.sqrt(np.maximum(np.einsum("...j,jk,...k->...", jacobian, fit.covariance, jacobian), 0.0))
    middle, half = density_of(fit.parameters, x), half_width(error, fit.degrees_of_freedom, confidence)
    return middle - half, middle + half
