"""Whether a strip's records keep to one another: spacing, slopes, and where colours cross over.

Records are taken to err independently, but for the level of log H, which they share and which cancels here.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np

from wideroll.sensitometry.along import align, errors_between, pair_differences
from wideroll.sensitometry.contrast import kept_average_gradient
from wideroll.sensitometry.intervals import check_confidence, effective_freedom, half_width, scheffe_factor
from wideroll.sensitometry.levels import kept_speed_point
from wideroll.sensitometry.model import Construction, CurveFit, FilmType, Floats, Measure, Record, RecordPair
from wideroll.sensitometry.ranges import covered_places, not_covered, useful_range_of
from wideroll.sensitometry.richards import density_on

__all__ = ["compare_records", "parallelism", "worst_spread"]

_SPACING, _RATIO, _SHIFT, _SPREAD, _CROSS = (
    "speed point spacing",
    "slope ratio",
    "best-aligning shift",
    "spread of differences",
    "crossover",
)
_LOG_H, _DENSITY = "log H", "density"
_DIMENSIONS: Final = 4
"""Of the change of a difference from place to place: a curve's rise, place, k and q; those of the other record change
it in nearly the same ways, as the curves are alike."""

Pair: TypeAlias = tuple[CurveFit, CurveFit]
Of: TypeAlias = tuple[tuple[Record, Record], Pair, float]
"""Names and fits of the two records, and the confidence."""


def compare_records(
    fits: Mapping[Record, CurveFit],
    aims: Mapping[Record, CurveFit],
    film_type: FilmType | None = None,
    *,
    confidence: float = 0.95,
) -> tuple[RecordPair, ...]:
    """Each pair of colour records against one another and against the aim's pair; none with fewer than two.

    Args:
        fits: the strip's curves.
        aims: the aim curves as fitted by ``fit_aims``; empty for a strip without: then records are held against curves
            a constant distance apart.
        film_type: sets the speed point and the chord of the average gradient; None takes those of a colour negative,
            or of reversal film where density falls.
        confidence: of each interval.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.5, 25)
        >>> fast, slow = (fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-4.0 * (x - place)))) for place in (-1.2, -1.1))
        >>> pair = compare_records({Record.RED: slow, Record.GREEN: fast}, {Record.RED: fast, Record.GREEN: fast})[0]
        >>> round(pair.spacing_off.value, 3), round(pair.shift.value, 3), round(pair.slope_ratio.value, 3)
        (0.1, 0.1, 1.0)
    """
    check_confidence(confidence)
    records = [record for record in fits if record is not Record.VISUAL and (not aims or record in aims)]
    own = {record: _own(fits[record]) for record in records}
    return tuple(
        _pair(names, (own[names[0]], own[names[1]]), _aims_of(aims, names), film_type, confidence)
        for names in itertools.combinations(records, 2)
    )


def worst_spread(pairs: tuple[RecordPair, ...]) -> Measure | None:
    """The greatest spread of all pairs, as "parallelism"; None where there is no pair."""
    if not pairs:
        return None
    worst = max(pairs, key=lambda pair: -math.inf if math.isnan(pair.spread.value) else pair.spread.value)
    return replace(worst.spread, name="parallelism")


def parallelism(
    fits: Mapping[Record, CurveFit], aims: Mapping[Record, CurveFit], *, confidence: float = 0.95
) -> Measure | None:
    """The greatest spread, over the useful range, of a difference of two records against the aim's difference.

    0 when all records keep the distances of the aim, whatever their common level. None with fewer than two colour
    records. The spread is the span of a noisy curve and so reads a little high when the records are truly parallel; its
    interval holds for any two places, as the widest apart were searched for (Scheffé).

    Args:
        fits: the strip's curves.
        aims: the aim curves, as fitted by ``fit_aims``.
        confidence: of the interval.

    Example:
        >>> from wideroll.sensitometry import fit_curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim, lifted = (fit_curve(x, low + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2)))) for low in (0.2, 0.3))
        >>> aims = {Record.RED: aim, Record.GREEN: aim}
        >>> round(parallelism({Record.RED: lifted, Record.GREEN: lifted}, aims).value, 6)
        0.0
    """
    return worst_spread(compare_records(fits, aims, confidence=confidence))


def _aims_of(aims: Mapping[Record, CurveFit], names: tuple[Record, Record]) -> Pair | None:
    return (aims[names[0]], aims[names[1]]) if aims else None


def _own(fit: CurveFit) -> CurveFit:
    """The fit without the error that all records share."""
    if not fit.log_h_sd:
        return fit
    covariance = fit.covariance.copy()
    covariance[2, 2] -= fit.log_h_sd**2
    return replace(fit, covariance=covariance, log_h_sd=0.0)


def _pair(
    names: tuple[Record, Record], fits: Pair, aims: Pair | None, film_type: FilmType | None, confidence: float
) -> RecordPair:
    kind = film_type or (FilmType.COLOUR_REVERSAL if fits[0].parameters[3] < 0.0 else FilmType.COLOUR_NEGATIVE)
    ranges = [useful_range_of(fit) for fit in aims or fits]
    x, short = covered_places((max(r[0] for r in ranges), min(r[1] for r in ranges)), fits)
    curves, covariances = np.array([f.parameters for f in fits]), np.array([f.covariance for f in fits])
    wanted = np.array([aim.parameters for aim in aims]) if aims else np.empty((0, curves.shape[1]))
    off, error = pair_differences(curves, covariances, wanted, x)
    half = _half(error, fits, confidence)
    of = (names, fits, confidence)
    if not len(x):
        shift, spread, crossover = (
            not_covered(name, unit, None) for name, unit in ((_SHIFT, _LOG_H), (_SPREAD, _DENSITY), (_CROSS, _LOG_H))
        )
    else:
        moved, errors = align(curves, covariances, wanted, x)
        shift = _measure(_SHIFT, _LOG_H, moved, errors, of, extrapolated=short)
        spread = _spread(of, (curves, covariances), x, off, short=short)
        crossover = _crossover(names, x, off, half, short=short)
    return RecordPair(
        first=names[0],
        second=names[1],
        spacing=_spacing(names, fits, None, kind, confidence),
        spacing_off=_spacing(names, fits, aims, kind, confidence),
        slope_ratio=_slope_ratio(names, fits, aims, confidence),
        shift=shift,
        spread=spread,
        crossover=crossover,
        log_h=x,
        off=off,
        off_half=half,
    )


def _spacing(names: tuple[Record, Record], fits: Pair, aims: Pair | None, kind: FilmType, confidence: float) -> Measure:
    points = [kept_speed_point(fit, kind, confidence, name) for name, fit in zip(names, fits, strict=True)]
    wanted = [kept_speed_point(aim, kind, confidence).value for aim in aims] if aims else [0.0, 0.0]
    return _measure(
        _SPACING + (" against aim" if aims else ""),
        _LOG_H,
        points[0].value - points[1].value - (wanted[0] - wanted[1]),
        [point.standard_uncertainty for point in points],
        (names, fits, confidence),
        extrapolated=any(point.extrapolated for point in points),
        construction=Construction(points=tuple(point.construction.points[0] for point in points)),
    )


def _slope_ratio(names: tuple[Record, Record], fits: Pair, aims: Pair | None, confidence: float) -> Measure:
    gradients = [kept_average_gradient(fit, confidence, name) for name, fit in zip(names, fits, strict=True)]
    wanted = [kept_average_gradient(aim, confidence).value for aim in aims] if aims else [1.0, 1.0]
    ratio = gradients[0].value / gradients[1].value / (wanted[0] / wanted[1])
    return _measure(
        _RATIO,
        "ratio",
        ratio,
        [ratio * g.standard_uncertainty / g.value for g in gradients],
        (names, fits, confidence),
        extrapolated=any(gradient.extrapolated for gradient in gradients),
        construction=Construction(lines=tuple(line for g in gradients for line in g.construction.lines)),
    )


def _spread(of: Of, known: tuple[Floats, Floats], x: Floats, off: Floats, *, short: bool) -> Measure:
    ends = x[[int(np.argmax(off)), int(np.argmin(off))]]
    points = tuple((float(place), density_on(fit.parameters, float(place))) for place in ends for fit in of[1])
    errors = errors_between(*known, ends)
    freedom = effective_freedom(errors.tolist(), [fit.degrees_of_freedom for fit in of[1]])
    # the ends were searched for, so the interval must hold for any two; in units of Student's t, as all others
    searched = scheffe_factor(_DIMENSIONS, freedom, of[2]) / float(half_width(1.0, freedom, of[2])) if freedom else 1.0
    found = _measure(
        _SPREAD,
        _DENSITY,
        float(off.max() - off.min()),
        searched * errors,
        of,
        extrapolated=short,
        construction=Construction(points=points),
    )
    return replace(found, low=max(found.low, 0.0))


def _crossover(names: tuple[Record, Record], x: Floats, off: Floats, half: Floats, *, short: bool) -> Measure:
    """Where the difference passes through nought between two places at which it surely doesn't."""
    above, below = np.flatnonzero(off - half > 0.0), np.flatnonzero(off + half < 0.0)
    place = low = high = math.nan
    if len(above) and len(below):
        up, down = int(above[np.argmax(off[above])]), int(below[np.argmin(off[below])])
        between = slice(min(up, down), max(up, down) + 1)
        way = 1.0 if up > down else -1.0
        place, low, high = (
            _passes(x[between], way * (off[between] + side * way * half[between])) for side in (0.0, 1.0, -1.0)
        )
    return Measure(
        name=_CROSS,
        value=place,
        low=low,
        high=high,
        unit=_LOG_H,
        extrapolated=short,
        note=f"{names[0]} minus {names[1]}" + ("" if math.isfinite(place) else ": none shown"),
        construction=Construction(),
    )


