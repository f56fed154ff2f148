"""One strip from readings to fits, measures and deviations."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.balance import compare_records, worst_spread
from wideroll.sensitometry.contrast import contrast_index, gamma, kept_average_gradient
from wideroll.sensitometry.deviations import compare, fit_aims
from wideroll.sensitometry.fitting import fit_curve
from wideroll.sensitometry.intervals import check_confidence
from wideroll.sensitometry.levels import density_at_log_h, kept_speed_point, latitude, maximum_density, minimum_density
from wideroll.sensitometry.model import Aims, CurveFit, Deviation, FilmType, Measure, Record, Strip, StripResult
from wideroll.sensitometry.overlay import overlay_aim
from wideroll.sensitometry.richards import density_of
from wideroll.sensitometry.speed import iso_speed
from wideroll.sensitometry.strip_dyes import strip_dye_shift

__all__ = ["fit_strip", "measure_strip"]

_LEAST_SPAN: Final = 0.30
_MOST_SCATTER: Final = 0.05
_FLAT: Final = 0.02
_LEAST_ON_SLOPE: Final = 3
"""A strip whose curve spans less, or whose readings scatter more (density), says nothing (common practice)."""


def measure_strip(
    strip: Strip,
    aims: Aims | None,
    *,
    confidence: float = 0.95,
    film_type: FilmType | None = None,
    clip_density: float | None = None,
    densities_at_log_h: Sequence[float] = (),
) -> StripResult:
    """Fit each record of a strip, measure the curves and compare them with the aims.

    With aims, the records that have an aim are measured; without, all that were read. Deviations of speed, contrast and
    minimum density are those of the aim's curve laid over the readings, unless the readings reject its shape; see
    ``overlay_aim`` and ``compare``. Where the aims hold the film's dyes, it is told too whether one record deviates or
    all. A strip that can't be fitted comes back unusable with the reason, not as an error.

    Args:
        strip: readings, corrected for the process already where that is wanted.
        aims: what the film should be; None for a bare strip, which is measured but not compared.
        confidence: of every interval.
        film_type: taken from the aims when they are given; without either, no speed is stated.
        clip_density: greatest density the instrument reads; readings there are left out.
        densities_at_log_h: log H at which densities are read off, beside those that the aims name.

    Raises:
        ArgumentError: when confidence isn't a probability or an aim can't be fitted.

    Example:
        >>> from wideroll.sensitometry import StripKind
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> density = 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2))) + 0.004 * np.cos(40.0 * x)
        >>> strip = Strip(name="1", kind=StripKind.CHECK, run="", log_h=x, density={Record.VISUAL: density})
        >>> result = measure_strip(strip, None, film_type=FilmType.BLACK_AND_WHITE)
        >>> [measure.note[:10] for measure in result.measures if measure.name == "ISO 6 speed"]
        ['ISO 125/22']
    """
    check_confidence(confidence)
    wanted = tuple(strip.density if aims is None else aims.curves)
    fits, why = fit_strip(strip, wanted, clip_density=clip_density)
    kind = aims.film_type if aims is not None else film_type
    why = why or _wrong_way(fits, kind)
    if why:
        return StripResult(strip=strip, fits=fits, measures=(), deviations=(), usable=False, why=why)
    measures = [m for record, fit in fits.items() for m in _measures(record, fit, kind, confidence)]
    places = (*(aims.densities_at_log_h if aims is not None else ()), *densities_at_log_h)
    measures += [
        density_at_log_h(fit, log_h, record=record, confidence=confidence)
        for record, fit in fits.items()
        for log_h in dict.fromkeys(places)
    ]
    speed = None if kind is None else iso_speed(kind, fits, confidence=confidence)
    aim_fits = fit_aims(aims) if aims is not None else {}
    pairs = compare_records(fits, aim_fits, kind, confidence=confidence)
    parallel = worst_spread(pairs)
    measures.extend(m for m in (speed.measure if speed else None, parallel) if m is not None)
    return StripResult(
        strip=strip,
        fits=fits,
        measures=tuple(measures),
        deviations=() if aims is None else tuple(_deviations(strip, fits, aim_fits, aims, confidence)),
        usable=True,
        why="",
        speed=speed,
        pairs=pairs,
        dye_shift=strip_dye_shift([fits], aim_fits, aims.dyes) if aims is not None and aims.dyes is not None else None,
    )


def fit_strip(
    strip: Strip, records: tuple[Record, ...], *, clip_density: float | None = None
) -> tuple[Mapping[Record, CurveFit], str]:
    """The curves of the records that could be fitted, and why the strip can't be used (empty when it can)."""
    fits: dict[Record, CurveFit] = {}
    reasons: list[str] = [strip.why_unusable] if strip.why_unusable else []
    for record in records:
        if record not in strip.density:
            reasons.append(f"{record}: not read")
            continue
        try:
            fits[record] = fit_curve(
                strip.log_h,
                strip.density[record],
                clip_density=clip_density,
                shared_covariance=strip.shared_covariance.get(record),
                log_h_sd=strip.log_h_sd,
            )
        except ArgumentError as error:
            reasons.append(f"{record}: needs {error.rule}, has {error.value}")
            continue
        doubt = _doubt(fits[record])
        if doubt:
            reasons.append(f"{record}: {doubt}")
    return fits, "; ".join(reasons)


