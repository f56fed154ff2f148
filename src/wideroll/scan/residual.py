"""What a block's profile shows beside its smooth course across the web: the traces of streaks.

A trace is kept in cells of nearly half a millimetre from the datum edge; the columns themselves are kept as a mean of
some blocks, from which a streak's width and contrast are taken.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from wideroll.scan.background import MAD, MEDIAN_LOSS, Background
from wideroll.scan.frame import Frame

__all__ = ["SETTLED_BLOCKS", "Residual", "columns_to_cell", "find_residual", "settle_residuals", "smooth_profile"]

SETTLED_BLOCKS: Final = 16
"""Blocks whose columns are kept as one mean."""
_CELL_MM: Final = 0.45
_GROUP_MM: Final = 4.0
_ORDER: Final = 2
_ROUNDS: Final = 2
_OUTLYING: Final = 3.0
_REACH: Final = 4
"""Groups to either side: the course of the profile is followed over ± 16 mm."""
_FIRM: Final = 60000.0
"""Half-precision numbers end at 65504."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Residual:
    """One block's trace from the datum edge on, in half precision; 0 where nothing was looked at."""

    snr: NDArray[np.float16]
    """(cells,) departure of the profile from its smooth course, in standard deviations."""
    lines: int
    """That were looked at."""
    fine: NDArray[np.float16] | None
    """(columns,) the same by column, over ``fine_lines``; None where another block of the group has it, or where a
    cell is a column."""
    spread: NDArray[np.float16] | None
    """(cells,) standard deviation of a column over a single line, as a fraction of the signal; None as above."""
    fine_lines: int


def columns_to_cell(frame: Frame) -> int:
    """Columns to a cell of a trace."""
    return max(1, int(_CELL_MM / frame.pitch_mm[1]))


