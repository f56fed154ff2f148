"""A strip against its aims, and whether its records run parallel.

An aim is a table of densities; it is fitted by the same family of curves as the strip and measured by the same
constructions, so that what the family can't follow cancels in the difference. The aim is taken as exact. Speed,
contrast and minimum density are those of the aim laid over the strip (``overlay.py``), if it has the aim's shape.
"""

import itertools
import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.contrast import average_gradient
from wideroll.sensitometry.fitting import fit_curve
from wideroll.sensitometry.intervals import check_confidence, half_width
from wideroll.sensitometry.levels import minimum_density, speed_point, useful_range
from wideroll.sensitometry.model import (
    AimOverlay,
    Aims,
    Construction,
    CurveFit,
    Deviation,
    FilmType,
    Floats,
    Measure,
    Record,
)
from wideroll.sensitometry.richards import density_of, jacobian_of

__all__ = ["compare", "fit_aims", "parallelism"]

_GRID: Final = 61
_STEP_LOG_H: Final = 0.15
"""Readings may end this much (one step of the usual tablet) inside the aim's useful range before a measure over it
counts as extrapolated."""
_MOST_AIMS_KEPT: Final = 64
_DIFFERS: Final = "shape differs from aim"


def fit_aims(aims: Aims) -> Mapping[Record, CurveFit]:
    """The aim curves fitted as strips are, all points used.

    Raises:
        ArgumentError: naming the record whose aim can't be fitted.

    Example:
        >>> from wideroll.sensitometry import Curve
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> curve = Curve(log_h=x, density=0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))))
        >>> aims = Aims(film_type=FilmType.BLACK_AND_WHITE, curves={Record.VISUAL: curve}, tolerance_density=0.05)
        >>> round(float(fit_aims(aims)[Record.VISUAL].parameters[1]), 4)
        2.0
    """
    fits: dict[Record, CurveFit] = {}
    for record, curve in aims.curves.items():
        try:
            fits[record] = _fit_table(_bytes(curve.log_h), _bytes(curve.density))
        except ArgumentError as error:
            place = f"aims, {record}"
            raise error.at(place) from error
    return fits


def compare(
    record: Record,
    fit: CurveFit,
    aim: CurveFit,
    film_type: FilmType,
    *,
    overlay: AimOverlay | None = None,
    confidence: float = 0.95,
) -> Deviation:
    """Check minus aim for one record.

    Speed is the difference of the speed points (positive: slower), contrast the ratio of the average gradients less 1,
    minimum density the difference. They are read off the overlay where the film has the aim's shape, else, with a note,
    off the free fit. The worst density deviation is the free fit's, since it must see a change of shape; it keeps its
    sign, and its interval is simultaneous over the whole curve (Scheffé), since the worst place was searched for.

    Args:
        record: which was read.
        fit: the strip's free fit.
        aim: the aim's fit.
        film_type: which sets the speed point and the chord of the average gradient.
        overlay: the aim laid over the strip, by ``overlay_aim``; without it all is read off the free fit.
        confidence: of every interval.

    Example:
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim, slower = (fit_curve(x, 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x - place)))) for place in (-1.2, -1.1))
        >>> round(compare(Record.VISUAL, slower, aim, FilmType.BLACK_AND_WHITE).speed_log_h.value, 4)
        0.1
    """
    differs = overlay is not None and not overlay.same_shape
    curve = fit if overlay is None or differs else overlay.fit
    of_check, of_aim = _read(curve, film_type, confidence), _read_aim(aim, film_type, confidence)

    def against(place: int, *, ratio: bool = False) -> Measure:
        return _against(of_check[place], of_aim[place], record, ratio=ratio, note=_DIFFERS if differs else "")

    return Deviation(
        record=record,
        speed_log_h=against(0),
        contrast=against(1, ratio=True),
        dmin_density=against(2),
        worst_density=_worst(record, fit, aim, confidence),
    )


def parallelism(
    fits: Mapping[Record, CurveFit], aims: Mapping[Record, CurveFit], *, confidence: float = 0.95
) -> Measure | None:
    """The greatest spread, over the useful range, of a difference of two records against the aim's difference.

    0 when all records keep the distances of the aim, whatever their common level. None with fewer than two colour
    records. The spread is the span of a noisy curve and so reads a little high when the records are truly parallel.

    Args:
        fits: the strip's curves.
        aims: the aim curves, as fitted by ``fit_aims``.
        confidence: of the interval, at the two places that make the spread.

    Example:
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim, lifted = (fit_curve(x, low + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2)))) for low in (0.2, 0.3))
        >>> aims = {Record.RED: aim, Record.GREEN: aim}
        >>> round(parallelism({Record.RED: lifted, Record.GREEN: lifted}, aims).value, 6)
        0.0
    """
    check_confidence(confidence)
    records = [record for record in fits if record is not Record.VISUAL and record in aims]
    pairs = [_spread(first, second, fits, aims, confidence) for first, second in itertools.combinations(records, 2)]
    if not pairs:
        return None
    return max(pairs, key=lambda m: -math.inf if math.isnan(m.value) else m.value)


