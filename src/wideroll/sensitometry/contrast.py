"""Contrast: gamma, average gradient and contrast index."""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import optimize

from wideroll.sensitometry.levels import build_measure, minimum_reached, outside
from wideroll.sensitometry.model import Construction, CurveFit, Floats, Measure, Record
from wideroll.sensitometry.points import INNER_ARC, OUTER_ARC
from wideroll.sensitometry.read_off import Quantity, read_off
from wideroll.sensitometry.richards import density_on, gradient_on, log_h_on

__all__ = ["arc_angle", "average_gradient", "contrast_index", "gamma", "kept_average_gradient"]

_UNIT: Final = "density per log H"
_LEAST_ANGLE: Final = 1e-4
_ARCS: Final = np.array([INNER_ARC, OUTER_ARC])
_TANGENT_LOG_H: Final = 0.4
_MOST_KEPT: Final = 128


def gamma(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
    """Greatest slope within the readings, without its sign (US Navy manual 14208: slope of the straight-line part).

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(gamma(fit).value, 4)
        2.0
    """
    first, last = fit.log_h_range
    steepest = float(fit.parameters[2])
    beyond = outside(fit, steepest)
    x = min(max(steepest, first), last)
    y, slope = density_on(fit.parameters, x), gradient_on(fit.parameters, x)
    ends = tuple((x + side * _TANGENT_LOG_H, y + side * _TANGENT_LOG_H * slope) for side in (-1.0, 1.0))
    return build_measure(
        fit,
        Quantity.GAMMA,
        name="gamma",
        unit=_UNIT,
        of_record=(record, confidence),
        doubt=(beyond, "the greatest slope lies beyond the readings; it is at least this" if beyond else ""),
        construction=Construction(points=((x, y),), lines=((ends[0], ends[1]),)),
    )


def average_gradient(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
    """Slope of a chord, without its sign.

    Where density rises: from 0.10 above minimum density to the point of the curve 1.5 log H further (textbook usage,
    from memory). Where it falls, as on reversal film: between the two points of ISO 2240, 0.20 and 2.0 above minimum
    density (from memory).

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(average_gradient(fit).value, 3)
        1.207
    """
    values, _ = read_off(fit)
    x1, y1, x2, y2 = values[Quantity.CHORD_X1 : Quantity.CHORD_Y2 + 1]
    return build_measure(
        fit,
        Quantity.CHORD_SLOPE,
        name="average gradient",
        unit=_UNIT,
        of_record=(record, confidence),
        doubt=(outside(fit, x1, x2) or not minimum_reached(fit), ""),
        construction=Construction(points=((x1, y1), (x2, y2)), lines=(((x1, y1), (x2, y2)),)),
    )


@lru_cache(maxsize=_MOST_KEPT)
def kept_average_gradient(fit: CurveFit, confidence: float, record: Record | None = None) -> Measure:
    """``average_gradient``, kept: a record's is asked for by itself and in each of its pairs."""
    return average_gradient(fit, record=record, confidence=confidence)


def contrast_index(fit: CurveFit, *, record: Record | None = None, confidence: float = 0.95) -> Measure:
    """Slope of the line from a point of the minimum-density level that meets the curve at distances 0.2 and 2.2.

    Log H and density count alike in the distance. For negatives only; NaN, and marked as extrapolated, where the curve
    has no such line. Source: Niederpruem, Nelson and Yule, Phot. Sci. Eng. 10 (1966), from memory; the radii were
    seen quoted.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(contrast_index(fit).value, 3)
        1.419
    """
    values, _ = read_off(fit)
    angle = values[Quantity.ARC_ANGLE]
    missing = math.isnan(angle)
    points = () if missing else _arc_points(fit, angle)
    return build_measure(
        fit,
        Quantity.ARC_SLOPE,
        name="contrast index",
        unit=_UNIT,
        of_record=(record, confidence),
        doubt=(
            missing or outside(fit, *(x for x, _ in points[1:])) or not minimum_reached(fit),
            "the curve has no contrast index" if missing else "",
        ),
        construction=Construction(points=points, lines=((points[0], points[2]),) if points else ()),
    )


def arc_angle(log_h_above: Callable[[Floats], Floats], reach: float) -> float:
    """Angle in radians of the contrast-index line of any curve; NaN where there is none.

    Args:
        log_h_above: from densities above the minimum, any shape, to log H.
        reach: how far the curve rises above its minimum.

    Example:
        >>> round(math.tan(arc_angle(lambda density: density / 0.7, 5.0)), 9)
        0.7
    """

    def excess(angle: float) -> float:
        places = log_h_above(math.sin(angle) * _ARCS)
        return float(places[1] - places[0]) - (OUTER_ARC - INNER_ARC) * math.cos(angle)

    steepest = math.asin(min(1.0, (1.0 - _LEAST_ANGLE) * reach / OUTER_ARC))
    if not (excess(_LEAST_ANGLE) < 0.0 < excess(steepest)):
        return math.nan
    return float(optimize.brentq(excess, _LEAST_ANGLE, steepest))


def _arc_points(fit: CurveFit, angle: float) -> tuple[tuple[float, float], ...]:
    """P and the two points on the arcs."""
    low, cosine, sine = float(fit.parameters[0]), math.cos(angle), math.sin(angle)
    pivot = log_h_on(fit.parameters, INNER_ARC * sine) - INNER_ARC * cosine
    return tuple((pivot + radius * cosine, low + radius * sine) for radius in (0.0, INNER_ARC, OUTER_ARC))
