"""What a measured probability of detection says about the classes of marks that criteria speak of."""

import math
from collections.abc import Iterator, Sequence
from typing import Final

from wideroll.release import Criterion, Measurand
from wideroll.roll import Polarity
from wideroll.scan.detection import DetectionCurve, DetectionProbability, DetectionResult
from wideroll.scan.detection_limits import detection_probability
from wideroll.workflow.model import ClassDetected

__all__ = ["detected_classes", "telling_curves"]

_CONTRASTS: Final = (0.05, 0.1, 0.2)
"""A criterion says how large a mark must be to count, not how strong; so the answer is given for weak to plain ones."""
_COUNTED: Final = (Measurand.MARKS_PER_M2, Measurand.MARKS_PER_M2_LOCAL, Measurand.FORBIDDEN)
_ALIKE: Final = 0.05


def detected_classes(criteria: Sequence[Criterion], detection: DetectionResult | None) -> tuple[ClassDetected, ...]:
    """For each criterion that counts marks from a size on, how likely the smallest of them are found.

    Larger marks of the same contrast are found no less likely. Where dark and bright marks aren't found alike, the
    probability is that of those which are found less.
    """
    curves = telling_curves(detection)
    source = _source(detection)
    return tuple(
        _detected(criterion, contrast, curves, source)
        for criterion in (criteria if curves else ())
        if criterion.measurand in _COUNTED and criterion.least_size_mm > 0.0
        for contrast in _CONTRASTS
    )


def telling_curves(detection: DetectionResult | None) -> tuple[DetectionCurve, ...]:
    """One curve for all marks where dark and bright are found alike (at 5 %); else one for each that there is."""
    if detection is None:
        return ()
    together = detection.curve()
    apart = [curve for one in Polarity if (curve := detection.curve(one)) is not None]
    if len(apart) > 1 and detection.polarity_p <= _ALIKE:
        return tuple(apart)
    return (together,) if together is not None else tuple(apart)


def _detected(criterion: Criterion, contrast: float, curves: Sequence[DetectionCurve], source: str) -> ClassDetected:
    found = [(detection_probability(curve, criterion.least_size_mm, contrast), curve) for curve in curves]
    probability, curve = min(found, key=lambda one: tuple(_least(one[0])))
    return ClassDetected(
        criterion=criterion.name,
        size_mm=criterion.least_size_mm,
        contrast=contrast,
        polarity=curve.polarity,
        probability=probability,
        fits=curve.fits,
        source=source,
    )


def _least(probability: DetectionProbability) -> Iterator[float]:
    """What is not known counts as nothing."""
    yield from (0.0 if math.isnan(value) else value for value in (probability.value, probability.low))
    yield probability.high


def _source(detection: DetectionResult | None) -> str:
    if detection is None:
        return ""
    return f"{detection.injected:,} marks laid on {len(detection.stretches)} stretches of this scan and searched for"
