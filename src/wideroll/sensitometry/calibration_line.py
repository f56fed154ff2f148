"""A straight line through points that are uncertain both ways: what an instrument reads, and what is true."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats, Measure

__all__ = ["CalibrationLine", "calibrate_line"]

_LEAST_POINTS: Final = 3
_ROUNDS: Final = 200
_SETTLED: Final = 1e-15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CalibrationLine:
    """True value = offset + gain · read value, with how well the points agree on it."""

    offset: Measure
    gain: Measure
    covariance: Floats
    """Of (offset, gain), (2, 2)."""
    residual_sd: float
    """Of the points about the line, in the true value's unit."""
    degrees_of_freedom: int
    chi_squared: float
    """Weighted sum of squared residuals; NaN where no uncertainties were stated."""
    p_value: float
    """How probable residuals at least as large are under the stated uncertainties; NaN without them."""
    bend: float
    """Greatest departure from the line of a parabola through the same points: lack of linearity."""
    bend_p_value: float
    """How probable a bend at least as large is when the instrument is linear; NaN with fewer than four points."""

    def at(self, read: ArrayLike) -> tuple[Floats, Floats]:
        """True values (n,) of read values (n,), and the covariance (n, n) that the line's error gives them.

        A value that wasn't read (NaN) stays so and has no covariance.
        """
        value = np.asarray(read, dtype=np.float64)
        known = np.nan_to_num(value)
        slopes = np.column_stack([np.ones_like(known), known]) * np.isfinite(value)[:, np.newaxis]
        carried: Floats = slopes @ self.covariance @ slopes.T
        return self.offset.value + self.gain.value * value, carried


