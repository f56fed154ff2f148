"""What a curve of detection says: how likely a mark is found, and how large or strong it must be.

Intervals are by the likelihood ratio, as MIL-HDBK-1823A's for hit/miss: a value is inside as long as the profile
likelihood, with the logit at that size and contrast held and the slopes free, falls from its greatest by less than
half the square of the normal quantile [milhdbk1823a; venzon1988]. Of a penalised fit it is the penalised likelihood
[heinze2002].
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtri

from wideroll.errors import ArgumentError
from wideroll.scan.detection import DetectionCurve, DetectionProbability, DetectionThreshold, FitMethod, Reach
from wideroll.scan.detection_fit import class_trials, place_row
from wideroll.scan.detection_logistic import Trials, maximise

__all__ = [
    "DetectionCell",
    "DetectionSize",
    "DetectionTable",
    "contrast_detected",
    "detection_probability",
    "detection_table",
    "size_detected",
]

_SURE_LOGIT: Final = 30.0
"""A logit beyond this is a certainty."""
_SLACK: Final = 1e-9
_CLOSE: Final = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionCell:
    """One class of a curve: what was laid and found, and what the curve says of it."""

    size_mm: float
    contrast: float
    injected: int
    hits: int
    probability: DetectionProbability


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionSize:
    """How large marks of one contrast must be."""

    contrast: float
    a50: DetectionThreshold
    a90: DetectionThreshold
    """Its bound is a90/95 at a confidence of 0.95."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionTable:
    """A curve as rows to print: by size and contrast, and by contrast alone."""

    cells: tuple[DetectionCell, ...]
    sizes: tuple[DetectionSize, ...]


def detection_probability(
    curve: DetectionCurve, size_mm: float, contrast: float, confidence: float = 0.95
) -> DetectionProbability:
    """How likely the scan finds a mark, with a two-sided likelihood-ratio interval.

    Args:
        curve: Of detection.
        size_mm: Diameter, or the diameter of a circle of its area.
        contrast: In the curve's unit; its sign doesn't count.
        confidence: Of the interval.

    Returns:
        Beyond what was tested it is held at the nearest that was, widened and flagged, see ``DetectionProbability``.

    Raises:
        ArgumentError: when size or contrast isn't a finite number above 0, or confidence doesn't lie between 0 and 1.

    Example:
        >>> from wideroll.roll import Polarity
        >>> from wideroll.scan.detection import DetectionClass
        >>> from wideroll.scan.detection_fit import fit_detection
        >>> hits = {(0.2, 0.1): 1, (0.2, 0.2): 12, (0.4, 0.1): 11, (0.4, 0.2): 19}
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=n)
        ...     for (s, c), n in hits.items()
        ... ]
        >>> found = detection_probability(fit_detection(tested), 0.4, 0.15)
        >>> round(found.value, 3), round(found.low, 3), round(found.high, 3), found.tested
        (0.876, 0.727, 0.961, True)
        >>> detection_probability(fit_detection(tested), 0.1, 0.15).why
        'smaller than any tested'
    """
    _positive("size_mm", size_mm)
    contrast = abs(contrast)
    _positive("contrast", contrast)
    _check_share("confidence", confidence)
    size, held = _into(size_mm, curve.sizes_mm), _into(contrast, curve.contrasts)
    below = [w for w, a, b in (("smaller", size_mm, size), ("fainter", contrast, held)) if _below(a, b)]
    above = [w for w, a, b in (("larger", size_mm, size), ("stronger", contrast, held)) if _below(b, a)]
    profile = _Profile(curve, size, held)
    z = float(ndtri(0.5 + confidence / 2.0))
    return DetectionProbability(
        value=math.nan if below else float(expit(profile.logit)),
        low=0.0 if below else float(expit(profile.limit(z))),
        high=1.0 if above else float(expit(profile.limit(-z))),
        confidence=confidence,
        tested=not (below or above),
        why=f"{' and '.join([*below, *above])} than any tested" if below or above else "",
    )


def size_detected(
    curve: DetectionCurve, contrast: float, probability: float = 0.9, confidence: float = 0.95
) -> DetectionThreshold:
    """The size from which on marks of a contrast are found with a probability: a90, and a90/95 as its bound.

    The bound is the size at which the one-sided lower confidence bound of the probability reaches it
    [milhdbk1823a], by the likelihood ratio. Nothing is extrapolated, see ``DetectionThreshold``.

    Raises:
        ArgumentError: when contrast isn't a finite number above 0, or probability or confidence doesn't lie between 0
            and 1.

    Example:
        >>> from wideroll.roll import Polarity
        >>> from wideroll.scan.detection import DetectionClass
        >>> from wideroll.scan.detection_fit import fit_detection
        >>> hits = {(0.2, 0.1): 1, (0.2, 0.2): 12, (0.8, 0.1): 19, (0.8, 0.2): 20}
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=n)
        ...     for (s, c), n in hits.items()
        ... ]
        >>> a90 = size_detected(fit_detection(tested), 0.15)
        >>> f"{a90.reach}{a90.value:.2f} mm, {a90.bound_reach}{a90.bound:.2f} mm"
        '0.42 mm, 0.55 mm'
    """
    contrast = abs(contrast)
    _positive("contrast", contrast)

    def at(size_mm: float) -> _Profile:
        return _Profile(curve, size_mm, contrast)

    known = _into(contrast, curve.contrasts) == contrast
    return _threshold(
        at, sorted({one.size_mm for one in curve.tested}), given=contrast, known=known, asked=(probability, confidence)
    )


