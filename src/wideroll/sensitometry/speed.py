"""Film speed by ISO 6, ISO 5800 and ISO 2240: the formulas on exposures, and the speed of a fitted strip.

The clause texts of ISO 5800 and ISO 2240 and the constants of all three are from memory, not checked against the
standards; the contrast condition of ISO 6 was seen quoted, its tolerance is from memory.
"""

import math
from collections.abc import Mapping
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.sensitometry.intervals import effective_freedom, half_width
from wideroll.sensitometry.levels import SPEED_DENSITY, log_h_quantity, minimum_reached, outside
from wideroll.sensitometry.model import Construction, CurveFit, FilmType, IsoSpeed, Measure, Record
from wideroll.sensitometry.read_off import Quantity, read_off
from wideroll.sensitometry.richards import density_on

__all__ = ["iso6_speed", "iso2240_speed", "iso5800_speed", "iso_speed", "round_speed"]

_SCALE: Final = (
    *(6, 8, 10, 12, 16, 20, 25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800),
    *(1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400),
)
"""The arithmetic scale from 9° up, one degree each (irregular members seen quoted, the rest from memory)."""
_FIRST_DEGREE: Final = 9
_ISO6_CONTRAST_LOG_H: Final = 1.30
_ISO6_CONTRAST_DENSITY: Final = 0.80
_ISO6_TOLERANCE: Final = 0.05


def iso6_speed(h_m: float) -> float:
    """Speed of black-and-white negative film: 0.8 / Hm, Hm in lx·s at 0.10 above base and fog.

    Raises:
        ArgumentError: when the exposure isn't positive.

    Example:
        >>> round(iso6_speed(0.0080), 9)
        100.0
    """
    _check_exposures(h_m)
    return 0.8 / h_m


def iso5800_speed(h_red: float, h_green: float, h_blue: float) -> float:
    """Speed of colour negative film: √2 / Hm, Hm = √(H_green · H_slowest), each in lx·s at 0.15 above the minimum.

    The densities are status M.

    Raises:
        ArgumentError: when an exposure isn't positive.

    Example:
        >>> round(iso5800_speed(h_red=0.0140, h_green=0.0125, h_blue=0.0160), 9)
        100.0
    """
    _check_exposures(h_red, h_green, h_blue)
    return math.sqrt(2.0) / math.sqrt(h_green * max(h_red, h_green, h_blue))


def iso2240_speed(h_t: float, h_s: float) -> float:
    """Speed of colour reversal film: 10 / √(H_T · H_S) in lx·s, at 0.20 and 2.0 above minimum visual density.

    Raises:
        ArgumentError: when an exposure isn't positive.

    Example:
        >>> round(iso2240_speed(h_t=1.0, h_s=0.01), 9)
        100.0
    """
    _check_exposures(h_t, h_s)
    return 10.0 / math.sqrt(h_t * h_s)


def round_speed(arithmetic: float) -> tuple[int, int] | None:
    """The arithmetic and degree values of the scale a speed rounds to; None beyond the scale (6/9° to 6400/39°).

    Degrees are 10 log10 S + 1. Class borders lie half a degree from the exact members (computed; the borders printed
    in the standards weren't seen).

    Raises:
        ArgumentError: when the speed isn't positive.

    Example:
        >>> round_speed(104.0), round_speed(9000.0)
        ((100, 21), None)
    """
    _check_exposures(arithmetic)
    degree = math.floor(10.0 * math.log10(arithmetic) + 1.5)
    place = degree - _FIRST_DEGREE
    return (_SCALE[place], degree) if 0 <= place < len(_SCALE) else None


def iso_speed(film_type: FilmType, fits: Mapping[Record, CurveFit], *, confidence: float = 0.95) -> IsoSpeed:
    """Speed of a strip by the standard of its film type, with its interval.

    ISO 6 for black-and-white (visual), ISO 5800 for colour negative (red, green and blue, status M), ISO 2240 for
    colour reversal (visual). Motion-picture negative has no ISO speed. Records are taken to err independently; which
    one is the slowest is taken as known.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.

    Example:
        >>> str(iso_speed(FilmType.MOTION_PICTURE_NEGATIVE, {}))
        'motion-picture negative has no ISO speed'
    """
    if film_type is FilmType.MOTION_PICTURE_NEGATIVE:
        return _no_speed(film_type, "motion-picture negative has no ISO speed")
    needed = _COLOUR if film_type is FilmType.COLOUR_NEGATIVE else (Record.VISUAL,)
    missing = [record for record in needed if record not in fits]
    if missing:
        wanted = " and ".join(missing)
        return _no_speed(film_type, f"{_STANDARD[film_type]} needs {wanted} densities")
    by_type = {
        FilmType.BLACK_AND_WHITE: _black_and_white,
        FilmType.COLOUR_NEGATIVE: _colour_negative,
        FilmType.COLOUR_REVERSAL: _colour_reversal,
    }
    return by_type[film_type](fits, confidence)


_COLOUR: Final = (Record.RED, Record.GREEN, Record.BLUE)
_STANDARD: Final[Mapping[FilmType, str]] = {
    FilmType.BLACK_AND_WHITE: "ISO 6",
    FilmType.COLOUR_NEGATIVE: "ISO 5800",
    FilmType.COLOUR_REVERSAL: "ISO 2240",
}


