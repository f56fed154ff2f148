"""Which marks a criterion counts, and on how much that was looked at."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtri

from wideroll.release.ground import area_within_m2, seen_along
from wideroll.release.looks import DetectedShare, Looked
from wideroll.release.model import Criterion, Evidence, Measurand
from wideroll.release.words import number, plural
from wideroll.roll import Coverage, Extent

__all__ = [
    "RATES",
    "SCAN",
    "Counting",
    "counted_kinds",
    "counted_marks",
    "marks_words",
    "on_roll",
    "on_web",
    "owner",
    "sources_of",
    "uncut",
]

RATES: Final = (Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE)
"""Criteria that count marks."""
SCAN: Final = "scan"
"""The source whose marks are counted where a criterion names none, and of marks whose own source has no coverage."""
_AND: Final = " and "
_STRETCHES: Final = 40
"""Into so many a source that sees all along is divided, to tell clusters by."""
_ROUNDING: Final = 1e-6
"""A smaller share of a stretch that was looked at comes from rounding."""


def sources_of(criterion: Criterion) -> tuple[str, ...]:
    """The sources whose counts a rate is taken from."""
    return tuple((criterion.subject or SCAN).split(_AND))


def counted_marks(criterion: Criterion, evidence: Evidence, source: str) -> pl.DataFrame:
    """The marks on the roll that the criterion counts from one source, in order along.

    For a rate fainter ones than ``least_contrast`` count too: what is measured of a mark scatters about what it is, and
    one that is just as faint must not be lost by it.
    """
    name = pl.col("source")
    chosen = on_roll(evidence) & counted_kinds(criterion)
    if source == SCAN:
        chosen &= ~name.is_in([other for other in evidence.coverage if other != SCAN])
    else:
        chosen &= name == source
    return evidence.marks.filter(chosen).sort("along_m", "across_mm")


def counted_kinds(criterion: Criterion) -> pl.Expr:
    """Whether a mark is of the size and one of the kinds that count; in a finished roll not if it is proven fainter."""
    counts = pl.max_horizontal("length_mm", "width_mm") >= criterion.least_size_mm
    if criterion.kinds:
        counts &= pl.col("kind").cast(pl.String).is_in(criterion.kinds)
    return counts & _not_fainter(criterion) if criterion.measurand is Measurand.MARK_COUNT else counts


def _not_fainter(criterion: Criterion) -> pl.Expr:
    """Marks that aren't proven to be fainter than what counts.

    The mean contrast over a mark's core scatters with the standard error contrast ⁄ snr, so that a mark counts unless
    its upper limit, one-sided at the criterion's confidence, lies below ``least_contrast``.
    """
    if not criterion.least_contrast > 0.0:
        return pl.lit(value=True)
    reach = float(ndtri(criterion.confidence))
    upper = pl.col("contrast").abs() * (1.0 + reach / pl.col("snr"))
    return upper.is_nan() | (upper >= criterion.least_contrast)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counting:
    """A criterion's marks by source, what was cut out before they are counted, and which cuts only a sample showed."""

    criterion: Criterion
    evidence: Evidence
    marks: Mapping[str, pl.DataFrame]
    cuts: tuple[Extent, ...]
    on_samples: frozenset[Extent] = frozenset()

    def cuts_for(self, source: str) -> list[Extent]:
        """What is left aside for a source.

        A part cut out for what a sample showed stays in that sample: it stands for the rest of the roll, where there
        is more like it.
        """
        return [cut for cut in self.cuts if source not in self.evidence.sampled or cut not in self.on_samples]

    def looks_in(self, region: Extent) -> tuple[Looked, ...]:
        """What each source of the criterion counted in a region, what is cut out left aside.

        A source that was sampled is counted sheet by sheet, one that sees all along by stretches. Where both looked at
        a place the sampled one counts, and the other is left out there.
        """
        evidence, looks, taken = self.evidence, list[Looked](), list[Extent]()
        for source in sorted(self.marks, key=lambda one: one not in evidence.sampled):
            sampled = source in evidence.sampled
            coverage = evidence.sampled.get(source) or evidence.coverage.get(source)
            if coverage is None:
                continue
            count = _by_sheet if sampled else _by_stretch
            parts = tuple(count(self.marks[source], coverage, region, [*self.cuts_for(source), *taken]))
            if parts:
                detected = evidence.detected.get((self.criterion.name, source), DetectedShare())
                looks.append(Looked(source=source, parts=parts, detected=detected))
            taken += coverage.seen if sampled else ()
        return tuple(looks)