def find_residual(ground: Background, smooth: NDArray[np.float64], frame: Frame) -> Residual:
    """Departure of the profile from its smooth course.

    The deviation of a median over n pixels of noise σ is 1.2533 σ/√n.
    """
    lines = max(1, int(np.count_nonzero(ground.used)))
    size, left = columns_to_cell(frame), round(ground.edges.left)
    sound = ground.faults == 0
    away = (ground.profile - smooth) * (np.sqrt(lines) / MEDIAN_LOSS) / ground.noise
    shape = (max(0, -(-(ground.last - left) // size)), size)
    inside = slice(ground.first - left, ground.last - left)
    fine, spread, seen = np.zeros(shape, np.float32), np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    fine.reshape(-1)[inside] = np.clip(away, -_FIRM, _FIRM) * sound
    spread.reshape(-1)[inside] = np.minimum(MEDIAN_LOSS * ground.noise / smooth, 1.0) * sound
    seen.reshape(-1)[inside] = sound
    count = np.maximum(_cell_sums(seen), 1.0)
    return Residual(
        snr=np.clip(_cell_sums(fine) / np.sqrt(count), -_FIRM, _FIRM).astype(np.float16),
        lines=lines,
        fine=None if size == 1 else fine.reshape(-1).astype(np.float16),
        spread=(_cell_sums(spread) / count).astype(np.float16),
        fine_lines=lines,
    )


def settle_residuals(residuals: Sequence[Residual | None]) -> list[Residual | None]:
    """Join the columns of some blocks one after the other: the first keeps the mean, the others none.

    It may be done again, and over what is settled in part. A trace that wanders with the web is at rest here, as
    columns are counted from the datum edge.

    Args:
        residuals: Of ``SETTLED_BLOCKS`` blocks, or fewer at the end; None for a block that shows no web.
    """
    holding = [item for item in residuals if item is not None and item.spread is not None]
    if len(holding) <= 1:
        return list(residuals)
    lines = sum(item.fine_lines for item in holding)
    fine = _weighted([(item.fine, np.sqrt(item.fine_lines / lines)) for item in holding])
    spread = _weighted([(item.spread, item.fine_lines / lines) for item in holding])
    settled: list[Residual | None] = []
    for item in residuals:
        if item is holding[0]:
            settled.append(replace(item, fine=fine, spread=spread, fine_lines=lines))
        else:
            settled.append(None if item is None else replace(item, fine=None, spread=None, fine_lines=0))
    return settled


def smooth_profile(ground: Background, frame: Frame) -> NDArray[np.float64]:
    """Local parabolas through medians of groups of columns [savitzky1964].

    Args:
        ground: The block's background; it must have columns that aren't faulty.
        frame: The raster.
    """
    profile = _without_faults(ground)
    centres, levels = _group_levels(profile, max(1, round(_GROUP_MM / frame.pitch_mm[1])))
    course = _follow(levels)
    if len(course) == len(levels):
        return np.interp(np.arange(len(ground.profile)), centres, course)
    return _between(course, centres, len(ground.profile))


def _between(course: NDArray[np.float64], centres: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    """The course in every column: straight lines would lie inside of its bends, and as far off as faint streaks are."""
    centres = np.concatenate([[2.0 * centres[0] - centres[1]], centres, [2.0 * centres[-1] - centres[-2]]])
    bend = np.diff(course, 2)
    bend = np.concatenate([bend[:1], bend, bend[-1:]])
    # A group's mean lies to the inner side of its middle by 1/24 of the bend.
    course = course - bend / 24.0
    place = np.interp(np.arange(columns), centres, np.arange(len(centres)))
    group = np.minimum(place.astype(np.int64), len(course) - 2)
    share = place - group
    bent = (bend[group] + np.diff(bend)[group] * share) * share
    return np.asarray(course[group] + np.diff(course)[group] * share - bent * (1.0 - share) / 2.0)


def _cell_sums(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Over the columns of each cell; whole arrays are added, which is quicker than many short sums."""
    total = values[:, 0].copy()
    for j in range(1, values.shape[1]):
        total += values[:, j]
    return total


def _weighted(parts: Sequence[tuple[NDArray[np.float16] | None, float]]) -> NDArray[np.float16] | None:
    width = max(0 if values is None else len(values) for values, _ in parts)
    if width == 0:
        return None
    total = np.zeros(width, np.float32)
    for values, weight in parts:
        if values is not None:
            total[: len(values)] += np.float32(weight) * values.astype(np.float32)
    return np.clip(total, -_FIRM, _FIRM).astype(np.float16)


def _without_faults(ground: Background) -> NDArray[np.float64]:
    """The profile, straight across columns that show nothing: groups must lie at equal distances."""
    faulty = np.flatnonzero(ground.faults)
    if not faulty.size:
        return ground.profile
    sound = np.flatnonzero(ground.faults == 0)
    profile = ground.profile.copy()
    profile[faulty] = np.interp(faulty, sound, ground.profile[sound])
    return profile


def _group_levels(profile: NDArray[np.float64], size: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres and medians of groups of equal width, each freed of its slope: on a slope a median is one column's."""
    count = max(1, len(profile) // size)
    each = len(profile) // count
    start = (len(profile) - count * each) // 2
    level = profile[start : start + count * each].reshape(count, each)
    level = level - np.outer(_slopes(level.mean(axis=1)), (np.arange(each) - (each - 1) / 2.0) / each)
    half = each // 2
    level.partition(half, axis=1)
    medians = level[:, half] if each % 2 else (level[:, half] + level[:, :half].max(axis=1)) / 2.0
    return start + (each - 1) / 2.0 + np.arange(count, dtype=np.float64) * each, medians


def _slopes(means: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rise over a group: the middle one of three estimates, so that a single group off level doesn't count."""
    if len(means) < 2:  # noqa: PLR2004
        return np.zeros(len(means))
    steps = np.diff(means)
    before, after = np.append(steps[0], steps), np.append(steps, steps[-1])
    wide = np.convolve(np.pad(steps, 2, mode="edge"), np.full(4, 0.25), mode="valid")[: len(means)]
    return np.asarray(np.maximum(np.minimum(before, after), np.minimum(np.maximum(before, after), wide)))


def _follow(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Local parabolas, which follow a bend as a median doesn't, through levels drawn in towards the course before.

    Returns:
        One value more at either end than there are levels; as many where there are too few for a parabola.
    """
    window = min(2 * _REACH + 1, (len(levels) - 1) // 2 * 2 + 1)
    if window <= _ORDER:
        return np.full(len(levels), np.median(levels))
    course, parabolas = _running_median(levels, _REACH, 1.0), _parabolas(len(levels), window)
    onward = course
    for _ in range(_ROUNDS):
        away = levels - course
        # At the top of a bend all groups lie off a median, and that isn't for drawing in.
        spread = np.abs(away)
        usual = float(np.partition(spread, len(spread) // 2)[len(spread) // 2])
        most = _OUTLYING * MAD * np.maximum(usual, _running_median(spread, _REACH, 0.0))
        onward = parabolas @ (course + np.minimum(np.maximum(away, -most), most))
        course = onward[1:-1]
    return onward


@njit(cache=True, nogil=True)
def _running_median(values: NDArray[np.float64], most: int, keep_slope: float) -> NDArray[np.float64]:
    """Over the groups in reach, mirrored at the ends: in the last value, or through it where ``keep_slope`` is 1."""
    count = values.size
    reach = min(most, count - 1)
    near, out = np.empty(2 * reach + 1), np.empty(count)
    for i in range(count):
        for k in range(-reach, reach + 1):
            place = i + k
            inside = min(max(place, 0), count - 1)
            mirrored = values[2 * inside - place]
            value = mirrored if inside == place else mirrored + keep_slope * 2.0 * (values[inside] - mirrored)
            slot = k + reach
            while slot > 0 and near[slot - 1] > value:
                near[slot] = near[slot - 1]
                slot -= 1
            near[slot] = value
        out[i] = near[reach]
    return out


@lru_cache(maxsize=8)
def _parabolas(count: int, window: int) -> NDArray[np.float64]:
    """To the course from the levels ``[count + 2, count]``; the first and last parabola go on by one step."""
    ends = np.polynomial.polynomial.polyvander(np.arange(window), _ORDER)
    onward = np.polynomial.polynomial.polyvander([-1.0], _ORDER) @ np.linalg.pinv(ends)
    out = np.zeros((count + 2, count))
    out[1:-1] = savgol_filter(np.eye(count), window, _ORDER, axis=0)
    out[0, :window], out[-1, count - window :] = onward[0], onward[0, ::-1]
    return out