def _black_and_white(fits: Mapping[Record, CurveFit], confidence: float) -> IsoSpeed:
    fit = fits[Record.VISUAL]
    x, error = _log_h_above(fit, FilmType.BLACK_AND_WHITE)
    if not _real(x):
        return _no_speed(FilmType.BLACK_AND_WHITE, "the curve doesn't reach the speed point")
    speed_point = (x, density_on(fit.parameters, x))
    contrast_x = x + _ISO6_CONTRAST_LOG_H
    contrast_point = (contrast_x, density_on(fit.parameters, contrast_x))
    rise = contrast_point[1] - speed_point[1]
    met = abs(rise - _ISO6_CONTRAST_DENSITY) <= _ISO6_TOLERANCE
    note = (
        "" if met else f"contrast condition of ISO 6 not met: density rises {rise:.2f} over 1.30 log H, not 0.80 ± 0.05"
    )
    return _speed(
        FilmType.BLACK_AND_WHITE,
        iso6_speed(10.0**x),
        (error, fit.degrees_of_freedom, confidence),
        Construction(points=(speed_point, contrast_point), lines=((speed_point, contrast_point),)),
        extrapolated=outside(fit, x, contrast_x) or not minimum_reached(fit),
        note=note,
    )


def _colour_negative(fits: Mapping[Record, CurveFit], confidence: float) -> IsoSpeed:
    above = SPEED_DENSITY[FilmType.COLOUR_NEGATIVE]
    found = {record: _log_h_above(fits[record], FilmType.COLOUR_NEGATIVE) for record in _COLOUR}
    if not _real(*(x for x, _ in found.values())):
        return _no_speed(FilmType.COLOUR_NEGATIVE, "a record's curve doesn't reach the speed point")
    slowest = max(_COLOUR, key=lambda record: found[record][0])
    named = tuple(dict.fromkeys((Record.GREEN, slowest)))
    # each is weighted by a half, or green alone by one; the level of log H is common to both
    errors = [math.sqrt(max(found[r][1] ** 2 - fits[r].log_h_sd ** 2, 0.0)) / len(named) for r in named]
    freedom = effective_freedom(errors, [fits[record].degrees_of_freedom for record in named])
    error = math.hypot(*errors, fits[slowest].log_h_sd)
    exposures = {record: 10.0**x for record, (x, _) in found.items()}
    return _speed(
        FilmType.COLOUR_NEGATIVE,
        iso5800_speed(exposures[Record.RED], exposures[Record.GREEN], exposures[Record.BLUE]),
        (error, freedom, confidence),
        Construction(points=tuple((found[r][0], float(fits[r].parameters[0]) + above) for r in _COLOUR)),
        extrapolated=any(outside(fits[r], found[r][0]) or not minimum_reached(fits[r]) for r in _COLOUR),
        note=f"slowest record {slowest}",
    )


def _colour_reversal(fits: Mapping[Record, CurveFit], confidence: float) -> IsoSpeed:
    fit = fits[Record.VISUAL]

    values, errors = read_off(fit)
    toe, shoulder = values[Quantity.CHORD_X1], values[Quantity.CHORD_X2]
    if not _real(toe, shoulder):
        return _no_speed(FilmType.COLOUR_REVERSAL, "the curve doesn't reach the points of ISO 2240")
    points = ((toe, values[Quantity.CHORD_Y1]), (shoulder, values[Quantity.CHORD_Y2]))
    return _speed(
        FilmType.COLOUR_REVERSAL,
        iso2240_speed(10.0**toe, 10.0**shoulder),
        (errors[Quantity.CHORD_MEAN], fit.degrees_of_freedom, confidence),
        Construction(points=points, lines=((points[0], points[1]),)),
        extrapolated=outside(fit, toe, shoulder) or not minimum_reached(fit),
    )


def _speed(
    film_type: FilmType,
    arithmetic: float,
    spread: tuple[float, float, float],
    construction: Construction,
    *,
    extrapolated: bool,
    note: str = "",
) -> IsoSpeed:
    """The speed with its interval, from the standard error of log H, its degrees of freedom and the confidence."""
    error, freedom, confidence = spread
    half_log_h = float(half_width(error, freedom, confidence))
    rounded = round_speed(arithmetic)
    label = "beyond the ISO scale" if rounded is None else f"ISO {rounded[0]}/{rounded[1]}°"
    measure = Measure(
        name=f"{_STANDARD[film_type]} speed",
        value=arithmetic,
        low=arithmetic * 10.0**-half_log_h,
        high=arithmetic * 10.0**half_log_h if half_log_h < _ENDLESS else math.inf,
        unit="ISO",
        extrapolated=extrapolated,
        note="; ".join(part for part in (label, note) if part),
        construction=construction,
        standard_uncertainty=arithmetic * math.log(10.0) * error,
        degrees_of_freedom=float(freedom),
    )
    return IsoSpeed(
        film_type=film_type,
        measure=measure,
        degrees=10.0 * math.log10(arithmetic) + 1.0,
        class_arithmetic=None if rounded is None else rounded[0],
        class_degrees=None if rounded is None else rounded[1],
        note=note if rounded is not None else label,
    )


_ENDLESS: Final = 100.0


def _no_speed(film_type: FilmType, why: str) -> IsoSpeed:
    return IsoSpeed(
        film_type=film_type, measure=None, degrees=None, class_arithmetic=None, class_degrees=None, note=why
    )


def _log_h_above(fit: CurveFit, film_type: FilmType) -> tuple[float, float]:
    """Log H of the speed point and its standard error."""
    values, errors = read_off(fit)
    which = log_h_quantity(film_type)
    return values[which], errors[which]


def _real(*log_h: float) -> bool:
    """Whether all are exposures that exist: NaN lies off the curve, a huge one comes of a strip that says nothing."""
    return all(abs(x) < _ENDLESS for x in log_h)


def _check_exposures(*values: float) -> None:
    for value in values:
        if not (math.isfinite(value) and value > 0.0):
            raise ArgumentError(
                where="exposure or speed", rule="greater than 0", value=value, mend="Give lx·s, not its logarithm."
            )
