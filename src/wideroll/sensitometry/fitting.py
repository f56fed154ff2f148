"""Fitting a Richards curve to one record's readings.

Plain least squares with equal weights, after readings that lie off the curve all others agree on have been set aside.
Those are found in two steps, so that a clean strip is fitted by nothing but least squares: a fit with Cauchy's loss,
which a few wild readings can't pull, names the suspects (beyond 5 robust standard deviations); a suspect is set aside
only if the fit to the others also rules it out by its prediction interval at a false-alarm rate of 0.1 % a strip.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.descent import (
    NO_TIES,
    Problem,
    descend,
    greatest_studentised,
    median_sd,
    pseudo_inverse,
    robust_residual,
)
from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.richards import density_of, jacobian_of
from wideroll.sensitometry.shape import inner_of, natural_of, starting_shapes

__all__ = ["LEAST_STEPS", "check_shared", "fit_curve"]

Flags = NDArray[np.bool_]

LEAST_STEPS: Final = 5
_SUSPECT_SD: Final = 5.0
_LOOK_CLOSER_SD: Final = 3.5
_LEAST_SD: Final = 0.004
"""Repeatability of a good densitometer (common practice): smaller departures are never a fault of the step."""
_FALSE_ALARM: Final = 0.001
_MOST_FAULTY_SHARE: Final = 0.25
_TOLERANCE: Final = 1e-12
_EDGE: Final = -5.0
"""Logarithm of q less its least value, beyond which q counts as lying on its border."""
_PARAMETERS: Final = 5
_PLACE: Final = 2


def fit_curve(
    log_h: ArrayLike,
    density: ArrayLike,
    *,
    low: float | None = None,
    clip_density: float | None = None,
    shared_covariance: Floats | None = None,
    log_h_sd: float = 0.0,
    set_aside: bool = True,
) -> CurveFit:
    """Fit D(x) = low + rise / (1 + q·exp(−k·(x − place)))^(1/q) by least squares; rising or falling is seen.

    Readings that are NaN, at or above the densitometer's limit, or faulty are not used; see ``used`` and
    ``faulty_steps`` of the result. Certified values of NIST StRD Rat43 are met to 7 digits.

    Args:
        log_h: log10 of exposure in lx·s (n,), ascending.
        density: readings (n,), NaN where a step wasn't read.
        low: holds the lower asymptote at this density instead of fitting it.
        clip_density: greatest density the instrument can read; readings there are clipped.
        shared_covariance: covariance (n, n) of an error in the densities beside the readings' own noise, such as that
            of a process correction; it widens the parameters' covariance.
        log_h_sd: standard uncertainty of the level of log H, which all steps share; it widens that of the place.
        set_aside: whether faulty readings may be set aside.

    Raises:
        ArgumentError: when shapes differ, log H isn't ascending, a density is infinite, fewer than five readings are
            usable, or all are equal.

    Example:
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> np.round(fit.parameters, 3).tolist()
        [0.2, 2.0, -1.2, 3.0, 1.0]
    """
    x, y = _readings(log_h, density)
    if shared_covariance is not None:
        check_shared(shared_covariance, x)
    read = ~np.isnan(y) if clip_density is None else y < clip_density
    _check_enough(y[read])
    curve = _best(x[read], y[read], low)
    used = read.copy()
    faulty = _faulty(x[read], y[read], curve, low) if set_aside else None
    if faulty is not None:
        used[read] = ~faulty
        curve = _best(x[used], y[used], low)
    residual = y[used] - density_of(curve, x[used])
    freedom = len(residual) - _free(low)
    variance = float(residual @ residual) / freedom if freedom > 0 else np.nan
    inverse = _inverse(curve, x[used], low)
    return CurveFit(
        parameters=curve,
        covariance=_covariance(inverse, used, variance, shared_covariance, log_h_sd),
        log_h=x,
        density=y,
        used=used,
        residual_sd=float(np.sqrt(variance)),
        degrees_of_freedom=freedom,
        faulty_steps=tuple(int(step) for step in np.flatnonzero(read & ~used)),
        log_h_sd=log_h_sd,
    )


def _readings(log_h: ArrayLike, density: ArrayLike) -> tuple[Floats, Floats]:
    x, y = np.array(log_h, dtype=np.float64), np.array(density, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape:
        raise ArgumentError(
            where="density",
            rule=f"one density for each log H, {x.shape}",
            value=y.shape,
            mend="Give both as (n,), with NaN where a step wasn't read.",
        )
    if not np.isfinite(x).all() or (np.diff(x) <= 0.0).any():
        raise ArgumentError(
            where="log_h",
            rule="finite and each greater than the last",
            value=x.tolist(),
            mend="Sort the steps by exposure; give each once.",
        )
    if np.isinf(y).any():
        raise ArgumentError(
            where="density", rule="finite, or NaN", value=y.tolist(), mend="Put NaN for what isn't read."
        )
    return x, y


def _check_enough(usable: Floats) -> None:
    if len(usable) < LEAST_STEPS:
        raise ArgumentError(
            where="density",
            rule=f"at least {LEAST_STEPS} usable readings",
            value=len(usable),
            mend="Read more steps of the strip.",
        )
    if usable.max() == usable.min():
        raise ArgumentError(
            where="density",
            rule="not all equal",
            value=float(usable[0]),
            mend="Check that the strip was exposed and that the right record was read.",
        )


def _best(x: Floats, y: Floats, low: float | None) -> Floats:
    """(low, rise, place, k, q) of plain least squares from the best start.

    Once more from further inside if that ended on a border, where least squares may be stuck: the slope there is nil.
    """
    start, inside, sign = starting_shapes(x, y, low)
    problem = _problem(sign, x, y, low)
    theta, squares = descend(problem, start, _TOLERANCE)
    if theta[-1] < _EDGE:
        other, fewer = descend(problem, inside, _TOLERANCE)
        theta = other if fewer < squares else theta
    natural: Floats = natural_of(theta, sign)
    return natural


def _problem(sign: float, x: Floats, y: Floats, low: float | None) -> Problem:
    return Problem(sign=sign, x=x, y=y, whiten=np.ones((1, len(x))), ties=NO_TIES, first=_PARAMETERS - _free(low))


def _faulty(x: Floats, y: Floats, curve: Floats, low: float | None) -> Flags | None:
    """Which of the readings lie off the curve the others agree on; None when none does."""
    free = _free(low)
    residual = y - density_of(curve, x)
    scale = median_sd(residual, free, _LEAST_SD)
    farthest = greatest_studentised(residual, jacobian_of(curve, x), _inverse(curve, x, low))
    if len(x) <= free + 1 or farthest <= _LOOK_CLOSER_SD * scale:
        return None
    theta, sign = inner_of(curve)
    residual = robust_residual(_problem(sign, x, y, low), theta, scale)
    suspect = np.abs(residual) > _SUSPECT_SD * median_sd(residual, free, _LEAST_SD)
    rest = y[~suspect]
    enough = max(free + 1, LEAST_STEPS, (1.0 - _MOST_FAULTY_SHARE) * len(x))
    if not suspect.any() or len(rest) < enough or np.ptp(rest) == 0.0:
        return None
    faulty = suspect & _ruled_out(x, y, ~suspect, low)
    return faulty if faulty.any() else None


def _free(low: float | None) -> int:
    return _PARAMETERS if low is None else _PARAMETERS - 1


def _ruled_out(x: Floats, y: Floats, trusted: Flags, low: float | None) -> Flags:
    """Which readings the fit to the trusted ones alone excludes by its prediction interval."""
    curve = _best(x[trusted], y[trusted], low)
    residual = y - density_of(curve, x)
    freedom = int(trusted.sum()) - _free(low)
    sd = max(float(np.sqrt(residual[trusted] @ residual[trusted] / freedom)), _LEAST_SD)
    leverage = np.sum((jacobian_of(curve, x) @ _inverse(curve, x[trusted], low)) ** 2, axis=1)
    bound = float(special.stdtrit(freedom, 1.0 - _FALSE_ALARM / (2 * len(x))))
    excluded: Flags = np.abs(residual) > bound * sd * np.sqrt(1.0 + leverage)
    return excluded


def _covariance(inverse: Floats, used: Flags, variance: float, shared: Floats | None, log_h_sd: float) -> Floats:
    """Covariance (5, 5) of the parameters: of the readings' own noise, and of errors they share."""
    covariance: Floats = variance * (inverse @ inverse.T)
    if shared is not None:
        covariance = covariance + inverse @ shared[np.ix_(used, used)] @ inverse.T
    covariance[_PLACE, _PLACE] += log_h_sd**2  # the whole curve is moved along
    return covariance


def check_shared(shared: Floats, x: Floats) -> None:
    """Refuse a shared covariance that doesn't cover each reading.

    Raises:
        ArgumentError: when it hasn't the shape (n, n).
    """
    if shared.shape != (len(x), len(x)):
        raise ArgumentError(
            where="shared_covariance", rule=f"shape {(len(x), len(x))}", value=shared.shape, mend="Give (n, n)."
        )


def _inverse(curve: Floats, x: Floats, low: float | None) -> Floats:
    """Pseudo-inverse (5, n) of the Jacobian: how the parameters answer to a change of each reading.

    Zero for what was held.
    """
    first = _PARAMETERS - _free(low)
    inverse = np.zeros((_PARAMETERS, len(x)))
    inverse[first:] = pseudo_inverse(jacobian_of(curve, x)[:, first:].copy())
    return inverse
