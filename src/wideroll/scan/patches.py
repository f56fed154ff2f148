"""A small piece of the web around a seed, in units of its noise, and what hangs together in it.

How wide a mark's pixels must be averaged to stand out follows from its own strength: a spot five times the noise shows
in single pixels, one of twice the noise only in squares of 3 × 3. Its border lies where the average falls to half of
what it reaches nearby.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Grey

__all__ = [
    "LADDER",
    "RIM",
    "Field",
    "Ground",
    "Patch",
    "Rules",
    "find_scale",
    "fit_rectangle",
    "flood",
    "height",
    "lay_patch",
    "make_field",
    "outline",
    "sum_table",
]

LADDER: Final = (1, 3, 5, 7, 9, 13, 19, 27, 39, 55, 79)
"""Sides in pixels over which is averaged."""
RIM: Final = 255
"""Of what hangs together, but not of its core."""
_SHOWS: Final = 5.0
"""A mark is followed at the least side at which its mean stands out so many times more than noise."""
_NEAR: Final = 2
_ROUNDS: Final = 4
_MOST_SIDE: Final = 40
_HALF: Final = 0.5


class Ground(NamedTuple):
    """Lines with their background, by columns of the raster."""

    rows: Grey
    scale: NDArray[np.float32]
    """(lines,) 1 over the gain; 0 for a line that isn't looked at."""
    profile: NDArray[np.float32]
    weight: NDArray[np.float32]
    """1 over the noise; 0 in columns that aren't looked at."""
    left: float
    """Column of the datum edge."""


class Rules(NamedTuple):
    """What a mark must show."""

    grow_snr: float
    least_pixels: int
    saturation: int
    excess: NDArray[np.float64]
    """By ``LADDER``: how many times more means scatter than those of independent pixels."""


class Patch(NamedTuple):
    """Part of the window of lines that is looked at; lines count from the window's first."""

    top: int
    end: int
    low: int
    high: int


@njit(cache=True, nogil=True)
def lay_patch(tail: Ground, block: Ground, box: Patch, sign: float) -> NDArray[np.float32]:
    """Departure from the background in standard deviations, turned so that the mark is positive."""
    out = np.zeros((box.end - box.top, box.high - box.low), np.float32)
    held = len(tail.scale)
    for i in range(box.top, min(box.end, held)):
        scale = tail.scale[i]
        for j in range(box.low, box.high if scale > 0.0 else box.low):
            away = (np.float32(tail.rows[i, j]) * scale - tail.profile[j]) * tail.weight[j]
            out[i - box.top, j - box.low] = away * np.float32(sign)
    for i in range(max(box.top, held) - held, box.end - held):
        scale = block.scale[i]
        for j in range(box.low, box.high if scale > 0.0 else box.low):
            away = (np.float32(block.rows[i, j]) * scale - block.profile[j]) * block.weight[j]
            out[i + held - box.top, j - box.low] = away * np.float32(sign)
    return out


@njit(cache=True, nogil=True)
def sum_table(patch: NDArray[np.float32]) -> NDArray[np.float64]:
    """Sums over all that lies above and to the left [crow1984]."""
    table = np.zeros((patch.shape[0] + 1, patch.shape[1] + 1))
    for i in range(patch.shape[0]):
        line = 0.0
        for j in range(patch.shape[1]):
            line += patch[i, j]
            table[i + 1, j + 1] = table[i, j + 1] + line
    return table


@njit(cache=True, nogil=True)
def _box(table: NDArray[np.float64], i: int, j: int, reach: int) -> float:
    """Sum over the square around a pixel, cut off at the borders."""
    top, low = max(i - reach, 0), max(j - reach, 0)
    end, high = min(i + reach + 1, table.shape[0] - 1), min(j + reach + 1, table.shape[1] - 1)
    return float(table[end, high] - table[top, high] - table[end, low] + table[top, low])


