"""Least and greatest density, the speed point, and the range in which a film is used."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Final

import numpy as np

from wideroll.sensitometry.intervals import half_width, value_and_error
from wideroll.sensitometry.model import Construction, CurveFit, FilmType, Floats, Measure
from wideroll.sensitometry.points import densities, log_h_above, useful_ends
from wideroll.sensitometry.richards import density_on, log_h_on

__all__ = [
    "SPEED_DENSITY",
    "build_measure",
    "density_at_log_h",
    "kept_speed_point",
    "latitude",
    "maximum_density",
    "minimum_density",
    "minimum_reached",
    "outside",
    "speed_point",
    "useful_range",
]

SPEED_DENSITY: Final[Mapping[FilmType, float]] = {
    FilmType.BLACK_AND_WHITE: 0.10,
    FilmType.COLOUR_NEGATIVE: 0.15,
    FilmType.MOTION_PICTURE_NEGATIVE: 0.15,
    FilmType.COLOUR_REVERSAL: 1.0,
}
"""Density above the minimum at which a record's speed is read: ISO 6, ISO 5800 (both from memory); the last two are
common practice, for want of a standard's single point."""

_TOE_REACHED: Final = 0.02
_SHOULDER_REACHED: Final = 0.05
_USEFUL_SHARE: Final = 0.3
_MOST_KEPT: Final = 128
_SLACK_LOG_H: Final = 1e-9


def minimum_density(fit: CurveFit, *, confidence: float = 0.95) -> Measure:
    """Base, fog and mask: the curve's lower asymptote; extrapolated unless the readings come within 0.02 of it.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(minimum_density(fit).value, 4)
        0.2
    """
    toe, _ = _ends(fit)
    reached = minimum_reached(fit)
    return build_measure(
        fit,
        lambda p: p[..., 0],
        name="minimum density",
        unit="density",
        confidence=confidence,
        extrapolated=not reached,
        note="" if reached else "the toe isn't reached",
        construction=Construction(points=((toe, float(fit.parameters[0])),)),
    )


def maximum_density(fit: CurveFit, *, confidence: float = 0.95) -> Measure:
    """The upper asymptote when the readings come within 0.05 of it, else the greatest density of the curve over them.

    In the latter case it is marked as extrapolated, since the true maximum is greater.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(maximum_density(fit).value, 4)
        2.2
    """
    _, end = _ends(fit)
    reached = float(fit.parameters[:2].sum()) - density_on(fit.parameters, end) <= _SHOULDER_REACHED

    def value(p: Floats) -> Floats:
        return p[..., 0] + p[..., 1] if reached else densities(p, end)

    return build_measure(
        fit,
        value,
        name="maximum density",
        unit="density",
        confidence=confidence,
        extrapolated=not reached,
        note="" if reached else "the shoulder isn't reached; the maximum is at least this",
        construction=Construction(points=((end, float(value(fit.parameters[np.newaxis])[0])),)),
    )


def speed_point(fit: CurveFit, film_type: FilmType, *, confidence: float = 0.95) -> Measure:
    """Log H at the film type's speed density above the minimum.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(speed_point(fit, FilmType.BLACK_AND_WHITE).value, 3)
        -1.936
    """
    above = SPEED_DENSITY[film_type]
    point = (log_h_on(fit.parameters, above), float(fit.parameters[0]) + above)
    return build_measure(
        fit,
        lambda p: log_h_above(p, above),
        name="speed point",
        unit="log H",
        confidence=confidence,
        extrapolated=outside(fit, point[0]) or not minimum_reached(fit),
        note=f"at {above:.2f} above minimum density",
        construction=Construction(points=(point,), lines=(((point[0], float(fit.parameters[0])), point),)),
    )