def calibrate_line(
    read: ArrayLike,
    true: ArrayLike,
    *,
    read_sd: ArrayLike = 0.0,
    true_sd: ArrayLike = 0.0,
    common_sd: float = 0.0,
    confidence: float = 0.95,
) -> CalibrationLine:
    """The straight line from read to true values.

    Without standard deviations this is ordinary least squares, whose scatter gives the intervals by Student's t. With
    them it is the line that minimises Σ (true − a − b·read)² ⁄ (s_true² + b²·s_read²), by York's iteration (York et
    al. 2004 for the equations and their covariance). When the points scatter by more than the stated uncertainties
    allow on average, the covariance is enlarged by chi² ⁄ (n − 2) (Birge's ratio, from memory) and Student's t is used.

    Args:
        read: values (n,) that the instrument gave.
        true: values (n,) that are certified.
        read_sd: standard deviation of a read value, one for all or (n,).
        true_sd: standard uncertainty of a certified value by itself, one for all or (n,).
        common_sd: standard uncertainty of an error all certified values have in common; it goes into the offset.
        confidence: of the intervals.

    Raises:
        ArgumentError: when there are fewer than three points, they don't pair, one isn't finite, all were read alike, a
            standard deviation is negative, or some points have one and others none.

    Example:
        >>> line = calibrate_line([0.1, 1.0, 2.1, 3.0], [0.0, 0.9, 2.0, 2.9])
        >>> round(line.offset.value, 6), round(line.gain.value, 6)
        (-0.1, 1.0)
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(where="confidence", rule="between 0 and 1", value=confidence, mend="Give one such as 0.95.")
    x, y = np.asarray(read, dtype=np.float64), np.asarray(true, dtype=np.float64)
    _check_points(x, y)
    x_var, y_var = (_variance(name, sd, x) for name, sd in (("read_sd", read_sd), ("true_sd", true_sd)))
    stated = bool((x_var + y_var > 0.0).all())
    if not stated and (x_var + y_var > 0.0).any():
        raise ArgumentError(where="sd", rule="each point has one, or none has", mend="Give one for each point.")
    weights = (x_var, y_var) if stated else (np.zeros_like(x), np.ones_like(x))
    offset, gain, covariance = _york(x, y, *weights)
    residual = y - offset - gain * x
    freedom = len(x) - 2
    chi_squared = float(np.sum(residual**2 / (weights[1] + gain**2 * weights[0])))
    scaled = not stated or chi_squared > freedom
    covariance = covariance * (chi_squared / freedom if scaled else 1.0) + np.diag([common_sd**2, 0.0])
    bend, bend_p = _bend(x, y, weights[1] + gain**2 * weights[0])
    error = np.sqrt(np.diag(covariance))
    of_t = float(freedom) if scaled else math.inf
    return CalibrationLine(
        offset=_measure("offset", offset, float(error[0]), of_t, confidence),
        gain=_measure("gain", gain, float(error[1]), of_t, confidence),
        covariance=covariance,
        residual_sd=float(np.sqrt(residual @ residual / freedom)),
        degrees_of_freedom=freedom,
        chi_squared=chi_squared if stated else math.nan,
        p_value=float(special.chdtrc(freedom, chi_squared)) if stated else math.nan,
        bend=bend,
        bend_p_value=bend_p,
    )


def _york(x: Floats, y: Floats, x_var: Floats, y_var: Floats) -> tuple[float, float, Floats]:
    """Offset, gain and their covariance; York et al. 2004 equations 13 a to f with uncorrelated errors."""
    gain = float(np.polyfit(x, y, 1)[0])
    weight, around, x_mean = np.ones_like(x), x, float(x.mean())
    for _ in range(_ROUNDS):
        weight = 1.0 / (y_var + gain**2 * x_var)
        x_mean, y_mean = np.average(x, weights=weight), np.average(y, weights=weight)
        u, v = x - x_mean, y - y_mean
        around = weight * (u * y_var + gain * v * x_var)
        before, gain = gain, float(np.sum(weight * around * v) / np.sum(weight * around * u))
        if abs(gain - before) <= _SETTLED * abs(gain):
            break
    offset = float(np.average(y, weights=weight) - gain * x_mean)
    adjusted = x_mean + around
    centre = float(np.average(adjusted, weights=weight))
    gain_var = 1.0 / float(np.sum(weight * (adjusted - centre) ** 2))
    offset_var = 1.0 / float(np.sum(weight)) + centre**2 * gain_var
    return offset, gain, np.array([[offset_var, -centre * gain_var], [-centre * gain_var, gain_var]])


def _bend(x: Floats, y: Floats, variance: Floats) -> tuple[float, float]:
    """How far a weighted parabola leaves the weighted line within the points, and how probable that is (F test)."""
    if len(x) <= _LEAST_POINTS:
        return math.nan, math.nan
    scale = 1.0 / np.sqrt(variance)
    centred = (x - x.mean()) / np.ptp(x)
    line, curve = (np.polyfit(centred, y, degree, w=scale) for degree in (1, 2))
    places = np.linspace(centred.min(), centred.max(), 101)
    apart = np.polyval(curve, places) - np.polyval(line, places)
    before, after = (float(np.sum((scale * (y - np.polyval(p, centred))) ** 2)) for p in (line, curve))
    freedom = len(x) - _LEAST_POINTS
    f_ratio = max(before - after, 0.0) * freedom / after if after > 0.0 else math.nan
    p_value = float(special.fdtrc(1, freedom, f_ratio))
    return float(apart[np.argmax(np.abs(apart))]), p_value


def _measure(name: str, value: float, error: float, freedom: float, confidence: float) -> Measure:
    share = 0.5 + confidence / 2.0
    factor = float(special.ndtri(share) if math.isinf(freedom) else special.stdtrit(freedom, share))
    return Measure(
        name=name,
        value=value,
        low=value - factor * error,
        high=value + factor * error,
        unit="ratio" if name == "gain" else "density",
        standard_uncertainty=error,
        degrees_of_freedom=freedom,
    )


def _check_points(x: Floats, y: Floats) -> None:
    paired = x.ndim == 1 and x.shape == y.shape
    if not paired or len(x) < _LEAST_POINTS or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ArgumentError(
            where="read, true",
            rule=f"at least {_LEAST_POINTS} pairs of finite values",
            value=f"{x.shape} and {y.shape}",
            mend="Give one true value for each one read.",
        )
    if np.ptp(x) <= 0.0:
        raise ArgumentError(where="read", rule="not all alike", value=float(x[0]), mend="Read steps that differ.")


def _variance(name: str, sd: ArrayLike, x: Floats) -> Floats:
    try:
        each = np.broadcast_to(np.asarray(sd, dtype=np.float64), x.shape)
    except ValueError as error:
        raise ArgumentError(where=name, rule=f"one for all or {x.shape}", value=sd, mend="Give as many.") from error
    usable: NDArray[np.bool_] = np.isfinite(each) & (each >= 0.0)
    if not usable.all():
        raise ArgumentError(where=name, rule="finite and not negative", value=sd, mend="Give standard deviations.")
    return each**2
