"""A strip against its aims.

An aim is a table of densities; it is fitted by the same family of curves as the strip and measured by the same
constructions, so that what the family can't follow cancels in the difference. The aim is taken as exact. Speed,
contrast and minimum density are those of the aim laid over the strip (``overlay.py``), if it has the aim's shape.
"""

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.along import held_against
from wideroll.sensitometry.contrast import average_gradient
from wideroll.sensitometry.fitting import fit_curve
from wideroll.sensitometry.intervals import half_width, scheffe_factor
from wideroll.sensitometry.levels import log_h_quantity, minimum_density, speed_point
from wideroll.sensitometry.model import (
    AimOverlay,
    Aims,
    Construction,
    CurveFit,
    Deviation,
    DeviationCurve,
    FilmType,
    Floats,
    Measure,
    Record,
)
from wideroll.sensitometry.ranges import covered_places, not_covered, useful_range_of
from wideroll.sensitometry.read_off import Quantity, errors_by
from wideroll.sensitometry.richards import density_on, jacobian_of

__all__ = ["compare", "fit_aims"]

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
    sign, and its interval is simultaneous over the whole curve (Scheffé), since the worst place was searched for; its
    standard uncertainty is what gives that interval with Student's t.

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

    places = (log_h_quantity(film_type), Quantity.CHORD_SLOPE, Quantity.MINIMUM)
    shared = errors_by(curve, (curve.run_covariance, curve.batch_covariance), places)

    def against(place: int, *, ratio: bool = False) -> Measure:
        note = _DIFFERS if differs else ""
        of_both = of_check[place], of_aim[place]
        return _against(*of_both, record, (shared[0][place], shared[1][place]), ratio=ratio, note=note)

    along, short = _along(fit, aim, confidence)
    return Deviation(
        record=record,
        speed_log_h=against(0),
        contrast=against(1, ratio=True),
        dmin_density=against(2),
        worst_density=_worst(record, fit, along, short=short, confidence=confidence),
        curve=along,
    )


def _along(fit: CurveFit, aim: CurveFit, confidence: float) -> tuple[DeviationCurve | None, bool]:
    """Check minus aim over what the readings cover of the aim's useful range, and whether a step of it is missing."""
    x, short = covered_places(useful_range_of(aim), [fit])
    if not len(x):
        return None, True
    off, error, shift, shift_error = held_against(fit.parameters, fit.covariance, aim.parameters, x)
    half = half_width(error, fit.degrees_of_freedom, confidence)
    shift_half = half_width(shift_error, fit.degrees_of_freedom, confidence)
    curve = DeviationCurve(
        log_h=x,
        density=off,
        density_half=np.asarray(half),
        shift_log_h=shift,
        shift_half=np.asarray(shift_half),
    )
    return curve, short


def _worst(record: Record, fit: CurveFit, along: DeviationCurve | None, *, short: bool, confidence: float) -> Measure:
    name = "worst density deviation"
    if along is None:
        return not_covered(name, "density", record)
    at = int(np.argmax(np.abs(along.density)))
    place, off = float(along.log_h[at]), float(along.density[at])
    slopes = jacobian_of(fit.parameters, np.array(place))
    error = math.sqrt(max(float(slopes @ fit.covariance @ slopes), 0.0))
    half = error * scheffe_factor(_free(fit), fit.degrees_of_freedom, confidence)
    plain = float(half_width(1.0, fit.degrees_of_freedom, confidence))
    here = density_on(fit.parameters, place)
    return Measure(
        name=name,
        value=off,
        low=off - half,
        high=off + half,
        unit="density",
        record=record,
        extrapolated=short,
        note=f"at log H {place:.2f}".replace("-", "−"),
        construction=Construction(points=((place, here),), lines=(((place, here - off), (place, here)),)),
        standard_uncertainty=half / plain if plain < math.inf else math.inf,
        degrees_of_freedom=float(fit.degrees_of_freedom),
    )


def _free(fit: CurveFit) -> int:
    """How many parameters were fitted."""
    return int(np.count_nonzero(np.diag(fit.covariance)))


def _read(fit: CurveFit, film_type: FilmType, confidence: float) -> tuple[Measure, Measure, Measure]:
    """Speed point, average gradient and minimum density."""
    return (
        speed_point(fit, film_type, confidence=confidence),
        average_gradient(fit, confidence=confidence),
        minimum_density(fit, confidence=confidence),
    )


_read_aim = lru_cache(maxsize=_MOST_AIMS_KEPT)(_read)
"""Kept: the aims' fits are, so the same few objects come back with every strip."""


def _against(
    check: Measure, aim: Measure, record: Record, shared: tuple[float, float], *, ratio: bool, note: str
) -> Measure:
    """Check minus aim; ``shared`` are standard errors that strips of a run have in common, and strips of a batch."""
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
        standard_uncertainty=check.standard_uncertainty / scale,
        degrees_of_freedom=check.degrees_of_freedom,
        run_uncertainty=shared[0] / scale,
        batch_uncertainty=shared[1] / scale,
    )


def _bytes(values: Floats) -> bytes:
    return np.ascontiguousarray(values, dtype=np.float64).tobytes()


@lru_cache(maxsize=_MOST_AIMS_KEPT)
def _fit_table(log_h: bytes, density: bytes) -> CurveFit:
    # the same few aims are compared with every strip; keyed by value, so that a changed table is fitted anew
    return fit_curve(np.frombuffer(log_h), np.frombuffer(density), set_aside=False)