def density_at_log_h(fit: CurveFit, log_h: float, *, confidence: float = 0.95) -> Measure:
    """Density of the curve at a given log H; extrapolated outside the readings.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> density_at_log_h(fit, -1.2).name, round(density_at_log_h(fit, -1.2).value, 4)
        ('density at log H −1.20', 1.2)
    """
    beyond = outside(fit, log_h)
    return build_measure(
        fit,
        lambda p: densities(p, log_h),
        name=f"density at log H {log_h:.2f}".replace("-", "−"),
        unit="density",
        confidence=confidence,
        extrapolated=beyond,
        note="outside the readings" if beyond else "",
        construction=Construction(points=((log_h, density_on(fit.parameters, log_h)),)),
    )


@lru_cache(maxsize=_MOST_KEPT)
def kept_speed_point(fit: CurveFit, film_type: FilmType, confidence: float) -> Measure:
    """``speed_point``, kept: a record's is asked for by itself and in each of its pairs."""
    return speed_point(fit, film_type, confidence=confidence)


def useful_range(fit: CurveFit) -> tuple[float, float]:
    """First and last log H, among the readings, where the slope is at least 0.3 of the greatest.

    The share is that of the fractional-gradient criterion (L. A. Jones; from memory). Where the greatest slope lies
    beyond the readings, the range is the part of the readings next to it.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> first, last = useful_range(fit)
        >>> round(first, 1), round(last, 1)
        (-1.8, -0.6)
    """
    first, last = (float(end) for end in useful_ends(fit.parameters[np.newaxis], _USEFUL_SHARE, *fit.log_h_range)[0])
    return first, last


def latitude(fit: CurveFit, *, confidence: float = 0.95) -> Measure:
    """Length of the useful range in log H; extrapolated, and at least what is given, where the readings end inside it.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(latitude(fit).value, 2)
        1.21
    """
    first, last = fit.log_h_range
    ends = useful_range(fit)
    cut = ends[0] <= first or ends[1] >= last
    points = tuple((x, density_on(fit.parameters, x)) for x in ends)

    def span(p: Floats) -> Floats:
        places = useful_ends(p, _USEFUL_SHARE, first, last)
        length: Floats = places[:, 1] - places[:, 0]
        return length

    return build_measure(
        fit,
        span,
        name="useful range",
        unit="log H",
        confidence=confidence,
        extrapolated=cut,
        note="the readings end inside it; it is at least this" if cut else "",
        construction=Construction(points=points),
    )


def minimum_reached(fit: CurveFit) -> bool:
    """Whether the readings come within 0.02 of the curve's minimum density, or it was held."""
    toe, _ = _ends(fit)
    held = bool(fit.covariance[0, 0] == 0.0)
    return held or density_on(fit.parameters, toe) - float(fit.parameters[0]) <= _TOE_REACHED


def outside(fit: CurveFit, *log_h: float) -> bool:
    """Whether any of the places isn't on the curve or lies outside the readings."""
    first, last = fit.log_h_range
    return not all(first - _SLACK_LOG_H <= x <= last + _SLACK_LOG_H for x in log_h)


def build_measure(
    fit: CurveFit,
    value: Callable[[Floats], Floats],
    *,
    name: str,
    unit: str,
    confidence: float,
    extrapolated: bool,
    note: str = "",
    construction: Construction | None = None,
) -> Measure:
    """A measure of the curve with its interval; ``value`` takes parameters (m, 5) to (m,)."""
    found, error = value_and_error(fit, value)
    half = float(half_width(error, fit.degrees_of_freedom, confidence))
    return Measure(
        name=name,
        value=found,
        low=found - half,
        high=found + half,
        unit=unit,
        extrapolated=extrapolated,
        note=note,
        construction=construction or Construction(),
        standard_uncertainty=error,
        degrees_of_freedom=float(fit.degrees_of_freedom),
    )


def _ends(fit: CurveFit) -> tuple[float, float]:
    """The used log H of least and of greatest density."""
    first, last = fit.log_h_range
    return (first, last) if fit.parameters[3] > 0.0 else (last, first)
