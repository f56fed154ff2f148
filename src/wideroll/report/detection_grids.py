"""How likely the scan finds a mark, in tables: by size and contrast, and for the classes that criteria speak of."""

import math
from collections.abc import Sequence
from typing import Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_count, show_number
from wideroll.roll import Polarity
from wideroll.scan.detection import (
    ContrastUnit,
    DetectionCurve,
    DetectionProbability,
    DetectionResult,
    DetectionThreshold,
    Reach,
)
from wideroll.scan.detection_limits import DetectionCell, detection_table
from wideroll.workflow.model import ClassDetected

__all__ = ["curve_words", "detected_grid", "detected_words", "detection_grid", "detection_words", "thresholds_grid"]

_NOT_TESTED: Final = "not tested"
_LEAST: Final = 0.005
_UNITS: Final = {ContrastUnit.SIGNAL: "contrast", ContrastUnit.NOISE: "contrast, × noise"}


def detection_grid(curve: DetectionCurve) -> Grid:
    """The probability of detection by contrast (down) and size (across), with its interval, in per cent."""
    table = detection_table(curve)
    sizes = sorted({cell.size_mm for cell in table.cells})
    contrasts = sorted({cell.contrast for cell in table.cells})
    return Grid(
        caption=f"Probability of detection in % by size in mm ({_marks(curve.polarity)}; below it its 95 % interval)",
        columns=(
            Column(head=_UNITS[curve.unit], number=True),
            *(Column(head=show_number(size, 2), number=True) for size in sizes),
        ),
        rows=tuple(
            (
                Cell(text=show_number(contrast, 3), tone="strong"),
                *(_cell([c for c in table.cells if (c.size_mm, c.contrast) == (size, contrast)]) for size in sizes),
            )
            for contrast in contrasts
        ),
        foot=curve_words(curve),
    )


def thresholds_grid(curve: DetectionCurve) -> Grid:
    """From which size on marks of each contrast are found: a50, a90 and a90/95."""
    rows = detection_table(curve).sizes
    return Grid(
        caption=f"Size in mm from which on marks are found ({_marks(curve.polarity)})",
        columns=(
            Column(head=_UNITS[curve.unit], number=True),
            Column(head="a50: every other one"),
            Column(head="a90: nine of ten"),
            Column(head="a90/95: nine of ten, at 95 % confidence"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(row.contrast, 3), tone="strong"),
                Cell(text=_threshold(row.a50, bound=False)),
                Cell(text=_threshold(row.a90, bound=False)),
                Cell(text=_threshold(row.a90, bound=True)),
            )
            for row in rows
        ),
        foot=("≤ already the smallest tested; > not even the largest tested.",),
    )


def curve_words(curve: DetectionCurve) -> tuple[str, ...]:
    """What stands behind a curve, and whether it may be believed."""
    facts = f"{curve.hits:,} of {curve.injected:,} marks found; {curve.method.value}."
    if curve.fits:
        return (facts,)
    doubt = f"The curve does not describe them (p = {curve.fit_p:.2g}): go by the marks found in each class instead."
    return facts, doubt


def detection_words(detection: DetectionResult) -> tuple[str, ...]:
    """What was done, and what of it could not be, one sentence each."""
    lines = sum(last - first for first, last in detection.stretches)
    where = f"{lines:,} lines in {len(detection.stretches)} stretches of this raster"
    said = [f"{detection.injected:,} marks were laid on {where}, which was then scanned with the same settings."]
    for count, what in (
        (detection.strays, "found where none was laid"),
        (detection.no_room, "not laid, for want of a free place"),
        (detection.left_out, "not laid, because the pixels can't show them there"),
    ):
        said += [f"{show_count(count, 'mark was', 'marks were')} {what}."] if count else []
    if detection.why:
        said.append(f"No curve for {detection.why}.")
    return tuple(said)


def detected_grid(detected: Sequence[ClassDetected]) -> Grid:
    """How likely the scan finds the smallest marks that each criterion counts."""
    sources = "; ".join(dict.fromkeys(one.source for one in detected))
    return Grid(
        caption="How likely the scan finds the smallest marks that count" + (f" ({sources})" if sources else ""),
        columns=(
            Column(head="criterion"),
            Column(head="size, mm", number=True),
            Column(head="contrast", number=True),
            Column(head="found with probability"),
            Column(head="note"),
        ),
        rows=tuple(
            (
                Cell(text=one.criterion, tone="strong"),
                Cell(text=show_number(one.size_mm, 2)),
                Cell(text=show_number(one.contrast, 2)),
                Cell(text=_probability(one.probability)),
                Cell(text=_note(one)),
            )
            for one in detected
        ),
        empty="Not measured on this scan (wideroll scan --pod does), or no criterion counts marks from a size on.",
    )


def detected_words(one: ClassDetected) -> str:
    """The same as a sentence.

    Example:
        >>> found = DetectionProbability(value=0.93, low=0.9, high=0.95, confidence=0.95, tested=True)
        >>> one = ClassDetected(
        ...     criterion="Spots",
        ...     size_mm=0.5,
        ...     contrast=0.2,
        ...     polarity=None,
        ...     probability=found,
        ...     fits=True,
        ...     source="trial",
        ... )
        >>> detected_words(one)
        'a mark of 0.5 mm at contrast 0.2 is found with probability 0.93 (0.90 to 0.95)'
    """
    note = f"; {_note(one)}" if _note(one) else ""
    found = _probability(one.probability)
    return f"a mark of {one.size_mm:g} mm at contrast {one.contrast:g} is found with probability {found}{note}"


def _marks(polarity: Polarity | None) -> str:
    return f"{polarity.value} marks" if polarity else "dark and bright marks"


def _cell(found: Sequence[DetectionCell]) -> Cell:
    if not found:
        return Cell(text=_NOT_TESTED)
    one = found[0].probability
    return Cell(text=_per_cent(one.value), note=f"{_per_cent(one.low)}–{_per_cent(one.high)}")


def _per_cent(probability: float) -> str:
    """To a per cent; neither nothing nor all is claimed."""
    if probability < _LEAST:
        return "<1"
    return ">99" if probability > 1.0 - _LEAST else show_number(100.0 * probability, 0)


def _threshold(found: DetectionThreshold, *, bound: bool) -> str:
    value, reach = (found.bound, found.bound_reach) if bound else (found.value, found.reach)
    if reach is Reach.UNTESTED:
        return _NOT_TESTED
    return f"{reach.value} {show_number(value, 2)}".strip()


def _probability(found: DetectionProbability) -> str:
    low, high = _share(found.low), _share(found.high)
    if found.tested:
        return f"{_share(found.value)} ({low} to {high})"
    # Smaller or fainter than any tested: only how much at most; larger or stronger: only how much at least.
    return f"at most {high}" if math.isnan(found.value) else f"at least {low}"


def _share(probability: float) -> str:
    if probability < _LEAST:
        return "under 0.01"
    return "over 0.99" if probability > 1.0 - _LEAST else show_number(probability, 2)


def _note(one: ClassDetected) -> str:
    parts = [f"{_marks(one.polarity)}, which are found less" if one.polarity else "", one.probability.why]
    parts.append("" if one.fits else "the curve doesn't describe the marks that were laid")
    return "; ".join(part for part in parts if part)
