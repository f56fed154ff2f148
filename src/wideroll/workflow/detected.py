"""What a measured probability of detection says about the classes of marks that criteria speak of."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from wideroll.release import Criterion, DetectedShare, Measurand
from wideroll.roll import Polarity
from wideroll.scan.detection import DetectionCurve, DetectionProbability, DetectionResult
from wideroll.scan.detection_limits import detection_probability
from wideroll.workflow.model import ClassDetected

__all__ = ["detected_classes", "detected_shares", "telling_curves"]

_CONTRASTS: Final = (0.05, 0.1, 0.2)
"""A criterion says how large a mark must be to count, not how strong; so the answer is given for weak to plain ones."""
_COUNTED: Final = (Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE, Measurand.MARK_COUNT, Measurand.FORBIDDEN)
_ALIKE: Final = 0.05
_LEAST_SHARE: Final = 0.01
"""One mark never stands for more than a hundred."""


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


def detected_shares(
    criteria: Sequence[Criterion], detection: DetectionResult | None, marks: pl.DataFrame, *, source: str
) -> dict[tuple[str, str], DetectedShare]:
    """For each rate whose criterion says how faint a mark counts: how many of those that count the source finds.

    Nobody knows how small and faint the marks that were missed are. So the share lies between the probability for the
    least that counts, with the lower end of its interval, and 1; it is estimated by n ⁄ Σ 1⁄pᵢ over the n marks that
    were found and count (Horvitz and Thompson 1952), and where none was found it is that of the least.

    Args:
        criteria: the product's.
        detection: as measured on this scan; None where it wasn't.
        marks: those found by the source.
        source: what it is called in the criteria.
    """
    curves = telling_curves(detection)
    return {
        (criterion.name, source): _share(criterion, curves, _source(detection), marks)
        for criterion in criteria
        if criterion.measurand is Measurand.MARK_RATE and criterion.least_contrast > 0.0
    }


def _share(criterion: Criterion, curves: Sequence[DetectionCurve], why: str, marks: pl.DataFrame) -> DetectedShare:
    unknown = DetectedShare(value=math.nan, low=0.0, high=1.0)
    if not curves:
        return replace(unknown, why="it was not measured on this scan")
    if not criterion.least_size_mm > 0.0:
        return replace(unknown, why="the criterion gives no least size")
    least = _detected(criterion, criterion.least_contrast, curves, why).probability
    if math.isnan(least.value):
        return replace(unknown, why=least.why)
    each = [_found_with(curves, size, contrast) for size, contrast in _counting(criterion, marks)]
    inverse = [1.0 / max(p, _LEAST_SHARE) for p in each]
    value = len(inverse) / math.fsum(inverse) if inverse else least.value
    low = min(least.low, value, *each)
    return DetectedShare(value=value, low=low, high=1.0, confidence=least.confidence, why=why)


def _counting(criterion: Criterion, marks: pl.DataFrame) -> Iterator[tuple[float, float]]:
    """Diameter of a circle of its area, and contrast, of each mark that counts; to two figures, which is enough.

    A long narrow mark is found like a round one of its area, so that it is taken for smaller than its length.
    """
    counts = pl.max_horizontal("length_mm", "width_mm") >= criterion.least_size_mm
    if criterion.kinds:
        counts &= pl.col("kind").cast(pl.String).is_in(criterion.kinds)
    for area, contrast in marks.filter(counts).select("area_mm2", "contrast").iter_rows():
        size = math.sqrt(4.0 * area / math.pi)
        yield float(f"{size:.2g}"), float(f"{max(abs(contrast), criterion.least_contrast):.2g}")


def _found_with(curves: Sequence[DetectionCurve], size_mm: float, contrast: float) -> float:
    """Probability that such a mark is found; the least where dark and bright ones differ, 0 beyond what was tested."""
    found = (detection_probability(curve, size_mm, contrast).value for curve in curves)
    return min(0.0 if math.isnan(value) else value for value in found)


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