def _passes(x: Floats, rising: Floats) -> float:
    """Log H of the first passage from below nought to above it."""
    after = int(np.argmax(rising > 0.0))
    if after == 0:
        return float(x[0])
    before = after - 1
    share = rising[before] / (rising[before] - rising[after])
    return float(x[before] + share * (x[after] - x[before]))


def _half(error: Floats, fits: Pair, confidence: float) -> Floats:
    freedom = min(fit.degrees_of_freedom for fit in fits)
    half: Floats = half_width(error, freedom, confidence) * np.ones_like(error)
    return half


def _measure(
    name: str,
    unit: str,
    value: float,
    errors: Sequence[float] | Floats,
    of: Of,
    *,
    extrapolated: bool,
    construction: Construction | None = None,
) -> Measure:
    names, fits, confidence = of
    errors = [float(one) for one in errors]
    error, freedom = math.hypot(*errors), effective_freedom(errors, [fit.degrees_of_freedom for fit in fits])
    half = float(half_width(error, freedom, confidence))
    return Measure(
        name=name,
        value=value,
        low=value - half,
        high=value + half,
        unit=unit,
        extrapolated=extrapolated,
        note=f"{names[0]} minus {names[1]}" if name != _RATIO else f"{names[0]} over {names[1]}",
        construction=construction or Construction(),
        standard_uncertainty=error,
        degrees_of_freedom=freedom,
    )