def _by_sheet(
    marks: pl.DataFrame, coverage: Coverage, region: Extent, cuts: Sequence[Extent]
) -> Iterator[tuple[int, float]]:
    """Count and area of each sheet, or what of it lies in the region and isn't cut out."""
    holes = [*cuts, *(hole.extent for hole in coverage.unseen)]
    for sheet in coverage.seen:
        part = sheet.meet(region)
        if part is None:
            continue
        area = part.area_m2 - area_within_m2(part, holes)
        if area > _ROUNDING * part.area_m2:
            yield int((uncut(marks, holes) & _inside(marks, part)).sum()), area
        holes.append(sheet)


def _by_stretch(
    marks: pl.DataFrame, coverage: Coverage, region: Extent, cuts: Sequence[Extent]
) -> Iterator[tuple[int, float]]:
    """Count and area of stretches that are equally long, those of which nothing was looked at left out."""
    borders = np.linspace(region.along_from_m, region.along_to_m, _STRETCHES + 1)
    areas = seen_along(region, coverage, cuts).between(borders[:-1], borders[1:])
    kept = uncut(marks, cuts) & _inside(marks, region)
    counts = np.histogram(marks["along_m"].to_numpy()[kept], bins=borders)[0]
    least = _ROUNDING * region.area_m2 / _STRETCHES
    lost = 0
    for count, area in zip(counts.tolist(), areas.tolist(), strict=True):
        if area > least:
            yield count + lost, area
            lost = 0
        else:
            lost += count  # a mark on the border of what was looked at


def _inside(marks: pl.DataFrame, region: Extent) -> NDArray[np.bool_]:
    along, across = marks["along_m"].to_numpy(), marks["across_mm"].to_numpy()
    inside = (along >= region.along_from_m) & (along < region.along_to_m)
    return np.asarray(inside & (across >= region.across_from_mm) & (across < region.across_to_mm), dtype=np.bool_)


def on_roll(evidence: Evidence) -> pl.Expr:
    """Whether a mark's centre lies on the roll."""
    return on_web(evidence.whole)


def on_web(whole: Extent) -> pl.Expr:
    """The same for the roll's extent."""
    along = pl.col("along_m").is_between(whole.along_from_m, whole.along_to_m, closed="left")
    return along & pl.col("across_mm").is_between(whole.across_from_mm, whole.across_to_mm, closed="left")


def owner(source: str, evidence: Evidence) -> str:
    """The source of coverage against which marks of that source are counted."""
    return source if source in evidence.coverage else SCAN


def uncut(marks: pl.DataFrame, cuts: Sequence[Extent]) -> NDArray[np.bool_]:
    """Which of the marks, in order along, don't have their centre in a part that is cut out, (n,)."""
    along, across = marks["along_m"].to_numpy(), marks["across_mm"].to_numpy()
    left = np.ones(len(along), dtype=np.bool_)
    for cut in cuts:
        rows = slice(*np.searchsorted(along, (cut.along_from_m, cut.along_to_m), side="left"))
        left[rows] &= (across[rows] < cut.across_from_mm) | (across[rows] >= cut.across_to_mm)
    return left


def marks_words(criterion: Criterion, count: int) -> str:
    """So many marks, with the kinds and sizes that count."""
    size = [f"{number(criterion.least_size_mm)} mm or more"] if criterion.least_size_mm > 0.0 else []
    which = ", ".join([*criterion.kinds, *size])
    return plural(count, "mark") + (f" ({which})" if which else "")