def contrast_detected(
    curve: DetectionCurve, size_mm: float, probability: float = 0.9, confidence: float = 0.95
) -> DetectionThreshold:
    """The contrast from which on marks of a size are found with a probability, and its bound, as ``size_detected``.

    Raises:
        ArgumentError: as ``size_detected``, for the size.

    Example:
        >>> from wideroll.roll import Polarity
        >>> from wideroll.scan.detection import DetectionClass
        >>> from wideroll.scan.detection_fit import fit_detection
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=20)
        ...     for s in (0.2, 0.8)
        ...     for c in (0.1, 0.2)
        ... ]
        >>> always = contrast_detected(fit_detection(tested), 0.4)
        >>> f"{always.reach} {always.value}"
        '≤ 0.1'
    """
    _positive("size_mm", size_mm)

    def at(contrast: float) -> _Profile:
        return _Profile(curve, size_mm, contrast)

    known = _into(size_mm, curve.sizes_mm) == size_mm
    return _threshold(
        at, sorted({one.contrast for one in curve.tested}), given=size_mm, known=known, asked=(probability, confidence)
    )


def detection_table(curve: DetectionCurve, confidence: float = 0.95) -> DetectionTable:
    """A curve as rows: each class with its probability, and a50 and a90 with their bounds for each contrast.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.

    Example:
        >>> from wideroll.roll import Polarity
        >>> from wideroll.scan.detection import DetectionClass
        >>> from wideroll.scan.detection_fit import fit_detection
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=9, hits=round(9 * s * c + 1))
        ...     for s in (0.2, 0.8)
        ...     for c in (0.1, 0.9)
        ... ]
        >>> table = detection_table(fit_detection(tested))
        >>> len(table.cells), [row.contrast for row in table.sizes], table.sizes[0].a90.reach.value
        (4, [0.1, 0.9], '>')
    """
    cells = tuple(
        DetectionCell(
            size_mm=one.size_mm,
            contrast=one.contrast,
            injected=one.injected,
            hits=one.hits,
            probability=detection_probability(curve, one.size_mm, one.contrast, confidence),
        )
        for one in curve.tested
    )
    sizes = tuple(
        DetectionSize(
            contrast=contrast,
            a50=size_detected(curve, contrast, 0.5, confidence),
            a90=size_detected(curve, contrast, 0.9, confidence),
        )
        for contrast in sorted({one.contrast for one in curve.tested})
    )
    return DetectionTable(cells=cells, sizes=sizes)


class _Profile:
    """The likelihood at one size and contrast as a function of the logit there."""

    def __init__(self, curve: DetectionCurve, size_mm: float, contrast: float) -> None:
        self._trials: Trials = class_trials(curve.tested, curve.bends_mm, (size_mm, contrast))
        self._penalised = curve.method is FitMethod.FIRTH
        self._best = curve.log_likelihood
        self._fit = np.array(curve.coefficients)
        place = place_row(size_mm, contrast, curve.bends_mm)
        self.logit = float(place @ self._fit)
        self._error = math.sqrt(float(place @ np.array(curve.covariance) @ place))

    def root(self, held: float) -> float:
        """√(2 × what the log-likelihood loses) when the logit is held, positive below the fitted one."""
        start = self._fit.copy()
        fit = maximise(self._trials, penalised=self._penalised, held=held, start=start)
        loss = math.sqrt(max(0.0, 2.0 * (self._best - fit.log_likelihood)))
        return math.copysign(loss, self.logit - held)

    def limit(self, z: float) -> float:
        """The logit at which the root is ``z``; ±∞ where no logit loses so much."""
        step = -z * self._error
        end = self.logit + step
        while (self.root(end) - z) * z < 0.0:
            if abs(end) > _SURE_LOGIT + abs(self.logit):
                return math.copysign(math.inf, step)
            end += step
        return float(brentq(lambda held: self.root(held) - z, end, self.logit, xtol=_CLOSE))


def _threshold(
    at: Callable[[float], _Profile],
    tested: Sequence[float],
    *,
    given: float,
    known: bool,
    asked: tuple[float, float],
) -> DetectionThreshold:
    probability, confidence = asked
    _check_share("probability", probability)
    _check_share("confidence", confidence)
    value, reach = bound, bound_reach = math.nan, Reach.UNTESTED
    if known:
        wanted, z = float(logit(probability)), float(ndtri(confidence))
        value, reach = _crossing(lambda x: at(x).logit - wanted, tested)
        bound, bound_reach = _crossing(lambda x: at(x).root(wanted) - z, tested)
    return DetectionThreshold(
        probability=probability,
        confidence=confidence,
        given=given,
        value=value,
        reach=reach,
        bound=bound,
        bound_reach=bound_reach,
    )


def _crossing(rises: Callable[[float], float], tested: Sequence[float]) -> tuple[float, Reach]:
    """From where on it is positive, at each tested value up to the greatest."""
    below = next((n for n in reversed(range(len(tested))) if rises(tested[n]) < 0.0), -1)
    if below == len(tested) - 1:
        return tested[-1], Reach.ABOVE
    if below < 0:
        return tested[0], Reach.AT_MOST
    low, high = math.log(tested[below]), math.log(tested[below + 1])
    found = brentq(lambda x: rises(math.exp(x)), low, high, xtol=_CLOSE)
    return math.exp(float(found)), Reach.INSIDE


def _into(value: float, tested: tuple[float, float]) -> float:
    """The value, or the nearest that was tested; what differs by rounding only is the same."""
    low, high = tested
    return value if low * (1.0 - _SLACK) <= value <= high * (1.0 + _SLACK) else min(max(value, low), high)


def _below(one: float, other: float) -> bool:
    return one < other * (1.0 - _SLACK)


def _positive(where: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise ArgumentError(where=where, rule="must be a finite number above 0", value=value, mend="Correct it.")


def _check_share(where: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise ArgumentError(where=where, rule="must lie between 0 and 1", value=value, mend="Give for example 0.95.")
