"""Least and greatest density, the speed point, and the range in which a film is used."""

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import numpy as np

from wideroll.sensitometry.intervals import half_width
from wideroll.sensitometry.model import Construction, CurveFit, FilmType, Measure, Record
from wideroll.sensitometry.read_off import Quantity, density_and_error, read_off
from wideroll.sensitometry.richards import density_on, slopes_on

__all__ = [
    "SPEED_DENSITY",
    "build_measure",
    "density_at_log_h",
    "kept_speed_point",
    "latitude",
    "log_h_quantity",
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

_SPEED_QUANTITY: Final[Mapping[FilmType, Quantity]] = {
    FilmType.BLACK_AND_WHITE: Quantity.LOG_H_010,
    FilmType.COLOUR_NEGATIVE: Quantity.LOG_H_015,
    FilmType.MOTION_PICTURE_NEGATIVE: Quantity.LOG_H_015,
    FilmType.COLOUR_REVERSAL: Quantity.LOG_H_100,
}
_TOE_REACHED: Final = 0.02
_SURELY: Final = 0.95
_SHOULDER_REACHED: Final = 0.05
_MOST_KEPT: Final = 128
_SLACK_LOG_H: Final = 1e-9


def minimum_density(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
    """Base, fog and mask: the curve's lower asymptote; extrapolated unless the readings surely come within 0.02 of it.

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
        Quantity.MINIMUM,
        name="minimum density",
        unit="density",
        of_record=(record, confidence),
        doubt=(not reached, "" if reached else "the toe isn't reached"),
        construction=Construction(points=((toe, float(fit.parameters[0])),)),
    )


def maximum_density(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
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
    values, _ = read_off(fit)
    reached = values[Quantity.MAXIMUM] - values[Quantity.DENSEST] <= _SHOULDER_REACHED
    which = Quantity.MAXIMUM if reached else Quantity.DENSEST
    return build_measure(
        fit,
        which,
        name="maximum density",
        unit="density",
        of_record=(record, confidence),
        doubt=(not reached, "" if reached else "the shoulder isn't reached; the maximum is at least this"),
        construction=Construction(points=((end, values[which]),)),
    )


def speed_point(
    fit: CurveFit, film_type: FilmType, *, record: Record | None = None, confidence: float = 0.95
) -> Measure:
    """Log H at the film type's speed density above the minimum.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(speed_point(fit, FilmType.BLACK_AND_WHITE).value, 3)
        -1.936
    """
    above = SPEED_DENSITY[film_type]
    values, _ = read_off(fit)
    point = (values[log_h_quantity(film_type)], values[Quantity.MINIMUM] + above)
    return build_measure(
        fit,
        log_h_quantity(film_type),
        name="speed point",
        unit="log H",
        of_record=(record, confidence),
        doubt=(outside(fit, point[0]) or not minimum_reached(fit), f"at {above:.2f} above minimum density"),
        construction=Construction(points=(point,), lines=(((point[0], values[Quantity.MINIMUM]), point),)),
    )


def density_at_log_h(fit: CurveFit, log_h: float, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
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
        density_and_error(fit, log_h),
        name=f"density at log H {log_h:.2f}".replace("-", "−"),
        unit="density",
        of_record=(record, confidence),
        doubt=(beyond, "outside the readings" if beyond else ""),
        construction=Construction(points=((log_h, density_on(fit.parameters, log_h)),)),
    )


@lru_cache(maxsize=_MOST_KEPT)
def kept_speed_point(fit: CurveFit, film_type: FilmType, confidence: float, record: Record | None = None) -> Measure:
    """``speed_point``, kept: a record's is asked for by itself and in each of its pairs."""
    return speed_point(fit, film_type, record=record, confidence=confidence)


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
    values, _ = read_off(fit)
    return values[Quantity.USEFUL_FIRST], values[Quantity.USEFUL_LAST]


def latitude(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
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

    return build_measure(
        fit,
        Quantity.USEFUL_SPAN,
        name="useful range",
        unit="log H",
        of_record=(record, confidence),
        doubt=(cut, "the readings end inside it; it is at least this" if cut else ""),
        construction=Construction(points=points),
    )


@lru_cache(maxsize=_MOST_KEPT)
def minimum_reached(fit: CurveFit) -> bool:
    """Whether the readings surely come within 0.02 of the curve's minimum density, or it was held.

    Surely: by the upper limit of a 95 % interval. A fit whose minimum came out too high would else pass just because
    of that.
    """
    if fit.covariance[0, 0] == 0.0 or fit.degrees_of_freedom < 1:
        return bool(fit.covariance[0, 0] == 0.0)
    toe, _ = _ends(fit)
    slopes = np.empty(len(fit.parameters))
    slopes_on(fit.parameters, toe, slopes)
    slopes[0] = 0.0
    error = math.sqrt(max(float(slopes @ fit.covariance @ slopes), 0.0))
    above = density_on(fit.parameters, toe) - float(fit.parameters[0])
    return above + float(half_width(error, fit.degrees_of_freedom, _SURELY)) <= _TOE_REACHED


def outside(fit: CurveFit, *log_h: float) -> bool:
    """Whether any of the places isn't on the curve or lies outside the readings."""
    first, last = fit.log_h_range
    return any(not first - _SLACK_LOG_H <= x <= last + _SLACK_LOG_H for x in log_h)


def log_h_quantity(film_type: FilmType) -> Quantity:
    """What is read off for the film type's speed point."""
    return _SPEED_QUANTITY[film_type]


def build_measure(
    fit: CurveFit,
    of: Quantity | tuple[float, float],
    *,
    name: str,
    unit: str,
    of_record: tuple[Record | None, float],
    doubt: tuple[bool, str],
    construction: Construction,
) -> Measure:
    """A measure of the curve with its interval.

    Args:
        fit: the curve.
        of: what is read off, or its value and standard error.
        name: of the measure.
        unit: of its value.
        of_record: the record, and the confidence of the interval.
        doubt: whether it is extrapolated, and what there is to say about it.
        construction: for the figure.
    """
    if isinstance(of, Quantity):
        values, errors = read_off(fit)
        value, error = values[of], errors[of]
    else:
        value, error = of
    half = float(half_width(error, fit.degrees_of_freedom, of_record[1]))
    return Measure(
        name=name,
        value=value,
        low=value - half,
        high=value + half,
        unit=unit,
        record=of_record[0],
        extrapolated=doubt[0] or math.isnan(half),
        note=doubt[1],
        construction=construction,
        standard_uncertainty=error,
        degrees_of_freedom=float(fit.degrees_of_freedom),
    )


def _ends(fit: CurveFit) -> tuple[float, float]:
    """The used log H of least and of greatest density."""
    first, last = fit.log_h_range
    return (first, last) if fit.parameters[3] > 0.0 else (last, first)
