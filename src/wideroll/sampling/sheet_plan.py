"""A plan of sheets: drawn along and across, beside each border, and as many as a proof needs."""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.sampling.model import Border, SampleSheet, SheetPlan, SheetReason
from wideroll.sampling.rates import area_needed
from wideroll.sampling.sheets import share_out

__all__ = ["SheetSize", "further_sheets", "plan_sheets", "sheets_needed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSize:
    """What is cut: so long along the web, and so wide, or as wide as the web where ``width_mm`` is None."""

    length_m: float
    width_mm: float | None = None

    def area_m2(self, web_width_mm: float) -> float:
        """Area of one sheet."""
        return self.length_m * (web_width_mm if self.width_mm is None else self.width_mm) / 1000.0


def sheets_needed(limit: float, sheet_m2: float, confidence: float = 0.95, *, detected: float = 1.0) -> int:
    """How many sheets without any mark prove that the rate is at most ``limit``.

    The area that is needed (``area_needed``) over what a sheet gives; an examiner who finds a mark with probability
    ``detected`` looks, in effect, at that share of the sheet.

    Args:
        limit: greatest allowed rate, marks per m².
        sheet_m2: area of a sheet.
        confidence: one-sided.
        detected: probability that a mark on a sheet is found, above 0 and at most 1.

    Raises:
        ArgumentError: when an argument is outside its range.

    Example:
        >>> sheets_needed(2.0, 0.414), sheets_needed(2.0, 0.414, detected=0.8)
        (4, 5)
    """
    if not sheet_m2 > 0.0:
        raise ArgumentError(where="sheet_m2", rule="must be greater than 0", value=sheet_m2, mend="Give its area.")
    if not 0.0 < detected <= 1.0:
        raise ArgumentError(
            where="detected", rule="must be above 0 and at most 1", value=detected, mend="Give a probability."
        )
    return math.ceil(area_needed(limit, confidence) / (sheet_m2 * detected) - 1e-9)


def plan_sheets(whole: Extent, count: int, size: SheetSize, seed: int, borders: Sequence[Border] = ()) -> SheetPlan:
    """Sheets to take: ``count`` drawn at random in strata along and across, and one on each side of each border.

    Along, each stretch between borders gets at least one drawn sheet, longer ones more in proportion; each stretch is
    cut in equal strata with one sheet at random in each, so no roller can keep step. Across, a sheet narrower than the
    web lies in one of as many equal columns as fit; the columns are dealt out in random rounds, so that over the web
    each is looked at equally often (±1), with a random place inside it. Sheets beside a border are as wide as the web.
    They are chosen, not drawn, so they don't speak for the rest, and the draw is from what they leave. A stretch with
    no room for a draw beside them is taken whole (stratified sampling with strata taken whole, Cochran 1977,
    *Sampling Techniques*, ch. 5; from memory).

    Args:
        whole: the web to sample.
        count: sheets to draw, at least one for each stretch that is drawn from.
        size: of a sheet.
        seed: of the draw; the same seed gives the same sheets.
        borders: batch borders and splices; those outside ``whole`` are ignored.

    Raises:
        ArgumentError: when a sheet is longer or wider than the web, there are fewer sheets than stretches, or a stretch
            can't hold its sheets.

    Example:
        >>> web = Extent(along_from_m=0, along_to_m=400, across_from_mm=0, across_to_mm=1380)
        >>> plan = plan_sheets(web, 4, SheetSize(length_m=0.3), 1, [Border(along_m=250.0, what="splice")])
        >>> [(sheet.name, round(sheet.extent.along_from_m, 1), sheet.beside) for sheet in plan.sheets[1:4]]
        [('2', 243.2, ''), ('3', 249.7, 'splice'), ('4', 250.0, 'splice')]
    """
    _check_size(whole, size)
    rng = np.random.Generator(np.random.PCG64(seed))
    columns = 1 if size.width_mm is None else math.floor(whole.width_mm / size.width_mm + 1e-9)
    chosen, free = _beside_borders(whole, size.length_m, borders)
    if count < len(free):
        raise ArgumentError(
            where="count",
            rule=f"there must be a sheet for each of the {len(free)} stretches between borders",
            value=count,
            mend=f"Take at least {len(free)} sheets.",
        )
    starts = _draw_along(free, count if free else 0, size.length_m, rng)
    drawn = [
        SampleSheet(name="", extent=extent, reason=SheetReason.RANDOM)
        for extent in _draw_across(whole, starts, size, rng)
    ]
    sheets = sorted([*chosen, *drawn], key=lambda sheet: sheet.extent)
    named = tuple(replace(sheet, name=str(number)) for number, sheet in enumerate(sheets, 1))
    return SheetPlan(whole=whole, sheets=named, seed=seed, columns=columns)


def further_sheets(
    whole: Extent, taken: Sequence[Extent], count: int, size: SheetSize, seed: int
) -> tuple[SampleSheet, ...]:
    """Where to take more, given what was taken: at random in the longest stretches that nobody sampled.

    Args:
        whole: the web.
        taken: sheets already taken; no further one overlaps them along.
        count: further sheets.
        size: of a sheet.
        seed: of the draw.

    Raises:
        ArgumentError: when there is no room for so many.

    Example:
        >>> web = Extent(along_from_m=0, along_to_m=100, across_from_mm=0, across_to_mm=1380)
        >>> taken = [Extent(along_from_m=20.0, along_to_m=20.3, across_from_mm=0, across_to_mm=1380)]
        >>> [round(one.extent.along_from_m, 1) for one in further_sheets(web, taken, 2, SheetSize(length_m=0.3), 1)]
        [40.5, 97.7]
    """
    _check_size(whole, size)
    gaps = [gap for gap in _gaps(whole, taken) if gap[1] - gap[0] >= size.length_m]
    shares = [0] * len(gaps)
    for _ in range(count):
        room = [
            (end - start) / (share + 1) if (end - start) / (share + 1) >= size.length_m else 0.0
            for (start, end), share in zip(gaps, shares, strict=True)
        ]
        if not any(room):
            raise ArgumentError(
                where="count",
                rule=f"only {sum(shares)} sheets of {size.length_m:g} m find room beside those taken",
                value=count,
                mend="Take fewer or shorter sheets.",
            )
        shares[max(range(len(gaps)), key=room.__getitem__)] += 1
    rng = np.random.Generator(np.random.PCG64(seed))
    starts = [s for gap, share in zip(gaps, shares, strict=True) for s in _draw(gap, share, size.length_m, rng)]
    extents = sorted(_draw_across(whole, starts, size, rng))
    return tuple(SampleSheet(name=f"+{n}", extent=e, reason=SheetReason.RANDOM) for n, e in enumerate(extents, 1))


def _check_size(whole: Extent, size: SheetSize) -> None:
    if not 0.0 < size.length_m <= whole.length_m:
        raise ArgumentError(
            where="length_m",
            rule=f"a sheet is longer than 0 and at most as long as the web ({whole.length_m:g} m)",
            value=size.length_m,
            mend="Give the length that is cut.",
        )
    if size.width_mm is not None and not 0.0 < size.width_mm <= whole.width_mm:
        raise ArgumentError(
            where="width_mm",
            rule=f"a sheet is wider than 0 and at most as wide as the web ({whole.width_mm:g} mm)",
            value=size.width_mm,
            mend="Give the width that is cut.",
        )


def _beside_borders(
    whole: Extent, length_m: float, borders: Sequence[Border]
) -> tuple[list[SampleSheet], list[tuple[float, float]]]:
    """The sheets beside borders, and the stretches that are left to draw from."""
    named: dict[float, list[str]] = {}
    for border in borders:
        if whole.along_from_m < border.along_m < whole.along_to_m:
            named.setdefault(float(border.along_m), []).append(border.what)
    edges = [whole.along_from_m, *sorted(named), whole.along_to_m]
    chosen: list[SampleSheet] = []
    free: list[tuple[float, float]] = []
    for start, end in itertools.pairwise(edges):
        before, after = start in named, end in named
        if end - start < (1 + before + after) * length_m:
            what = " and ".join(" and ".join(named[edge]) for edge in (start, end) if edge in named)
            chosen.append(_chosen(whole, start, end, SheetReason.SHORT, what))
            continue
        if before:
            chosen.append(_chosen(whole, start, start + length_m, SheetReason.BORDER, " and ".join(named[start])))
        if after:
            chosen.append(_chosen(whole, end - length_m, end, SheetReason.BORDER, " and ".join(named[end])))
        free.append((start + before * length_m, end - after * length_m))
    return chosen, free


def _chosen(whole: Extent, start: float, end: float, reason: SheetReason, what: str) -> SampleSheet:
    return SampleSheet(name="", extent=replace(whole, along_from_m=start, along_to_m=end), reason=reason, beside=what)


def _draw_along(
    free: Sequence[tuple[float, float]], count: int, length_m: float, rng: np.random.Generator
) -> list[float]:
    shares = share_out([end - start for start, end in free], count) if free else []
    for (start, end), share in zip(free, shares, strict=True):
        if (end - start) / share < length_m:
            raise ArgumentError(
                where="length_m",
                rule=f"{share} sheet(s) must fit between {start:g} and {end:g} m",
                value=length_m,
                mend="Take fewer or shorter sheets.",
            )
    return [s for stretch, share in zip(free, shares, strict=True) for s in _draw(stretch, share, length_m, rng)]


def _draw(stretch: tuple[float, float], share: int, length_m: float, rng: np.random.Generator) -> list[float]:
    """One start at random in each of ``share`` equal strata."""
    if not share:
        return []
    start, end = stretch
    step = (end - start) / share
    return [float(s) for s in start + np.arange(share) * step + rng.random(share) * (step - length_m)]


def _draw_across(whole: Extent, starts: Sequence[float], size: SheetSize, rng: np.random.Generator) -> Iterator[Extent]:
    """Each start with its place across: columns are dealt in random rounds, so each is used equally often."""
    if size.width_mm is None:
        for start in starts:
            yield replace(whole, along_from_m=start, along_to_m=min(start + size.length_m, whole.along_to_m))
        return
    columns = math.floor(whole.width_mm / size.width_mm + 1e-9)
    width = whole.width_mm / columns
    rounds = -(-len(starts) // columns)
    dealt = np.concatenate([rng.permutation(columns) for _ in range(rounds)]) if starts else np.array([])
    for start, column in zip(starts, dealt, strict=False):
        left = whole.across_from_mm + float(column) * width + float(rng.random()) * (width - size.width_mm)
        yield Extent(
            along_from_m=start,
            along_to_m=min(start + size.length_m, whole.along_to_m),
            across_from_mm=left,
            across_to_mm=min(left + size.width_mm, whole.across_to_mm),
        )


def _gaps(whole: Extent, taken: Sequence[Extent]) -> Iterator[tuple[float, float]]:
    reach = whole.along_from_m
    for start, end in sorted((box.along_from_m, box.along_to_m) for box in taken):
        if start > reach:
            yield reach, min(start, whole.along_to_m)
        reach = max(reach, end)
    if reach < whole.along_to_m:
        yield reach, whole.along_to_m
