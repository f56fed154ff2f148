"""Contrast: gamma, average gradient and contrast index."""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from scipy import optimize

from wideroll.sensitometry.levels import build_measure, minimum_reached, outside
from wideroll.sensitometry.model import Construction, CurveFit, FilmType, Floats, Measure
from wideroll.sensitometry.reversal import TOE_DENSITY, shoulder_density
from wideroll.sensitometry.richards import density_of, gradient_of, inflection_of, log_h_of

__all__ = ["arc_angle", "average_gradient", "contrast_index", "gamma"]

_UNIT: Final = "density per log H"
_CHORD_FROM: Final = 0.10
_CHORD_LOG_H: Final = 1.5
_INNER_ARC: Final = 0.2
_OUTER_ARC: Final = 2.2
_ARCS: Final = np.array([_INNER_ARC, _OUTER_ARC])
_LEAST_ANGLE: Final = 1e-4
_ANGLE_STEP: Final = 1e-5
_TANGENT_LOG_H: Final = 0.4


def gamma(fit: CurveFit, *, confidence: float = 0.95) -> Measure:
    """Greatest slope within the readings, without its sign (US Navy manual 14208: slope of the straight-line part).

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(gamma(fit).value, 4)
        2.0
    """
    first, last = fit.log_h_range

    def place(p: Floats) -> Floats:
        return np.clip(inflection_of(p), first, last)

    x = float(place(fit.parameters))
    y, slope = float(density_of(fit.parameters, np.array(x))), float(gradient_of(fit.parameters, np.array(x)))
    beyond = outside(fit, float(inflection_of(fit.parameters)))
    ends = tuple((x + side * _TANGENT_LOG_H, y + side * _TANGENT_LOG_H * slope) for side in (-1.0, 1.0))
    return build_measure(
        fit,
        lambda p: np.abs(gradient_of(p, place(p))),
        name="gamma",
        unit=_UNIT,
        confidence=confidence,
        extrapolated=beyond,
        note="the greatest slope lies beyond the readings; it is at least this" if beyond else "",
        construction=Construction(points=((x, y),), lines=((ends[0], ends[1]),)),
    )


def average_gradient(fit: CurveFit, film_type: FilmType | None = None, *, confidence: float = 0.95) -> Measure:
    """Slope of a chord, without its sign.

    Negatives: from 0.10 above minimum density to the point of the curve 1.5 log H further (textbook usage, from
    memory). Reversal film: between the two points of ISO 2240, 0.20 and 2.0 above minimum density (from memory).

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fit = fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x + 1.2))))
        >>> round(average_gradient(fit).value, 3)
        1.207
    """
    falling = film_type is FilmType.COLOUR_REVERSAL or fit.parameters[3] < 0.0
    chord = _reversal_chord if falling else _negative_chord
    ends = chord(fit.parameters[np.newaxis])[0]
    start, end = ((float(x), float(y)) for x, y in ends.reshape(2, 2))

    def slope(p: Floats) -> Floats:
        x1, y1, x2, y2 = chord(p).T
        steepness: Floats = np.abs((y2 - y1) / (x2 - x1))
        return steepness

    return build_measure(
        fit,
        slope,
        name="average gradient",
        unit=_UNIT,
        confidence=confidence,
        extrapolated=outside(fit, start[0], end[0]) or not minimum_reached(fit),
        construction=Construction(points=(start, end), lines=((start, end),)),
    )


def contrast_index(fit: CurveFit, *, confidence: float = 0.95) -> Measure:
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
    low, rise = (float(value) for value in fit.parameters[:2])
    angle = arc_angle(lambda above: log_h_of(fit.parameters, low + above), rise)
    missing = math.isnan(angle)
    points = () if missing else _arc_points(fit, angle)
    return build_measure(
        fit,
        lambda p: np.tan(_moved_angle(p, angle)),
        name="contrast index",
        unit=_UNIT,
        confidence=confidence,
        extrapolated=missing or outside(fit, *(x for x, _ in points[1:])) or not minimum_reached(fit),
        note="the curve has no contrast index" if missing else "",
        construction=Construction(points=points, lines=((points[0], points[2]),) if points else ()),
    )


def arc_angle(log_h_above: Callable[[Floats], Floats], reach: float) -> float:
    """Angle in radians of the contrast-index line of a curve; NaN where there is none.

    With P at the minimum-density level and the angle φ, both arcs meet the curve when
    x(2.2 sin φ) − x(0.2 sin φ) = 2.0 cos φ, x(d) being log H at d above the minimum.

    Args:
        log_h_above: from densities above the minimum, any shape, to log H.
        reach: how far the curve rises above its minimum.

    Example:
        >>> round(math.tan(arc_angle(lambda density: density / 0.7, 5.0)), 9)
        0.7
    """
    steepest = math.asin(min(1.0, (1.0 - _LEAST_ANGLE) * reach / _OUTER_ARC))
    if not (_excess(log_h_above, _LEAST_ANGLE) < 0.0 < _excess(log_h_above, steepest)):
        return math.nan
    return float(optimize.brentq(lambda angle: float(_excess(log_h_above, angle)), _LEAST_ANGLE, steepest))


def _excess(log_h_above: Callable[[Floats], Floats], angle: float) -> Floats:
    """By how much the curve takes more log H than the line between the arcs."""
    places = log_h_above(math.sin(angle) * _ARCS)
    excess: Floats = places[..., 1] - places[..., 0] - (_OUTER_ARC - _INNER_ARC) * math.cos(angle)
    return excess


def _moved_angle(parameters: Floats, angle: float) -> Floats:
    """Angles (m,) of curves next to the one whose angle is known, by one step of Newton's: exact to first order."""

    def above(density: Floats) -> Floats:
        return log_h_of(parameters[..., np.newaxis, :], parameters[..., :1] + density)

    slope = (_excess(above, angle + _ANGLE_STEP) - _excess(above, angle - _ANGLE_STEP)) / (2.0 * _ANGLE_STEP)
    moved: Floats = angle - _excess(above, angle) / slope
    return moved


def _arc_points(fit: CurveFit, angle: float) -> tuple[tuple[float, float], ...]:
    """P and the two points on the arcs."""
    low, cosine, sine = float(fit.parameters[0]), math.cos(angle), math.sin(angle)
    pivot = float(log_h_of(fit.parameters, np.array(low + _INNER_ARC * sine))) - _INNER_ARC * cosine
    return tuple((pivot + radius * cosine, low + radius * sine) for radius in (0.0, _INNER_ARC, _OUTER_ARC))


def _negative_chord(p: Floats) -> Floats:
    """(x1, y1, x2, y2) of each curve, (m, 4)."""
    y1 = p[..., 0] + _CHORD_FROM
    x1 = log_h_of(p, y1)
    x2 = x1 + _CHORD_LOG_H
    return np.stack([x1, y1, x2, density_of(p, x2)], axis=-1)


def _reversal_chord(p: Floats) -> Floats:
    y1, y2 = p[..., 0] + TOE_DENSITY, p[..., 0] + shoulder_density(p)
    return np.stack([log_h_of(p, y1), y1, log_h_of(p, y2), y2], axis=-1)
