"""How likely the scan finds a mark, measured on the user's own raster; and what that means for a count of marks."""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.sampling import RateLimits, rate_limits
from wideroll.scan import LostLines, MarkFinder, ScanResult, ScanSettings
from wideroll.scan.detection import (
    ContrastUnit,
    DetectionClass,
    DetectionCurve,
    DetectionPlan,
    DetectionResult,
    DetectionTrial,
)
from wideroll.scan.detection_fit import compare_polarities, fit_detection
from wideroll.scan.detection_inject import inject
from wideroll.scan.detection_limits import detection_probability
from wideroll.scan.detection_plan import plan_marks, site_pixels, web_columns
from wideroll.scan.detection_score import Scored, score_marks, tally_classes
from wideroll.workflow.ports import Grey, Progress, Raster, Silent
from wideroll.workflow.scanning import open_blocks

__all__ = ["measure_detection", "spread_stretches", "true_rate"]

_USUAL: Final = DetectionTrial()
_FEED_LINES: Final = 2048
_LEAST_BLOCKS: Final = 2
"""Blocks of the finder to a stretch: its background must be what it is on the roll."""
_ROOM: Final = 2.0
"""Times the places that are needed: some lie on marks or beside the web."""
_DIGITS: Final = 2
_PLAIN: Final = 2
"""Dimensions of a block of one channel."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tried:
    """A stretch scanned twice."""

    scored: Scored
    noise: float


def measure_detection(
    raster: Raster,
    settings: ScanSettings | None = None,
    *,
    trial: DetectionTrial = _USUAL,
    progress: Progress | None = None,
) -> DetectionResult:
    """Lay marks on stretches of the raster, scan them without and with, and fit what was found.

    The stretches are spread evenly from head to tail; each is long enough for twice the places its marks need and for
    two blocks of the finder, and is held in memory once, with its copy block by block. The edges of the web with their
    beads, and 2 mm, are cut off before both scans. Nothing else of the raster is read. Of a stretch with lost lines the
    longest unbroken part is taken, of several channels the first.

    Args:
        raster: The user's own.
        settings: As the roll is scanned; the raster's source where None.
        trial: What to lay.
        progress: Told lines scanned, twice for each stretch.

    Returns:
        Curves for dark and bright marks and both; fewer, with the reason, where there was too little room.

    Raises:
        ArgumentError: when the trial goes by the noise and the web has none.
    """
    progress = progress or Silent()
    chosen = settings or ScanSettings(source=raster.source)
    windows = spread_stretches(raster.lines, raster.columns, raster.pitch_mm, chosen, trial)
    trial = replace(trial, stretches=max(len(windows), 1))
    progress.start("probability of detection", 2 * sum(last - first for first, last in windows), "lines")
    tried: list[_Tried] = []
    try:
        for number, (first, rows) in enumerate(_stretches(raster, windows)):
            web = web_columns(rows, raster.pitch_mm, chosen)
            inner = replace(chosen, find_edges=False)
            if web[1] <= web[0]:
                continue
            clean = _scan(rows, first, web, None, (raster, inner, progress))
            trial = _with_contrasts(trial, clean)
            plan = plan_marks(
                rows, first, clean, trial, first_column=web[0], stretch=number, saturation=chosen.saturation
            )
            found = _scan(rows, first, web, plan, (raster, inner, progress))
            tried.append(_Tried(scored=score_marks(plan, found.marks, clean.marks), noise=clean.noise))
    finally:
        progress.finish()
    return _sum_up(tried, raster.pitch_mm, trial, chosen)


def spread_stretches(
    lines: int, columns: int, pitch_mm: tuple[float, float], settings: ScanSettings, trial: DetectionTrial
) -> tuple[tuple[int, int], ...]:
    """Lines (from, to) of the stretches that a trial takes from a raster, spread evenly and not overlapping.

    A raster too short for all of them has fewer, at least one.

    Example:
        >>> spread_stretches(100_000, 13_720, (0.1, 0.1), ScanSettings(), DetectionTrial(stretches=2))
        ((22500, 27500), (72500, 77500))
    """
    levels = trial.contrasts if trial.unit is ContrastUnit.SIGNAL and trial.contrasts else trial.contrasts_noise
    marks = 2 * len(levels) * len(trial.sizes_px) * -(-trial.marks_per_class // trial.stretches)
    high, wide = site_pixels(pitch_mm, trial)
    needed = math.ceil(_ROOM * marks / max(columns // wide, 1)) * high
    length = min(max(needed, math.ceil(_LEAST_BLOCKS * settings.block_m * 1000.0 / pitch_mm[0])), lines)
    number = max(1, min(trial.stretches, lines // max(length, 1)))
    starts = [round((n + 0.5) / number * lines - length / 2.0) for n in range(number)]
    return tuple((start, start + length) for start in starts) if lines else ()


def true_rate(
    count: int,
    extent: float,
    curve: DetectionCurve,
    *,
    size_mm: float,
    contrast: float,
    confidence: float = 0.95,
) -> RateLimits:
    """How many marks of a class there are per unit of extent, found or not.

    Marks that lie there as a Poisson process and are found with probability p are found as a Poisson process of p times
    the rate. So the rate is count / (extent × p). Its limits are Garwood's of the count over the limits of p, each at
    the confidence (1 + confidence) / 2: both hold together with at least ``confidence``, whatever they have to do with
    each other (Bonferroni).

    Args:
        count: marks of the class found, 0 or more.
        extent: what was looked at, in the unit that the rate is per.
        curve: of detection.
        size_mm: of the class: its smallest, for an upper limit that holds for the whole class.
        contrast: of the class: its faintest, in the curve's unit.
        confidence: of the interval between both limits.

    Returns:
        ``rate`` is NaN and ``high`` infinite where the class is smaller or fainter than any tested.

    Raises:
        ArgumentError: when an argument is outside its range.

    Example:
        >>> from wideroll.scan.detection import DetectionClass
        >>> hits = {(0.2, 0.1): 1, (0.2, 0.2): 12, (0.8, 0.1): 19, (0.8, 0.2): 20}
        >>> tested = [
        ...     DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=n)
        ...     for (s, c), n in hits.items()
        ... ]
        >>> rate = true_rate(0, 10.0, fit_detection(tested), size_mm=0.4, contrast=0.15)
        >>> rate.rate, rate.low, round(rate.high, 2)
        (0.0, 0.0, 0.61)
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give for example 0.95."
        )
    each = (1.0 + confidence) / 2.0
    found = rate_limits(count, extent, each)
    detected = detection_probability(curve, size_mm, contrast, each)
    return replace(
        found,
        confidence=confidence,
        rate=_over(found.rate, detected.value),
        low=_over(found.low, detected.high),
        high=_over(found.high, detected.low),
    )