def _spread(
    first: Record, second: Record, fits: Mapping[Record, CurveFit], aims: Mapping[Record, CurveFit], confidence: float
) -> Measure:
    ranges = [_useful_range(aims[record]) for record in (first, second)]
    x, short = _covered((max(r[0] for r in ranges), min(r[1] for r in ranges)), [fits[first], fits[second]])
    name, note = "parallelism", f"{first} minus {second}"
    if not len(x):
        return _not_covered(name, "density", None)
    off = _off(fits[first], aims[first], x) - _off(fits[second], aims[second], x)
    ends = x[[int(np.argmax(off)), int(np.argmin(off))]]
    variance = 0.0
    for record in (first, second):
        slope = np.subtract(*jacobian_of(fits[record].parameters, ends))
        variance += float(slope @ fits[record].covariance @ slope)
    freedom = min(fits[record].degrees_of_freedom for record in (first, second))
    half = float(half_width(math.sqrt(max(variance, 0.0)), freedom, confidence))
    value = float(np.ptp(off))
    points = tuple((float(s), float(density_of(fits[r].parameters, s))) for s in ends for r in (first, second))
    return Measure(
        name=name,
        value=value,
        low=max(value - half, 0.0),
        high=value + half,
        unit="density",
        extrapolated=short,
        note=note,
        construction=Construction(points=points),
    )


def _worst(record: Record, fit: CurveFit, aim: CurveFit, confidence: float) -> Measure:
    name = "worst density deviation"
    x, short = _covered(_useful_range(aim), [fit])
    if not len(x):
        return _not_covered(name, "density", record)
    off = _off(fit, aim, x)
    at = int(np.argmax(np.abs(off)))
    slope = jacobian_of(fit.parameters, x[at])
    error = math.sqrt(max(float(slope @ fit.covariance @ slope), 0.0))
    half = error * _scheffe(fit, confidence)
    place = float(x[at])
    here, there = (float(density_of(f.parameters, x[at])) for f in (fit, aim))
    return Measure(
        name=name,
        value=float(off[at]),
        low=float(off[at]) - half,
        high=float(off[at]) + half,
        unit="density",
        record=record,
        extrapolated=short,
        note=f"at log H {place:.2f}",
        construction=Construction(points=((place, here),), lines=(((place, there), (place, here)),)),
    )


def _scheffe(fit: CurveFit, confidence: float) -> float:
    check_confidence(confidence)
    if fit.degrees_of_freedom < 1:
        return math.inf
    free = int(np.count_nonzero(np.diag(fit.covariance)))
    return math.sqrt(free * float(special.fdtri(free, fit.degrees_of_freedom, confidence))) if free else 0.0


def _read(fit: CurveFit, film_type: FilmType, confidence: float) -> tuple[Measure, Measure, Measure]:
    """Speed point, average gradient and minimum density."""
    return (
        speed_point(fit, film_type, confidence=confidence),
        average_gradient(fit, film_type, confidence=confidence),
        minimum_density(fit, confidence=confidence),
    )


# the aims' fits are kept, so the same few objects come back with every strip
_read_aim = lru_cache(maxsize=_MOST_AIMS_KEPT)(_read)
_useful_range = lru_cache(maxsize=_MOST_AIMS_KEPT)(useful_range)


def _against(check: Measure, aim: Measure, record: Record, *, ratio: bool, note: str) -> Measure:
    scale, offset = (aim.value, 1.0) if ratio else (1.0, aim.value)
    place = check.note if check.extrapolated else f"aim: {aim.note}" if aim.extrapolated else ""
    return Measure(
        name=f"{check.name} against aim",
        value=check.value / scale - offset,
        low=check.low / scale - offset,
        high=check.high / scale - offset,
        unit="ratio" if ratio else check.unit,
        record=record,
        extrapolated=check.extrapolated or aim.extrapolated,
        note="; ".join(part for part in (note, place) if part),
        construction=check.construction,
    )


def _covered(wanted: tuple[float, float], fits: list[CurveFit]) -> tuple[Floats, bool]:
    """Places (n,) of the wanted range that all readings cover, and whether a step or more of it is missing."""
    first = max(wanted[0], *(fit.log_h_range[0] for fit in fits))
    last = min(wanted[1], *(fit.log_h_range[1] for fit in fits))
    if last < first:
        return np.empty(0), True
    return np.linspace(first, last, _GRID), first - wanted[0] > _STEP_LOG_H or wanted[1] - last > _STEP_LOG_H


def _off(fit: CurveFit, aim: CurveFit, x: Floats) -> Floats:
    return density_of(fit.parameters, x) - density_of(aim.parameters, x)


def _not_covered(name: str, unit: str, record: Record | None) -> Measure:
    return Measure(
        name=name,
        value=math.nan,
        low=math.nan,
        high=math.nan,
        unit=unit,
        record=record,
        extrapolated=True,
        note="the readings don't cover the aim's useful range",
    )


def _bytes(values: Floats) -> bytes:
    return np.ascontiguousarray(values, dtype=np.float64).tobytes()


@lru_cache(maxsize=_MOST_AIMS_KEPT)
def _fit_table(log_h: bytes, density: bytes) -> CurveFit:
    # the same few aims are compared with every strip; keyed by value, so that a changed table is fitted anew
    return fit_curve(np.frombuffer(log_h), np.frombuffer(density), set_aside=False)
