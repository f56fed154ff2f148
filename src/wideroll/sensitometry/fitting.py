"""Fitting a Richards curve to one record's readings.

Plain least squares with equal weights, after readings that lie off the curve all others agree on have been set aside.
Those are found in two steps, so that a clean strip is fitted by nothing but least squares: a fit with Cauchy's loss,
which a few wild readings can't pull, names the suspects (beyond 5 robust standard deviations); a suspect is set aside
only if the fit to the others also rules it out by its prediction interval at a false-alarm rate of 0.1 % a strip.
"""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.richards import jacobian_of
from wideroll.sensitometry.shape import Shape, starting_shapes

__all__ = ["LEAST_STEPS", "check_shared", "fit_curve", "minimise"]

Flags = NDArray[np.bool_]

LEAST_STEPS: Final = 5
_SUSPECT_SD: Final = 5.0
_LOOK_CLOSER_SD: Final = 3.5
_LEAST_SD: Final = 0.004
"""Repeatability of a good densitometer (common practice): smaller departures are never a fault of the step."""
_FALSE_ALARM: Final = 0.001
_MOST_FAULTY_SHARE: Final = 0.25
_NO_EFFECT: Final = 1e-30
_MAD_TO_SD: Final = 1.4826
_TOLERANCE: Final = 1e-12
_ROUGH: Final = 1e-5
_REWEIGHTINGS: Final = 10
"""Both enough to tell a fault of 5 standard deviations."""
_MOST_EVALUATIONS: Final = 300