def _over(rate: float, probability: float) -> float:
    return rate / probability if probability != 0.0 else math.inf


def _with_contrasts(trial: DetectionTrial, clean: ScanResult) -> DetectionTrial:
    """The trial with its contrasts as fractions, to two digits, so that all stretches lay the same classes."""
    if trial.unit is ContrastUnit.NOISE or trial.contrasts:
        return trial
    contrasts = tuple(float(f"{clean.noise * multiple:.{_DIGITS}g}") for multiple in trial.contrasts_noise)
    if clean.noise <= 0.0:
        raise ArgumentError(
            where="DetectionTrial.contrasts",
            rule="must be given where the web shows no noise to go by",
            mend="Give contrasts as fractions of the signal.",
        )
    return replace(trial, contrasts=contrasts)


def _scan(
    rows: Grey,
    first: int,
    web: tuple[int, int],
    plan: DetectionPlan | None,
    scanner: tuple[Raster, ScanSettings, Progress],
) -> ScanResult:
    raster, settings, progress = scanner
    finder = MarkFinder(web[1] - web[0], raster.pitch_mm, raster.dtype, settings)
    for start in range(0, len(rows), _FEED_LINES):
        part = rows[start : start + _FEED_LINES]
        laid = part if plan is None else inject(part, first + start, plan)
        finder.feed(laid[:, web[0] : web[1]])
        progress.advance(len(part))
    return finder.finish()


def _stretches(raster: Raster, windows: Sequence[tuple[int, int]]) -> Iterator[tuple[int, Grey]]:
    """First line and rows of the longest unbroken part of each window."""
    for first, stop in windows:
        line, parts = first, list[tuple[int, Grey]]()
        with open_blocks(raster, first, stop) as blocks:
            for block in blocks:
                if isinstance(block, LostLines):
                    line += block.lines
                    continue
                # The reader may use its block again.
                parts.append((line, (block if block.ndim == _PLAIN else block[..., 0]).copy()))
                line += len(block)
        yield from _longest(parts)


def _longest(parts: Sequence[tuple[int, Grey]]) -> Iterator[tuple[int, Grey]]:
    borders = [n for n, (one, other) in enumerate(itertools.pairwise(parts), 1) if one[0] + len(one[1]) < other[0]]
    runs = [parts[a:b] for a, b in itertools.pairwise([0, *borders, len(parts)]) if a < b]
    if runs:
        best = max(runs, key=lambda run: run[-1][0] + len(run[-1][1]) - run[0][0])
        yield best[0][0], np.concatenate([rows for _, rows in best])


def _sum_up(
    tried: Sequence[_Tried], pitch_mm: tuple[float, float], trial: DetectionTrial, settings: ScanSettings
) -> DetectionResult:
    plans = [one.scored.plan for one in tried]
    tested = tally_classes(one.scored for one in tried)
    curves, why = _fit(tested, trial)
    return DetectionResult(
        curves=curves,
        tested=tested,
        polarity_p=compare_polarities(curves[0], curves[1], curves[2]) if len(curves) == 3 else math.nan,  # noqa: PLR2004
        why=why,
        stretches=tuple((plan.first_line, plan.first_line + plan.lines) for plan in plans),
        strays=sum(one.scored.strays for one in tried),
        no_room=sum(plan.no_room for plan in plans),
        left_out=sum(plan.left_out for plan in plans),
        noise=tried[0].noise if tried else math.nan,
        pitch_mm=pitch_mm,
        trial=trial,
        settings=settings,
    )


def _fit(tested: tuple[DetectionClass, ...], trial: DetectionTrial) -> tuple[tuple[DetectionCurve, ...], str]:
    """Curves that bend or don't alike, so that they can be compared."""
    curves: list[DetectionCurve] = []
    reasons = []
    for polarity in (Polarity.DARK, Polarity.BRIGHT, None):
        try:
            curves.append(fit_detection(tested, polarity=polarity, unit=trial.unit))
        except ArgumentError as error:
            reasons.append(f"{polarity.value if polarity else 'all'} marks: {error.rule}, got {error.value}")
    if any(curve.bends_mm for curve in curves):
        curves = [
            curve if curve.bends_mm else fit_detection(tested, polarity=curve.polarity, unit=trial.unit, bent=True)
            for curve in curves
        ]
    return tuple(curves), "; ".join(reasons)
