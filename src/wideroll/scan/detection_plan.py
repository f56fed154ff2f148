"""Where to lay marks on a stretch of web so that each is judged by itself."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan.detection import ContrastUnit, DetectionPlan, DetectionTrial, Injected
from wideroll.scan.frame import Grey
from wideroll.scan.model import ScanResult, ScanSettings

__all__ = ["plan_marks", "site_pixels", "web_columns"]

_EDGE_PARTS: Final = 8
_EDGE_LINES: Final = 64
_RIM_MM: Final = 2.0
_LEAST_STEP: Final = 0.15
_WANDER_MM: Final = 2.0
"""Kept free beside the beads, since the web wanders within a stretch."""
_SHOWS: Final = 3.0
"""A mark must leave so many standard deviations of noise between it and the pixel's limits."""
_BLACKEST: Final = 0.98


def web_columns(rows: Grey, pitch_mm: tuple[float, float], settings: ScanSettings) -> tuple[int, int]:
    """Columns (from, to) that are web over all of a stretch, without its edges and their beads.

    An edge lies where the level is half-way between outside and web, in eight samples of lines; the innermost counts.

    Args:
        rows: ``[along, across]``.
        pitch_mm: (along, across).
        settings: Whether there are edges to find, and their beads.

    Example:
        >>> rows = np.full((100, 300), 150, np.uint8)
        >>> rows[:, :20] = 250
        >>> web_columns(rows, (0.5, 0.5), ScanSettings())
        (32, 300)
    """
    columns = rows.shape[1]
    if not settings.find_edges:
        return 0, columns
    starts = np.linspace(0, max(len(rows) - _EDGE_LINES, 0), _EDGE_PARTS).astype(int)
    levels = [rows[start : start + _EDGE_LINES].mean(axis=0) for start in starts]
    margin = math.ceil((settings.edge_bead_mm + _WANDER_MM) / pitch_mm[1])
    left = max(_edge(level, pitch_mm[1]) for level in levels)
    right = max(_edge(level[::-1], pitch_mm[1]) for level in levels)
    first, last = left + margin if left else 0, columns - (right + margin if right else 0)
    return min(first, columns), max(min(first, columns), last)


