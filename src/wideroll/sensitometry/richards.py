"""The Richards curve: D(x) = low + rise / (1 + exp(b − k·x))^(1/q), x = log H.

Source: F. J. Richards, J. Exp. Bot. 10 (1959) 290, in the form of the NIST StRD problem Rat43. The last axis of
``parameters`` is (low, rise, b, k, q); all functions broadcast over the axes before it, so that many curves, or one
curve with its parameters moved, are evaluated at once. k has the sign of the slope: a reversal film's is negative.
"""

import numpy as np
from scipy.special import expit

from wideroll.sensitometry.model import Floats

__all__ = ["density_of", "gradient_of", "inflection_of", "jacobian_of", "log_h_of"]


def density_of(parameters: Floats, log_h: Floats) -> Floats:
    """Density at log H, both of the shape before the last axis of ``parameters``."""
    low, rise, b, k, q = _parts(parameters)
    density: Floats = low + rise * np.exp(-_softplus(b - k * log_h) / q)
    return density


def gradient_of(parameters: Floats, log_h: Floats) -> Floats:
    """Slope dD/d(log H), with its sign."""
    _, rise, b, k, q = _parts(parameters)
    z = b - k * log_h
    slope: Floats = rise * np.exp(-_softplus(z) / q) * k / q * expit(z)
    return slope


def log_h_of(parameters: Floats, density: Floats) -> Floats:
    """Log H at which the curve has the density; NaN where it never does."""
    low, rise, b, k, q = _parts(parameters)
    share = (density - low) / rise
    inside = (share > 0.0) & (share < 1.0)
    # u = share^(−q) − 1, its logarithm in a form that neither overflows in the toe nor cancels at the shoulder
    t = -q * np.log(np.where(inside, share, 0.5))
    return np.where(inside, (b - t - np.log(-np.expm1(-t))) / k, np.nan)


def inflection_of(parameters: Floats) -> Floats:
    """Log H of the greatest slope, where exp(b − k·x) = q."""
    return (parameters[..., 2] - np.log(parameters[..., 4])) / parameters[..., 3]


def jacobian_of(parameters: Floats, log_h: Floats) -> Floats:
    """Derivatives of density by (low, rise, b, k, q), shape of ``log_h`` with a last axis of 5."""
    _, rise, b, k, q = _parts(parameters)
    z = b - k * log_h
    softplus = _softplus(z)
    share = np.exp(-softplus / q)
    by_b = -rise * share / q * expit(z)
    return np.stack([np.ones_like(z), share, by_b, -log_h * by_b, rise * share * softplus / q**2], axis=-1)


def _softplus(z: Floats) -> Floats:
    """ln(1 + exp z), quiet on NaN where the library's own form warns."""
    value: Floats = np.maximum(z, 0.0) + np.log1p(np.exp(-np.abs(z)))
    return value


def _parts(parameters: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    p = parameters
    return p[..., 0], p[..., 1], p[..., 2], p[..., 3], p[..., 4]
