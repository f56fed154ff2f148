"""The Richards curve: D(x) = low + rise · S(k·(x − place)), S(z) = (1 + q·exp(−z))^(−1/q), x = log H.

Source: F. J. Richards, J. Exp. Bot. 10 (1959) 290. The last axis of ``parameters`` is (low, rise, place, k, q); all
functions broadcast over the axes before it, so that many curves, or one curve with its parameters moved, are evaluated
at once. ``place`` is where the slope is greatest. k has the sign of the slope: a reversal film's is negative.

q is the skew: 1 is the logistic curve; at 0 lies Gompertz's, exp(−exp(−z)), through which the family runs smoothly on
to negative q, where the toe ends at a place of its own instead of creeping up for ever. A border at 0 would cut off the
likelihood of films whose toe is near that form, and their intervals with it. In the form of NIST's StRD problem Rat43,
(1 + exp(b − k·x))^(−1/q), b is ln q + k·place.
"""

import math
from collections.abc import Callable
from typing import Any, Final

from numba import float64, guvectorize, njit

from wideroll.compiled import one_at_a_time
from wideroll.sensitometry.model import Floats

__all__ = [
    "LEAST_Q",
    "density_of",
    "density_on",
    "gradient_of",
    "gradient_on",
    "inflection_of",
    "jacobian_of",
    "log_h_of",
    "log_h_on",
    "share_and_slopes",
    "slope_place_on",
    "slopes_on",
]

LEAST_Q: Final = -0.5
"""There the toe ends like a parabola; beyond it the curve would begin with ever sharper a corner."""
_NEAR_GOMPERTZ: Final = 1e-9
_STRAIGHT: Final = 1e-3
_MOST_EXPONENT: Final = 300.0
_START_BEFORE: Final = -6.0
_START_AFTER: Final = 30.0
_NEXT_TO_END: Final = 1e-3
_MOST_STEPS: Final = 60
_CLOSE: Final = 1e-12


@njit(cache=True, nogil=True, error_model="numpy")
def density_on(p: Floats, x: float) -> float:
    """Density of the curve with parameters (5,) at log H."""
    return p[0] + p[1] * share_and_slopes(p[3] * (x - p[2]), p[4])[0] if math.isfinite(x) else math.nan


@njit(cache=True, nogil=True, error_model="numpy")
def gradient_on(p: Floats, x: float) -> float:
    """Slope of the curve with parameters (5,) at log H."""
    return p[1] * p[3] * share_and_slopes(p[3] * (x - p[2]), p[4])[1] if math.isfinite(x) else math.nan


@njit(cache=True, nogil=True, error_model="numpy")
def log_h_on(p: Floats, above: float) -> float:
    """Log H where the curve with parameters (5,) lies so far above its minimum; NaN where it never does."""
    share = above / p[1]
    if not 0.0 < share < 1.0:
        return math.nan
    rest = -math.log(share)
    t = p[4] * rest
    if abs(p[4]) < _NEAR_GOMPERTZ:
        logarithm = math.log(rest)
    elif t > 1.0:  # a toe so far out that exp t may overflow
        logarithm = t + math.log1p(-math.exp(-t)) - math.log(p[4])
    else:
        logarithm = math.log(math.expm1(t) / p[4])
    return float(p[2] - logarithm / p[3])


@njit(cache=True, nogil=True, error_model="numpy")
def slopes_on(p: Floats, x: float, slopes: Floats) -> None:
    """Write the derivatives (5,) of density at log H by the parameters; NaN where log H isn't finite."""
    if not math.isfinite(x):
        slopes[:] = math.nan
        return
    off = x - p[2]
    share, by_z, by_q = share_and_slopes(p[3] * off, p[4])
    slopes[0] = 1.0
    slopes[1] = share
    slopes[2] = -p[1] * by_z * p[3]
    slopes[3] = p[1] * by_z * off
    slopes[4] = p[1] * by_q