def _edge(level: NDArray[np.float64], pitch_mm: float) -> int:
    rim = max(3, round(_RIM_MM / pitch_mm))
    outside, web = float(np.median(level[:rim])), float(np.median(level[len(level) // 4 : -(len(level) // 4) or None]))
    if len(level) < 8 * rim or abs(outside - web) <= _LEAST_STEP * web:
        return 0
    off_web = (level[: len(level) // 2] > (outside + web) / 2.0) == (outside > web)
    return int(np.flatnonzero(off_web)[-1]) + 1 if off_web.any() else 0


def site_pixels(pitch_mm: tuple[float, float], trial: DetectionTrial) -> tuple[int, int]:
    """Lines and columns that one mark takes up with what is kept free around it."""
    greatest = max(trial.sizes_px) * math.sqrt(pitch_mm[0] * pitch_mm[1])
    return tuple(math.ceil(greatest / pitch) + 1 + 2 * trial.guard_px for pitch in pitch_mm)  # type: ignore[return-value]


def plan_marks(
    rows: Grey,
    first_line: int,
    clean: ScanResult,
    trial: DetectionTrial,
    *,
    first_column: int = 0,
    stretch: int = 0,
    saturation: int | None = None,
) -> DetectionPlan:
    """Lay out marks of every size, contrast and polarity over a stretch, at random in a grid of free places.

    Each has a place of its own, so that no two are closer than twice ``trial.guard_px`` and none is closer than that
    once to a mark or streak that was there before, to web that was not looked at, or to the border of what is scanned.
    Which class comes where is drawn by lot; when room runs out, classes lose marks by lot.

    Args:
        rows: The stretch as it is, ``[along, across]``, over the raster's full width.
        first_line: Number of its first line in the raster.
        clean: The scan of the same lines, of the columns from ``first_column`` on, with ``find_edges`` off.
        trial: What to lay; contrasts as fractions of the signal must be given in it.
        first_column: First column of ``rows`` that was scanned.
        stretch: Number of the stretch among ``trial.stretches``: it gets its share of ``marks_per_class``.
        saturation: Greatest value of a pixel; None takes that of its type.

    Raises:
        ArgumentError: when the scan is of other lines or columns, or the trial has no contrasts in its unit.

    Example:
        >>> from wideroll.scan import find_marks
        >>> noise = np.random.Generator(np.random.PCG64(1)).normal(150.0, 3.0, (600, 400))
        >>> rows, settings = np.rint(noise).astype(np.uint8), ScanSettings(find_edges=False)
        >>> clean = find_marks(rows, (0.1, 0.1), settings)
        >>> trial = DetectionTrial(sizes_px=(2, 8), contrasts=(0.1, 0.2), marks_per_class=4, stretches=1)
        >>> plan = plan_marks(rows, 0, clean, trial)
        >>> len(plan.marks), plan.no_room, plan.marks[0].line < plan.marks[-1].line
        (32, 0, True)
    """
    _check(rows, clean, trial, first_column)
    random = np.random.Generator(np.random.PCG64([trial.seed, stretch]))
    sites = _free_sites(clean, trial)
    sites = sites[random.permutation(len(sites))]
    wanted = _classes(trial, stretch)
    order = random.permutation(len(wanted))[: len(sites)]
    inner = rows[:, first_column : first_column + clean.columns]
    greatest = float(np.iinfo(rows.dtype).max if saturation is None else saturation)
    offset = (first_line, first_column)
    ground = _Ground(pixels=inner, greatest=greatest, offset=offset, pitch_mm=clean.pitch_mm)
    spread = random.random((len(order), 2)).tolist()
    laid = [
        _place(wanted[number], site, share, ground, trial)
        for number, site, share in zip(order.tolist(), sites.tolist(), spread, strict=False)
    ]
    marks = [mark for mark in laid if mark is not None]
    return DetectionPlan(
        first_line=first_line,
        lines=len(rows),
        first_column=first_column,
        columns=clean.columns,
        pitch_mm=clean.pitch_mm,
        unit=trial.unit,
        seed=int(random.integers(2**31)),
        marks=tuple(sorted(marks, key=lambda mark: (mark.line, mark.column))),
        no_room=len(wanted) - len(laid),
        left_out=len(laid) - len(marks),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """What the marks are laid on: the columns that are scanned, and where they start in the raster."""

    pixels: Grey
    greatest: float
    offset: tuple[int, int]
    pitch_mm: tuple[float, float]


def _check(rows: Grey, clean: ScanResult, trial: DetectionTrial, first_column: int) -> None:
    if len(rows) != clean.lines or rows.shape[1] < first_column + clean.columns:
        raise ArgumentError(
            where="clean",
            rule=f"must be the scan of these rows, {rows.shape}",
            value=(clean.lines, first_column + clean.columns),
            mend="Scan the stretch first.",
        )
    if trial.unit is ContrastUnit.SIGNAL and not trial.contrasts:
        raise ArgumentError(
            where="DetectionTrial.contrasts",
            rule="must be given as fractions of the signal",
            mend="Multiply contrasts_noise by the scan's noise.",
        )


def _classes(trial: DetectionTrial, stretch: int) -> list[tuple[float, float, float]]:
    """Size in pixels, level of contrast and sign of each mark that falls to a stretch."""
    levels = trial.contrasts if trial.unit is ContrastUnit.SIGNAL else trial.contrasts_noise
    every = product(trial.sizes_px, levels, (-1.0, 1.0))
    # The rest of the division goes round the stretches by class, so that no stretch gets only the small marks.
    share, rest = trial.marks_per_class, trial.stretches
    return [one for n, one in enumerate(every) for _ in range((share + (n + stretch) % rest) // rest)]


def _free_sites(clean: ScanResult, trial: DetectionTrial) -> NDArray[np.int64]:
    """First line and column (n, 2), within the stretch, of the places of the grid in which nothing lies."""
    size = site_pixels(clean.pitch_mm, trial)
    counts = (clean.lines // size[0], clean.columns // size[1])
    free = np.ones(counts, np.bool_)
    for extent in _taken(clean):
        along = [v * 1000.0 / clean.pitch_mm[0] / size[0] for v in (extent.along_from_m, extent.along_to_m)]
        across = [v / clean.pitch_mm[1] / size[1] for v in (extent.across_from_mm, extent.across_to_mm)]
        top, left = max(math.floor(along[0]), 0), max(math.floor(across[0]), 0)
        free[top : max(math.ceil(along[1]), 0), left : max(math.ceil(across[1]), 0)] = False
    found: NDArray[np.int64] = np.argwhere(free) * np.array(size)
    return found


def _taken(clean: ScanResult) -> Iterator[Extent]:
    yield from (gap.extent for gap in clean.coverage.unseen)
    yield from (splice.extent for splice in clean.splices)
    for streak in clean.streaks:
        yield streak.extent.grown(across_mm=streak.width_mm / 2.0)
    boxes = clean.marks.select("along_m", "across_mm", "length_mm", "width_mm")
    for along, across, length, width in boxes.iter_rows():
        # A mark has at least the pixel it lies in.
        long, wide = max(length, clean.pitch_mm[0]) / 2000.0, max(width, clean.pitch_mm[1]) / 2.0
        yield Extent(
            along_from_m=along - long, along_to_m=along + long, across_from_mm=across - wide, across_to_mm=across + wide
        )


def _place(
    wanted: tuple[float, float, float], site: list[int], share: list[float], ground: _Ground, trial: DetectionTrial
) -> Injected | None:
    """The mark in its place; None where the pixels can't show it."""
    size_px, level, sign = wanted
    taken = site_pixels(ground.pitch_mm, trial)
    signal, noise = _level_and_noise(ground.pixels[site[0] : site[0] + taken[0], site[1] : site[1] + taken[1]])
    contrast = level if trial.unit is ContrastUnit.SIGNAL else level * noise
    shows = contrast <= _BLACKEST if sign < 0.0 else signal * (1.0 + contrast + _SHOWS * noise) <= ground.greatest
    if signal <= 0.0 or contrast <= 0.0 or not shows:
        return None
    size_mm = size_px * math.sqrt(ground.pitch_mm[0] * ground.pitch_mm[1])
    middle = [
        site[n] + trial.guard_px + size_mm / pitch / 2.0 + share[n] * (taken[n] - 2 * trial.guard_px - size_mm / pitch)
        for n, pitch in enumerate(ground.pitch_mm)
    ]
    return Injected(
        line=ground.offset[0] + middle[0],
        column=ground.offset[1] + middle[1],
        size_mm=size_mm,
        contrast=sign * contrast,
        level=level,
    )


def _level_and_noise(patch: Grey) -> tuple[float, float]:
    """Mean signal, and the pixels' own noise as a fraction of it: the means of lines and columns are taken off."""
    values = patch.astype(np.float64)
    mean = float(values.mean())
    rest = values - values.mean(axis=0) - values.mean(axis=1)[:, None] + mean
    free = (patch.shape[0] - 1) * (patch.shape[1] - 1)
    noise = math.sqrt(float((rest**2).sum()) / free) if free else 0.0
    return mean, noise / mean if mean > 0.0 else 0.0
