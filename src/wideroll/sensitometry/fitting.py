"""Fitting a Richards curve to one record's readings.

Plain least squares with equal weights, after readings that lie off the curve all others agree on have been set aside.
Those are found in two steps, so that a clean strip is fitted by nothing but least squares: a fit with Cauchy's loss,
which a few wild readings can't pull, names the suspects (beyond 5 robust standard deviations); a suspect is set aside
only if the fit to the others also rules it out by its prediction interval at a false-alarm rate of 0.1 % a record.
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.descent import NO_TIES, Problem, median_sd, robust_residual
from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.richards import density_of, jacobian_of
from wideroll.sensitometry.settling import LEAST_SD, Settled, settle
from wideroll.sensitometry.shape import inner_of

__all__ = ["LEAST_STEPS", "check_shared", "fit_curve"]

Flags = NDArray[np.bool_]

LEAST_STEPS: Final = 5
_SUSPECT_SD: Final = 5.0
_LOOK_CLOSER_SD: Final = 3.5
_FALSE_ALARM: Final = 0.001
_MOST_FAULTY_SHARE: Final = 0.25
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
    held, used = math.nan if low is None else low, read
    settled = settle(x[read], y[read], held)
    if set_aside and settled.farthest > _LOOK_CLOSER_SD * settled.scale:
        faulty = _faulty(x[read], y[read], low, settled)
        if faulty.any():
            used = read.copy()
            used[read] = ~faulty
            settled = settle(x[used], y[used], held)
    freedom = len(settled.residual) - _free(low)
    variance = float(settled.residual @ settled.residual) / freedom if freedom > 0 else math.nan
    run_covariance = _run_covariance(settled.inverse, used, shared_covariance, log_h_sd)
    own = variance * (settled.inverse @ settled.inverse.T)
    return CurveFit(
        parameters=settled.curve,
        covariance=own if run_covariance is None else own + run_covariance,
        log_h=x,
        density=y,
        used=used,
        residual_sd=math.sqrt(variance),
        degrees_of_freedom=freedom,
        faulty_steps=() if used is read else tuple(np.flatnonzero(read & ~used).tolist()),
        log_h_sd=log_h_sd,
        run_covariance=run_covariance,
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


def _faulty(x: Floats, y: Floats, low: float | None, settled: Settled) -> Flags:
    """Which of the readings lie off the curve the others agree on."""
    nothing = np.zeros(len(x), dtype=np.bool_)
    free = _free(low)
    if len(x) <= free + 1:
        return nothing
    theta, sign = inner_of(settled.curve)
    problem = Problem(sign=sign, x=x, y=y, whiten=np.ones((1, len(x))), ties=NO_TIES, first=_PARAMETERS - free)
    residual = robust_residual(problem, theta, settled.scale)
    suspect = np.abs(residual) > _SUSPECT_SD * median_sd(residual, free, LEAST_SD)
    rest = y[~suspect]
    enough = max(free + 1, LEAST_STEPS, (1.0 - _MOST_FAULTY_SHARE) * len(x))
    if not suspect.any() or len(rest) < enough or np.ptp(rest) == 0.0:
        return nothing
    return suspect & _ruled_out(x, y, ~suspect, low)


def _free(low: float | None) -> int:
    return _PARAMETERS if low is None else _PARAMETERS - 1


def _ruled_out(x: Floats, y: Floats, trusted: Flags, low: float | None) -> Flags:
    """Which readings the fit to the trusted ones alone excludes by its prediction interval."""
    settled = settle(x[trusted], y[trusted], math.nan if low is None else low)
    left = settled.residual
    residual = y - density_of(settled.curve, x)
    freedom = len(left) - _free(low)
    sd = max(math.sqrt(float(left @ left) / freedom), LEAST_SD)
    leverage = np.sum((jacobian_of(settled.curve, x) @ settled.inverse) ** 2, axis=1)
    bound = float(special.stdtrit(freedom, 1.0 - _FALSE_ALARM / (2 * len(x))))
    excluded: Flags = np.abs(residual) > bound * sd * np.sqrt(1.0 + leverage)
    return excluded


def _run_covariance(inverse: Floats, used: Flags, shared: Floats | None, log_h_sd: float) -> Floats | None:
    """Covariance (5, 5) of the parameters by errors that the readings share; None where they share none."""
    if shared is None and not log_h_sd:
        return None
    covariance = np.zeros((_PARAMETERS, _PARAMETERS))
    if shared is not None:
        covariance += inverse @ shared[np.ix_(used, used)] @ inverse.T
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