@njit(cache=True, nogil=True)
def find_scale(table: NDArray[np.float64], seed: tuple[int, int, int], rules: Rules) -> tuple[int, int, int]:
    """The side at which a mark near a seed is best followed, and the pixel at which its mean is greatest.

    Args:
        table: Of the patch.
        seed: First line and column of the window that stood out, in the patch, and its side.
        rules: What a mark must show.

    Returns:
        Index into ``LADDER``, line and column.
    """
    line, column, side = seed
    best, at, where_i, where_j = 0.0, 0, line, column
    for k in range(len(LADDER)):
        n = LADDER[k]
        if n > max(2 * side + 1, 5) or n > table.shape[0] or n > table.shape[1]:
            break
        step = max(1, n // 2)
        for i in range(max(line - 1, 0), min(line + side + 1, table.shape[0] - 1), step):
            for j in range(max(column - 1, 0), min(column + side + 1, table.shape[1] - 1), step):
                snr = _box(table, i, j, n // 2) / (n * rules.excess[k])
                if snr > best:
                    best, at, where_i, where_j = snr, k, i, j
    level = best * rules.excess[at] / LADDER[at]
    for k in range(at + 1):
        if level * LADDER[k] >= _SHOWS * rules.excess[k]:
            at = k
            break
    return at, where_i, where_j


class Field(NamedTuple):
    """Means over squares, worked out where they are asked for; NaN elsewhere."""

    mean: NDArray[np.float32]
    table: NDArray[np.float64]
    reach: int
    weight: float
    """1 over the standard deviation of a square's sum."""


@njit(cache=True, nogil=True)
def make_field(patch: NDArray[np.float32], table: NDArray[np.float64], scale: int, excess: float) -> Field:
    """Means over squares of ``LADDER[scale]``, in standard deviations of themselves."""
    n = LADDER[scale]
    if n == 1:
        return Field(patch, table, 0, 1.0)
    mean = np.empty_like(patch)
    mean[:] = np.nan
    return Field(mean, table, n // 2, 1.0 / (n * excess))


@njit(cache=True, nogil=True)
def height(field: Field, i: int, j: int) -> float:
    """Mean over the square around a pixel."""
    if np.isnan(field.mean[i, j]):
        field.mean[i, j] = _box(field.table, i, j, field.reach) * field.weight
    return float(field.mean[i, j])


@njit(cache=True, nogil=True)
def flood(
    field: Field, start: tuple[int, int], least: float, pixels: NDArray[np.int32]
) -> tuple[NDArray[np.uint8], int]:
    """What hangs together with a pixel, corners too, and is at least so high.

    Args:
        field: Of a patch.
        start: Line and column in it.
        least: The height.
        pixels: Room for as many pixels as the patch has; they are written here.

    Returns:
        A map of it, 1 inside, and how many pixels it has.
    """
    inside = np.zeros((len(field.mean), field.mean.shape[1]), np.uint8)
    pixels[0, 0], pixels[0, 1] = start[0], start[1]
    inside[start[0], start[1]] = 1
    count, done = 1, 0
    while done < count:
        line, column = pixels[done, 0], pixels[done, 1]
        done += 1
        for i in range(max(line - 1, 0), min(line + 2, inside.shape[0])):
            for j in range(max(column - 1, 0), min(column + 2, inside.shape[1])):
                if inside[i, j] == 0 and height(field, i, j) >= least:
                    inside[i, j] = 1
                    pixels[count, 0], pixels[count, 1] = i, j
                    count += 1
    return inside, count


@njit(cache=True, nogil=True)
def outline(mean: NDArray[np.float32], inside: NDArray[np.uint8], pixels: NDArray[np.int32], reach: int) -> None:
    """Tell the core from the rest, which becomes ``RIM`` in the map.

    The core are the pixels that reach half of the highest within ``reach`` of them: soft rims and noise fall away.
    """
    for k in range(len(pixels)):
        line, column = pixels[k, 0], pixels[k, 1]
        most = mean[line, column]
        for i in range(max(line - reach, 0), min(line + reach + 1, mean.shape[0])):
            for j in range(max(column - reach, 0), min(column + reach + 1, mean.shape[1])):
                if inside[i, j] != 0 and mean[i, j] > most:
                    most = mean[i, j]
        if mean[line, column] < _HALF * most:
            inside[line, column] = RIM


@njit(cache=True, nogil=True)
def fit_rectangle(table: NDArray[np.float64], inside: NDArray[np.uint8], pixels: NDArray[np.int32], count: int) -> int:
    """Make the likeliest rectangle the core of a faint mark, where it stands out more than the pixels of its core do.

    For a rectangle of known height h in noise of deviation 1 the log-likelihood ratio is h Σ(x − h/2) over it.

    Args:
        table: Of the patch.
        inside: Map of the mark: 1 for its core, ``RIM`` for the rest.
        pixels: Of the mark, with room for more.
        count: How many there are.

    Returns:
        How many there are now: what lies in the rectangle only was added.
    """
    top, end, low, high = table.shape[0], 0, table.shape[1], 0
    total, core = 0.0, 0
    for k in range(count):
        i, j = pixels[k, 0], pixels[k, 1]
        if inside[i, j] == 1:
            top, end, low, high = min(top, i), max(end, i + 1), min(low, j), max(high, j + 1)
            total += table[i + 1, j + 1] - table[i, j + 1] - table[i + 1, j] + table[i, j]
            core += 1
    if max(end - top, high - low) > _MOST_SIDE:
        return count
    half = _HALF * total / core
    top, end, low, high = _likeliest(table, (top, end, low, high), half)
    size = (end - top) * (high - low)
    inner = table[end, high] - table[top, high] - table[end, low] + table[top, low]
    if inner / np.sqrt(size) < total / np.sqrt(core):
        return count
    for k in range(count):
        i, j = pixels[k, 0], pixels[k, 1]
        inside[i, j] = 1 if top <= i < end and low <= j < high else RIM
    for i in range(top, end):
        for j in range(low, high):
            if inside[i, j] == 0:
                inside[i, j] = 1
                pixels[count, 0], pixels[count, 1] = i, j
                count += 1
    return count


@njit(cache=True, nogil=True)
def _likeliest(table: NDArray[np.float64], box: tuple[int, int, int, int], half: float) -> tuple[int, int, int, int]:
    """Sides moved one after the other, by up to two pixels, until none gains."""
    sides = np.empty(4, np.int64)
    sides[0], sides[1], sides[2], sides[3] = box
    for _ in range(_ROUNDS):
        moved = False
        for side in range(4):
            best, where, start = -np.inf, sides[side], sides[side]
            for place in range(max(start - _NEAR, 0), min(start + _NEAR, table.shape[side // 2] - 1) + 1):
                sides[side] = place
                top, end, low, high = sides[0], sides[1], sides[2], sides[3]
                if top < end and low < high:
                    inner = table[end, high] - table[top, high] - table[end, low] + table[top, low]
                    worth = inner - half * (end - top) * (high - low)
                    if worth > best:
                        best, where = worth, place
            sides[side] = where
            moved = moved or where != start
        if not moved:
            break
    return sides[0], sides[1], sides[2], sides[3]