@njit(cache=True, nogil=True, error_model="numpy")
def slope_place_on(p: Floats, share: float, side: float) -> float:
    """Log H beside the steepest place (side −1 or 1 along log H) where the slope has fallen to a share of its greatest.

    Where the toe ends before that, the end of the toe.
    """
    q = p[4]
    way = side if p[3] > 0.0 else -side
    # the logarithm of the slope is concave in z, so Newton's steps from outside the range run straight in
    top = -math.log1p(q) * (1.0 + 1.0 / q) if abs(q) > _NEAR_GOMPERTZ else -1.0
    least = math.log(share) + top
    end = math.log(-q) if q < 0.0 else -math.inf
    z = _START_AFTER if way > 0.0 else max(_START_BEFORE, end + _NEXT_TO_END)
    for _ in range(_MOST_STEPS):
        e = math.exp(min(-z, _MOST_EXPONENT))
        one = 1.0 + q * e
        spread = math.log(one) / q if abs(q) > _NEAR_GOMPERTZ else e
        left = -spread - z - math.log(one) - least
        step = left * one / (e - 1.0)
        z -= step
        if z <= end:
            return float(p[2] + end / p[3])
        if abs(step) < _CLOSE:
            break
    return float(p[2] + z / p[3])


@njit(cache=True, nogil=True, error_model="numpy")
def share_and_slopes(z: float, q: float) -> tuple[float, float, float]:
    """S, dS/dz and dS/dq."""
    e = math.exp(min(-z, _MOST_EXPONENT))
    v = q * e
    if v <= -1.0:
        return 0.0, 0.0, 0.0
    share = math.exp(-e) if abs(q) < _NEAR_GOMPERTZ else math.exp(-math.log1p(v) / q)
    if share == 0.0:
        return 0.0, 0.0, 0.0
    by_z = share * e / (1.0 + v)
    # its two terms nearly cancel where v is small; then their series
    curl = (
        e * e * (0.5 - 2.0 * v / 3.0 + 0.75 * v * v) if abs(v) < _STRAIGHT else math.log1p(v) / q**2 - e / q / (1 + v)
    )
    return share, by_z, share * curl


def density_of(parameters: Floats, log_h: Floats) -> Floats:
    """Density at log H, both of the shape before the last axis of ``parameters``."""
    density: Floats = _density.ufunc(parameters, log_h)
    return density


def gradient_of(parameters: Floats, log_h: Floats) -> Floats:
    """Slope dD/d(log H), with its sign."""
    gradient: Floats = _gradient.ufunc(parameters, log_h)
    return gradient


def log_h_of(parameters: Floats, density: Floats) -> Floats:
    """Log H at which the curve has the density; NaN where it never does."""
    log_h: Floats = _log_h.ufunc(parameters, density)
    return log_h


def inflection_of(parameters: Floats) -> Floats:
    """Log H of the greatest slope."""
    return parameters[..., 2]


def jacobian_of(parameters: Floats, log_h: Floats) -> Floats:
    """Derivatives of density by (low, rise, place, k, q), shape of ``log_h`` with a last axis of 5."""
    jacobian: Floats = _jacobian.ufunc(parameters, log_h)
    return jacobian


_general: Callable[..., Any] = guvectorize


def _compiled(*types: Any, **how: Any) -> Callable[[Any], Any]:
    return one_at_a_time(_general(*types, **how))


_TO_EACH: Final = [(float64[:], float64, float64[:])]


@_compiled(_TO_EACH, "(n),()->()", cache=True, nopython=True)
def _density(p, x, out):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202 (compiled: no types in the signature)
    out[0] = density_on(p, x)


@_compiled(_TO_EACH, "(n),()->()", cache=True, nopython=True)
def _gradient(p, x, out):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    out[0] = gradient_on(p, x)


@_compiled([(float64[:], float64, float64[:])], "(n),()->(n)", cache=True, nopython=True)
def _jacobian(p, x, out):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    slopes_on(p, x, out)


@_compiled(_TO_EACH, "(n),()->()", cache=True, nopython=True)
def _log_h(p, density, out):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    out[0] = log_h_on(p, density - p[0])
