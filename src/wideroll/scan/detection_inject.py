"""Planned marks laid on a raster's own pixels."""

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.scan.detection import DetectionPlan, Injected
from wideroll.scan.frame import Grey

__all__ = ["cover", "inject"]

_CHORDS: Final = 32
"""Chords to a line, or over the whole mark where it is shorter than a line."""


def inject(rows: Grey, first_line: int, plan: DetectionPlan) -> Grey:
    """Lay the planned marks on some lines of the raster.

    Each pixel becomes signal × (1 + contrast × the share of the pixel that the mark covers), so the mark's border is
    soft over one pixel and the pixel's own noise stays in it. It is rounded up or down by chance in proportion to the
    fraction, so that small contrasts are right on average; chance depends on the plan's seed and the mark alone.

    Args:
        rows: ``[along, across]``, any lines of the raster over its full width; not changed.
        first_line: Number of the first of them in the raster.
        plan: The marks.

    Returns:
        A copy with the marks; however the raster is cut, the same pixels come out.

    Raises:
        ArgumentError: when the rows aren't two-dimensional or narrower than the plan's web.

    Example:
        >>> from wideroll.scan.detection import ContrastUnit
        >>> spot = Injected(line=4.5, column=5.5, size_mm=0.3, contrast=-0.25, level=0.25)
        >>> plan = DetectionPlan(
        ...     first_line=0,
        ...     lines=9,
        ...     first_column=0,
        ...     columns=11,
        ...     pitch_mm=(0.1, 0.1),
        ...     unit=ContrastUnit.SIGNAL,
        ...     seed=1,
        ...     marks=(spot,),
        ... )
        >>> inject(np.full((9, 11), 100, np.uint8), 0, plan)[4, [2, 5, 8]].tolist()
        [100, 75, 100]
    """
    if rows.ndim != 2 or rows.shape[1] < plan.first_column + plan.columns:  # noqa: PLR2004
        raise ArgumentError(
            where="rows",
            rule=f"must be two-dimensional with at least {plan.first_column + plan.columns} columns",
            value=rows.shape,
            mend="Give lines of the raster that the plan was made for.",
        )
    laid = rows.copy()
    for number, mark in enumerate(plan.marks):
        reach = mark.size_mm / 2.0 / plan.pitch_mm[0]
        if mark.line + reach > first_line and mark.line - reach < first_line + len(rows):
            _lay(laid, first_line, mark, number, plan)
    return laid


def cover(mark: Injected, pitch_mm: tuple[float, float]) -> tuple[int, int, NDArray[np.float64]]:
    """First line, first column and the share ``[along, across]`` of each pixel that a mark covers.

    Shares are exact across and the mean over chords along.
    """
    long, wide = mark.size_mm / 2.0 / pitch_mm[0], mark.size_mm / 2.0 / pitch_mm[1]
    top, left = math.floor(mark.line - long), math.floor(mark.column - wide)
    lines = max(math.ceil(mark.line + long) - top, 1)
    borders = np.arange(left, max(math.ceil(mark.column + wide), left + 1) + 1, dtype=np.float64)
    chords = _CHORDS * math.ceil(max(1.0, 0.5 / long))
    away = (top + (np.arange(lines * chords) + 0.5) / chords - mark.line) / long
    half = wide * np.sqrt(np.clip(1.0 - away**2, 0.0, None))[:, None]
    inside = np.clip(borders, mark.column - half, mark.column + half)
    share: NDArray[np.float64] = np.diff(inside, axis=1).reshape(lines, chords, -1).mean(axis=1)
    return top, left, share


def _lay(laid: Grey, first_line: int, mark: Injected, number: int, plan: DetectionPlan) -> None:
    top, left, share = cover(mark, plan.pitch_mm)
    chance = np.random.Generator(np.random.PCG64([plan.seed, number])).random(share.shape)
    lines = slice(max(first_line - top, 0), min(first_line + len(laid) - top, len(share)))
    columns = slice(max(-left, 0), min(laid.shape[1] - left, share.shape[1]))
    share, chance = share[lines, columns], chance[lines, columns]
    start, side = top + lines.start - first_line, left + columns.start
    pixels = laid[start : start + share.shape[0], side : side + share.shape[1]]
    # Rounding errors of the product must not lift a whole number over itself.
    value = np.floor(np.round(pixels * (1.0 + mark.contrast * share), 9) + chance)
    pixels[...] = np.clip(value, 0.0, float(np.iinfo(laid.dtype).max)).astype(laid.dtype)