def fit_curve(
    log_h: ArrayLike,
    density: ArrayLike,
    *,
    low: float | None = None,
    clip_density: float | None = None,
    shared_covariance: Floats | None = None,
    set_aside: bool = True,
) -> CurveFit:
    """Fit D(x) = low + rise / (1 + exp(b − k·x))^(1/q) by least squares; rising or falling is seen from the readings.

    Readings that are NaN, at or above the densitometer's limit, or faulty are not used; see ``used`` and
    ``faulty_steps`` of the result. Certified values of NIST StRD Rat43 are met to 7 digits.

    Args:
        log_h: log10 of exposure in lx·s (n,), ascending.
        density: readings (n,), NaN where a step wasn't read.
        low: holds the lower asymptote at this density instead of fitting it.
        clip_density: greatest density the instrument can read; readings there are clipped.
        shared_covariance: covariance (n, n) of an error in the densities beside the readings' own noise, such as that
            of a process correction; it widens the parameters' covariance.
        set_aside: whether faulty readings may be set aside.

    Raises:
        ArgumentError: when shapes differ, log H isn't ascending, a density is infinite, fewer than five readings are
            usable, or all are equal.

    Example:
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> np.round(fit.parameters, 3).tolist()
        [0.2, 2.0, -3.6, 3.0, 1.0]
    """
    x, y = _readings(log_h, density)
    read = ~np.isnan(y) if clip_density is None else y < clip_density
    _check_enough(y[read])
    shape = _best_shape(x[read], y[read], low)
    used = read.copy()
    faulty = _faulty(x[read], y[read], shape) if set_aside else np.zeros(int(read.sum()), dtype=np.bool_)
    if faulty.any():
        used[read] = ~faulty
        shape = _best_shape(x[used], y[used], low)
    residual = y[used] - shape.density(x[used])
    freedom = int(used.sum()) - len(shape.free)
    variance = float(residual @ residual) / freedom if freedom > 0 else np.nan
    return CurveFit(
        parameters=shape.parameters(),
        covariance=_covariance(shape, x, used, variance, shared_covariance),
        log_h=x,
        density=y,
        used=used,
        residual_sd=float(np.sqrt(variance)),
        degrees_of_freedom=freedom,
        faulty_steps=tuple(int(step) for step in np.flatnonzero(read & ~used)),
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
    if np.ptp(usable) == 0.0:
        raise ArgumentError(
            where="density",
            rule="not all equal",
            value=float(usable[0]),
            mend="Check that the strip was exposed and that the right record was read.",
        )


def _best_shape(x: Floats, y: Floats, low: float | None) -> Shape:
    """Plain least squares from the best start, and once more from further inside if that ended on a border."""
    start, inside = starting_shapes(x, y, low)
    shape = _least_squares(x, y, start)
    if not shape.on_edge:
        return shape
    return min(shape, _least_squares(x, y, inside), key=lambda s: float(np.sum((s.density(x) - y) ** 2)))


def _least_squares(
    x: Floats, y: Floats, start: Shape, *, weight: Floats | float = 1.0, tolerance: float = _TOLERANCE
) -> Shape:
    return minimise(
        lambda shape: weight * (shape.density(x) - y), lambda shape: weight * shape.slopes(x), start, tolerance
    )


def minimise(
    misfit: Callable[[Shape], Floats], slopes: Callable[[Shape], Floats], start: Shape, tolerance: float
) -> Shape:
    """The shape near the start whose misfits (n,), of slopes (free, n), have the least sum of squares."""
    # MINPACK called directly: least_squares(method="lm") is the same algorithm with more around it. The covariance that
    # it works out on the side isn't used, and overflows on strips that say nothing.
    with np.errstate(over="ignore", invalid="ignore"):
        values, *_ = optimize.leastsq(
            lambda values: misfit(start.at(values)),
            start.values,
            Dfun=lambda values: slopes(start.at(values)),
            col_deriv=True,
            full_output=True,
            ftol=tolerance,
            xtol=tolerance,
            gtol=tolerance,
            maxfev=_MOST_EVALUATIONS,
        )
    return start.at(values)


def _faulty(x: Floats, y: Floats, shape: Shape) -> Flags:
    """Which of the readings lie off the curve the others agree on."""
    nothing = np.zeros(len(x), dtype=np.bool_)
    residual = y - shape.density(x)
    leverage = np.einsum("ij,ji->i", jacobian_of(shape.parameters(), x), _inverse(shape, x))
    studentised = np.abs(residual) / np.sqrt(np.maximum(1.0 - leverage, 1.0 / len(x)))
    if len(x) <= len(shape.free) + 1 or studentised.max() <= _LOOK_CLOSER_SD * _robust_sd(residual, len(shape.free)):
        return nothing
    residual = _robust_residual(x, y, shape, f_scale=_robust_sd(residual, len(shape.free)))
    suspect = np.abs(residual) > _SUSPECT_SD * _robust_sd(residual, len(shape.free))
    rest = y[~suspect]
    enough = max(len(shape.free) + 1, LEAST_STEPS, (1.0 - _MOST_FAULTY_SHARE) * len(x))
    if not suspect.any() or len(rest) < enough or np.ptp(rest) == 0.0:
        return nothing
    return suspect & _ruled_out(x, y, ~suspect, shape.held_low)


def _robust_sd(residual: Floats, free: int) -> float:
    """Standard deviation from the median absolute residual, corrected for the parameters fitted."""
    n = len(residual)
    sd = _MAD_TO_SD * float(np.median(np.abs(residual))) * np.sqrt(n / max(n - free, 1))
    return max(float(sd), _LEAST_SD)


def _robust_residual(x: Floats, y: Floats, shape: Shape, *, f_scale: float) -> Floats:
    """Residuals of a fit with Cauchy's loss, by reweighting."""
    residual = y - shape.density(x)
    for _ in range(_REWEIGHTINGS):
        weight = 1.0 / np.sqrt(1.0 + (residual / f_scale) ** 2)
        shape = _least_squares(x, y, shape, weight=weight, tolerance=_ROUGH)
        residual = y - shape.density(x)
    return residual


def _ruled_out(x: Floats, y: Floats, trusted: Flags, low: float | None) -> Flags:
    """Which readings the fit to the trusted ones alone excludes by its prediction interval."""
    shape = _best_shape(x[trusted], y[trusted], low)
    residual = y - shape.density(x)
    freedom = int(trusted.sum()) - len(shape.free)
    sd = max(float(np.sqrt(residual[trusted] @ residual[trusted] / freedom)), _LEAST_SD)
    leverage = np.sum((jacobian_of(shape.parameters(), x) @ _inverse(shape, x[trusted])) ** 2, axis=1)
    bound = float(special.stdtrit(freedom, 1.0 - _FALSE_ALARM / (2 * len(x))))
    excluded: Flags = np.abs(residual) > bound * sd * np.sqrt(1.0 + leverage)
    return excluded


def _covariance(shape: Shape, x: Floats, used: Flags, variance: float, shared: Floats | None) -> Floats:
    """Covariance (5, 5) of the parameters from the readings' own noise and an error they share."""
    inverse = _inverse(shape, x[used])
    covariance: Floats = variance * (inverse @ inverse.T)
    if shared is None:
        return covariance
    check_shared(shared, x)
    carried: Floats = inverse @ shared[np.ix_(used, used)] @ inverse.T
    return covariance + carried


def check_shared(shared: Floats, x: Floats) -> None:
    """Refuse a shared covariance that doesn't cover each reading.

    Raises:
        ArgumentError: when it hasn't the shape (n, n).
    """
    if shared.shape != (len(x), len(x)):
        raise ArgumentError(
            where="shared_covariance", rule=f"shape {(len(x), len(x))}", value=shared.shape, mend="Give (n, n)."
        )


def _inverse(shape: Shape, x: Floats) -> Floats:
    """Pseudo-inverse (5, n) of the Jacobian: how the parameters answer to a change of each reading.

    Zero for what was held.
    """
    free = list(shape.free)
    jacobian = jacobian_of(shape.parameters(), x)[:, free]
    scale = np.maximum(np.linalg.norm(jacobian, axis=0), _NO_EFFECT)
    inverse = np.zeros((5, len(x)))
    inverse[free] = np.linalg.pinv(jacobian / scale, rcond=np.finfo(np.float64).eps * len(x)) / scale[:, np.newaxis]
    return inverse