def _deviations(
    strip: Strip,
    fits: Mapping[Record, CurveFit],
    aim_fits: Mapping[Record, CurveFit],
    aims: Aims,
    confidence: float,
) -> Iterator[Deviation]:
    for record, aim in aim_fits.items():
        fit = fits[record]
        shared = strip.shared_covariance.get(record)
        overlay = overlay_aim(fit, aim, shared_covariance=shared, shape_spread=aims.shape_spread)
        yield compare(record, fit, aim, aims.film_type, overlay=overlay, confidence=confidence)


def _doubt(fit: CurveFit) -> str:
    """Why the curve says nothing about the film; empty when it does."""
    first, last = density_of(fit.parameters, np.array(fit.log_h_range))
    span = abs(float(last - first))
    if fit.degrees_of_freedom < 1:
        return f"{int(fit.used.sum())} readings leave none to judge their scatter by"
    if span < _LEAST_SPAN:
        return f"density spans only {span:.2f} over the strip; was it exposed and processed?"
    if fit.residual_sd > _MOST_SCATTER:
        return f"readings scatter {fit.residual_sd:.3f} about the curve, more than {_MOST_SCATTER:.2f}; read it again"
    risen = (density_of(fit.parameters, fit.log_h[fit.used]) - first) / (last - first)
    on_slope = int(np.count_nonzero((risen > _FLAT) & (risen < 1.0 - _FLAT)))
    if on_slope < _LEAST_ON_SLOPE:
        return f"{on_slope} readings lie between toe and shoulder; the steps are too coarse to place the curve"
    return ""


def _wrong_way(fits: Mapping[Record, CurveFit], film_type: FilmType | None) -> str:
    """Why the direction of the curves can't be right; empty when it can."""
    if film_type is None:
        return ""
    falls = film_type is FilmType.COLOUR_REVERSAL
    wrong = [record for record, fit in fits.items() if (fit.parameters[3] < 0.0) != falls]
    if not wrong:
        return ""
    rule, seen = ("fall", "rises") if falls else ("rise", "falls")
    return f"density of {film_type} must {rule} with exposure but {seen} ({', '.join(wrong)}); are the steps reversed?"


def _measures(record: Record, fit: CurveFit, film_type: FilmType | None, confidence: float) -> list[Measure]:
    measures = [
        minimum_density(fit, record=record, confidence=confidence),
        maximum_density(fit, record=record, confidence=confidence),
        gamma(fit, record=record, confidence=confidence),
        kept_average_gradient(fit, confidence, record),
    ]
    if fit.parameters[3] > 0.0:
        measures.append(contrast_index(fit, record=record, confidence=confidence))
    if film_type is not None:
        measures.append(kept_speed_point(fit, film_type, confidence, record))
    measures.append(latitude(fit, record=record, confidence=confidence))
    return measures
