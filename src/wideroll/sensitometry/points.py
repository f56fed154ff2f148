"""The points by which measures are constructed on a curve with parameters (5,).

Compiled, because a strip asks for some thirty measures of eleven curves each: a fit's own, and those moved along the
axes of its covariance.
"""

import math
from typing import Final

from numba import njit

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import density_on, gradient_on, log_h_on

__all__ = [
    "INNER_ARC",
    "OUTER_ARC",
    "TOE_DENSITY",
    "arc_angle_near",
    "arc_angle_on",
    "negative_chord",
    "reversal_chord",
    "shoulder_above",
]

_CHORD_FROM: Final = 0.10
_CHORD_LOG_H: Final = 1.5
"""Of the average gradient of negatives (textbook usage, from memory)."""
TOE_DENSITY: Final = 0.20
_MOST_SHOULDER: Final = 2.0
"""Points T and S above minimum density (ISO 2240, from memory)."""
INNER_ARC: Final = 0.2
OUTER_ARC: Final = 2.2
"""Radii of the contrast index (seen quoted)."""
_LEAST_ANGLE: Final = 1e-4
_HALVINGS: Final = 45
_MOST_STEPS: Final = 100
_FEW_STEPS: Final = 3
_NEARBY: Final = 1e-5
_CLOSE: Final = 1e-13
_JUST_BELOW: Final = 1.0 - 1e-9


@njit(cache=True, nogil=True, error_model="numpy")
def negative_chord(p: Floats) -> tuple[float, float, float, float]:
    """(x1, y1, x2, y2) of the average gradient of a negative."""
    x = log_h_on(p, _CHORD_FROM)
    return x, p[0] + _CHORD_FROM, x + _CHORD_LOG_H, density_on(p, x + _CHORD_LOG_H)


@njit(cache=True, nogil=True, error_model="numpy")
def reversal_chord(p: Floats) -> tuple[float, float, float, float]:
    """(x1, y1, x2, y2) of the points T and S of ISO 2240 on a reversal curve."""
    above = shoulder_above(p)
    return log_h_on(p, TOE_DENSITY), p[0] + TOE_DENSITY, log_h_on(p, above), p[0] + above


@njit(cache=True, nogil=True, error_model="numpy")
def shoulder_above(p: Floats) -> float:
    """Density of point S of ISO 2240 above the minimum of the curve with parameters (5,).

    2.0, or less where the straight line from T touches the shoulder at a lower density (the rule of the tangent is
    from memory). The line still climbs along the curve as long as the curve is steeper than it.
    """
    most = min(_MOST_SHOULDER, _JUST_BELOW * p[1])
    if _steeper(p, most):
        return float(most)
    before, after = min(max(density_on(p, p[2]) - p[0], TOE_DENSITY), most), most
    for _ in range(_HALVINGS):
        middle = 0.5 * (before + after)
        if _steeper(p, middle):
            before = middle
        else:
            after = middle
    return float(after)


@njit(cache=True, nogil=True, error_model="numpy")
def _steeper(p: Floats, above: float) -> bool:
    """Whether the curve, so far above its minimum, is steeper than the line there from T."""
    start, x = log_h_on(p, TOE_DENSITY), log_h_on(p, above)
    run = abs(x - start)
    return run == 0.0 or not abs(gradient_on(p, x)) < (above - TOE_DENSITY) / run


@njit(cache=True, nogil=True, error_model="numpy")
def arc_angle_on(p: Floats) -> float:
    """Angle in radians of the contrast-index line, NaN where there is none.

    With P at the minimum level and the angle φ, both arcs meet the curve when x(2.2 sin φ) − x(0.2 sin φ) = 2.0 cos φ,
    x(d) being log H at d above the minimum. Solved by false position in the Illinois form (Dowell and Jarratt, BIT 11
    (1971) 168).
    """
    low, high = _LEAST_ANGLE, math.asin(min(1.0, (1.0 - _LEAST_ANGLE) * p[1] / OUTER_ARC))
    at_low, at_high = _excess(p, low), _excess(p, high)
    if not at_low < 0.0 < at_high:
        return math.nan
    kept = 0
    for _ in range(_MOST_STEPS):
        angle = (low * at_high - high * at_low) / (at_high - at_low)
        here = _excess(p, angle)
        if abs(here) < _CLOSE or high - low < _CLOSE:
            return angle
        if here < 0.0:
            low, at_low = angle, here
            at_high = 0.5 * at_high if kept == 1 else at_high
            kept = 1
        else:
            high, at_high = angle, here
            at_low = 0.5 * at_low if kept == -1 else at_low
            kept = -1
    return 0.5 * (low + high)


@njit(cache=True, nogil=True, error_model="numpy")
def arc_angle_near(p: Floats, angle: float) -> float:
    """The same of a curve next to one whose angle is known, by the secant method."""
    before, at_before = angle, _excess(p, angle)
    after = angle + _NEARBY
    for _ in range(_FEW_STEPS):
        at_after = _excess(p, after)
        if at_after == at_before:
            break
        before, after, at_before = after, after - at_after * (after - before) / (at_after - at_before), at_after
    return after


@njit(cache=True, nogil=True, error_model="numpy")
def _excess(p: Floats, angle: float) -> float:
    """By how much the curve takes more log H than the line between the arcs."""
    sine = math.sin(angle)
    run = log_h_on(p, OUTER_ARC * sine) - log_h_on(p, INNER_ARC * sine)
    return run - (OUTER_ARC - INNER_ARC) * math.cos(angle)
