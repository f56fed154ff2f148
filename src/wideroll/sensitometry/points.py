"""The points by which measures are constructed, for many curves at once.

Each function takes parameters (m, 5): a fit's own and those moved along the axes of its covariance. Compiled, because
a strip asks for some thirty measures of eleven curves each.
"""

import math
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import density_on, gradient_on, log_h_on, slope_place_on

__all__ = [
    "CHORD_FROM",
    "CHORD_LOG_H",
    "INNER_ARC",
    "OUTER_ARC",
    "TOE_DENSITY",
    "arc_angles",
    "densities",
    "log_h_above",
    "negative_chords",
    "reversal_chords",
    "shoulder_above",
    "slopes_within",
    "useful_ends",
]

CHORD_FROM: Final = 0.10
CHORD_LOG_H: Final = 1.5
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
_CLOSE: Final = 1e-13
_JUST_BELOW: Final = 1.0 - 1e-9


@njit(cache=True, nogil=True, error_model="numpy")
def densities(p: Floats, x: float) -> Floats:
    """Density (m,) at log H."""
    found = np.empty(len(p))
    for row in range(len(p)):
        found[row] = density_on(p[row], x)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def log_h_above(p: Floats, above: float) -> Floats:
    """Log H (m,) where each curve lies so far above its minimum."""
    found = np.empty(len(p))
    for row in range(len(p)):
        found[row] = log_h_on(p[row], above)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def slopes_within(p: Floats, first: float, last: float) -> Floats:
    """Greatest slope (m,) of each curve between two log H, without its sign."""
    found = np.empty(len(p))
    for row in range(len(p)):
        found[row] = abs(gradient_on(p[row], min(max(p[row, 2], first), last)))
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def negative_chords(p: Floats) -> Floats:
    """(x1, y1, x2, y2) of the average gradient of each negative, (m, 4)."""
    found = np.empty((len(p), 4))
    for row in range(len(p)):
        x = log_h_on(p[row], CHORD_FROM)
        found[row] = x, p[row, 0] + CHORD_FROM, x + CHORD_LOG_H, density_on(p[row], x + CHORD_LOG_H)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def reversal_chords(p: Floats) -> Floats:
    """(x1, y1, x2, y2) of the points T and S of ISO 2240 on each reversal curve, (m, 4)."""
    found = np.empty((len(p), 4))
    for row in range(len(p)):
        above = shoulder_above(p[row])
        found[row] = (
            log_h_on(p[row], TOE_DENSITY),
            p[row, 0] + TOE_DENSITY,
            log_h_on(p[row], above),
            p[row, 0] + above,
        )
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def shoulder_above(p: Floats) -> float:
    """Density of point S of ISO 2240 above the minimum of the curve with parameters (5,).

    2.0, or less where the straight line from T touches the shoulder at a lower density (the rule of the tangent is
    from memory). The line still climbs along the curve as long as the curve is steeper than it.
    """
    most = min(_MOST_SHOULDER, _JUST_BELOW * p[1])
    if _steeper(p, most):
        return most
    before, after = min(max(density_on(p, p[2]) - p[0], TOE_DENSITY), most), most
    for _ in range(_HALVINGS):
        middle = 0.5 * (before + after)
        if _steeper(p, middle):
            before = middle
        else:
            after = middle
    return after


@njit(cache=True, nogil=True, error_model="numpy")
def _steeper(p: Floats, above: float) -> bool:
    """Whether the curve, so far above its minimum, is steeper than the line there from T."""
    start, x = log_h_on(p, TOE_DENSITY), log_h_on(p, above)
    run = abs(x - start)
    return run == 0.0 or not abs(gradient_on(p, x)) < (above - TOE_DENSITY) / run


@njit(cache=True, nogil=True, error_model="numpy")
def useful_ends(p: Floats, share: float, first: float, last: float) -> Floats:
    """Log H (m, 2), between first and last, of the ends of the range where the slope is a share of the greatest."""
    found = np.empty((len(p), 2))
    for row in range(len(p)):
        found[row, 0] = min(max(slope_place_on(p[row], share, -1.0), first), last)
        found[row, 1] = min(max(slope_place_on(p[row], share, 1.0), first), last)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def arc_angles(p: Floats) -> Floats:
    """Angle (m,) in radians of each curve's contrast-index line, NaN where there is none.

    With P at the minimum level and the angle φ, both arcs meet the curve when x(2.2 sin φ) − x(0.2 sin φ) = 2.0 cos φ,
    x(d) being log H at d above the minimum. Solved by false position in the Illinois form (Dowell and Jarratt, BIT 11
    (1971) 168).
    """
    found = np.empty(len(p))
    for row in range(len(p)):
        found[row] = _arc_angle(p[row])
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def _arc_angle(p: Floats) -> float:
    low, high = _LEAST_ANGLE, math.asin(min(1.0, (1.0 - _LEAST_ANGLE) * p[1] / OUTER_ARC))
    at_low, at_high = _excess(p, low), _excess(p, high)
    if not at_low < 0.0 < at_high:
        return math.nan
    kept = 0
    for _ in range(_MOST_STEPS):
        angle = (low * at_high - high * at_low) / (at_high - at_low)
        here = _excess(p, angle)
        if here == 0.0 or high - low < _CLOSE:
            return angle
        if abs(here) < _CLOSE:
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
def _excess(p: Floats, angle: float) -> float:
    """By how much the curve takes more log H than the line between the arcs."""
    sine = math.sin(angle)
    run = log_h_on(p, OUTER_ARC * sine) - log_h_on(p, INNER_ARC * sine)
    return run - (OUTER_ARC - INNER_ARC) * math.cos(angle)
