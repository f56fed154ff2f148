"""How often marks of each kind and size lie on the web: per area, per length, lane by lane."""

import itertools
import math
from collections.abc import Iterator, Sequence

import polars as pl

from wideroll.errors import ArgumentError
from wideroll.roll import Coverage, Extent, Lane, check_marks, marks_within
from wideroll.sampling.model import ClassRate, MarkClass
from wideroll.sampling.rates import rate_limits

__all__ = ["class_rates"]


def class_rates(
    marks: pl.DataFrame,
    coverage: Coverage,
    whole: Extent,
    *,
    lanes: Sequence[Lane] = (),
    size_borders_mm: Sequence[float] = (),
    confidence: float = 0.95,
) -> tuple[ClassRate, ...]:
    """Rates of marks where the web was looked at, by kind and size class, over the width and for each lane.

    A mark counts for the lane in which its centre lies; its size is the greater of length and width. Only what was
    looked at counts, marks and area alike: where nobody looked there are no marks in the table and no area. Each
    interval holds at the confidence by itself; of twenty at 95 % one misses.

    Args:
        marks: a marks table.
        coverage: of the source that found them.
        whole: the web.
        lanes: across, such as slit lanes; none for the full width only.
        size_borders_mm: rising; n borders make n + 1 classes, none makes one.
        confidence: two-sided, of Garwood's limits.

    Returns:
        For the full width and then each lane: all kinds, then each kind present; in each all sizes, then each class.
        Empty where nothing was looked at.

    Raises:
        ArgumentError: when the borders don't rise or aren't positive.

    Example:
        >>> from wideroll.roll import empty_marks
        >>> web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=1000.0)
        >>> (none,) = class_rates(empty_marks(), Coverage(seen=(web,)), web)
        >>> none.per_m2.count, round(none.per_m2.high, 4), round(none.per_m.high, 4)
        (0, 0.0369, 0.0369)
    """
    borders = [0.0, *size_borders_mm, math.inf]
    if any(not b > a for a, b in itertools.pairwise(borders)):
        raise ArgumentError(
            where="size_borders_mm",
            rule="must be positive and rise",
            value=tuple(size_borders_mm),
            mend="Sort them, each once.",
        )
    table = check_marks(marks)
    looked = marks_within(table, [part for box in coverage.seen if (part := box.meet(whole))])
    hidden = marks_within(looked, [hole.extent for hole in coverage.unseen])
    looked = looked.join(hidden.select("id"), on="id", how="anti").with_columns(
        size=pl.max_horizontal("length_mm", "width_mm")
    )
    kinds = sorted(looked["kind"].cast(pl.String).unique().to_list())
    classes = list(_classes(kinds, borders))
    places: list[tuple[Lane | None, Extent]] = [(None, whole)]
    places += [(lane, lane.over(whole.along_from_m, whole.along_to_m)) for lane in lanes]
    return tuple(
        rate
        for lane, extent in places
        if (area := coverage.share(extent) * extent.area_m2) > 0.0
        for rate in _of_place(looked, lane, extent, (classes, area, confidence))
    )


def _classes(kinds: Sequence[str], borders: Sequence[float]) -> Iterator[MarkClass]:
    for kind in ("", *kinds):
        yield MarkClass(kind=kind)
        if len(borders) > 2:  # noqa: PLR2004  (a single class is all sizes)
            for low, high in itertools.pairwise(borders):
                yield MarkClass(kind=kind, size_from_mm=low, size_to_mm=high)


def _of_place(
    looked: pl.DataFrame, lane: Lane | None, extent: Extent, chosen: tuple[Sequence[MarkClass], float, float]
) -> Iterator[ClassRate]:
    classes, area, confidence = chosen
    here = marks_within(looked, [extent])
    for one in classes:
        of = (pl.col("size") >= one.size_from_mm) & (pl.col("size") < one.size_to_mm)
        of &= (pl.col("kind").cast(pl.String) == one.kind) if one.kind else pl.lit(value=True)
        count = here.filter(of).height
        yield ClassRate(
            of=one,
            lane=lane,
            per_m2=rate_limits(count, area, confidence),
            per_m=rate_limits(count, area / (extent.width_mm / 1000.0), confidence),
        )
