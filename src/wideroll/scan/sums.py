"""One pass over a block's pixels to the sums from which its background is found."""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Frame, Grey, join_strips, strip_cuts

__all__ = ["BlockSums", "sum_block"]

_SAMPLED_LINES: Final = 240
"""So many tell the noise to a few parts in a thousand once neighbouring columns are joined."""
_ENOUGH_COLUMNS: Final = 3000
"""So many tell the gain of a line."""
_VECTOR: Final = 64
_MOST_STRETCHES: Final = 9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlockSums:
    """Sums of a block of lines."""

    cuts: NDArray[np.int64]
    """Borders of the strips (strips + 1,), in lines."""
    parts: int
    """Strips to a cell of the overview."""
    stretches: NDArray[np.int64]
    """Borders of the stretches over which the noise is told (stretches + 1,), in strips."""
    step: int
    """The noise is told from every so-manieth line."""
    sums: NDArray[Any]
    """Of the signal, over the lines of each strip ``[strip, column]``; exact."""
    sampled: NDArray[Any]
    """The same over the lines of each stretch that are sampled for the noise ``[stretch, column]``."""
    squares: NDArray[Any]
    """Of the square of the signal over the lines sampled."""
    row_sums: NDArray[np.float64]
    """Of the signal, over the first columns of each segment ``[segment, line]``."""
    summed: int
    """So many columns of each segment."""


def sum_block(rows: Grey, frame: Frame) -> BlockSums:
    """Sum a C-contiguous block by strips of lines and, line by line, by segments of columns.

    Where there are columns enough not all tell the gain of a line, and not all lines the noise.
    """
    cuts, parts = strip_cuts(len(rows), frame.cell_lines)
    step = max(1, len(rows) // _SAMPLED_LINES)
    small = frame.dtype.itemsize == 1
    stretches = join_strips(len(cuts) - 1, _MOST_STRETCHES)
    some = (len(stretches) - 1, frame.columns)
    sums = np.zeros((len(cuts) - 1, frame.columns), np.uint16 if small else np.uint32)
    sampled, squares = (np.zeros(some, np.uint32 if small else np.float64) for _ in range(2))
    row_sums = np.empty((len(rows), frame.segments), np.uint32)
    summed = _summed_columns(frame)
    stretch_of = np.repeat(np.arange(len(stretches) - 1), np.diff(stretches)).tolist()
    # Strip by strip, so that the second look at a pixel finds it in the processor's own memory.
    for strip, (start, end) in enumerate(pairwise(cuts.tolist())):
        _sum_strip(rows[start:end], sums[strip])
        _sum_rows(rows[start:end], (frame.segment, summed), row_sums[start:end])
        some_rows = rows[-(-start // step) * step : end : step]
        _sample_strip(some_rows, sampled[stretch_of[strip]], squares[stretch_of[strip]])
    return BlockSums(
        cuts=cuts,
        parts=parts,
        stretches=stretches,
        step=step,
        sums=sums,
        sampled=sampled,
        squares=squares,
        row_sums=np.ascontiguousarray(row_sums.T, np.float64),
        summed=summed,
    )


def _summed_columns(frame: Frame) -> int:
    share = max(1, min(4, frame.columns // _ENOUGH_COLUMNS))
    columns = frame.segment // share
    return columns if columns < _VECTOR else columns // _VECTOR * _VECTOR


# Small functions over whole rows: the compiler then knows that the arrays don't overlap, and uses wide registers.
@njit(cache=True, nogil=True)
def _add_row(row: Grey, sums: NDArray[np.uint16]) -> None:
    for j in range(row.size):
        sums[j] = sums.dtype.type(sums[j] + row[j])


@njit(cache=True, nogil=True)
def _sample_row(row: Grey, sums: NDArray[np.float64], squares: NDArray[np.float64]) -> None:
    for j in range(row.size):
        value = sums.dtype.type(row[j])
        sums[j] = sums.dtype.type(sums[j] + value)
        squares[j] = sums.dtype.type(squares[j] + sums.dtype.type(value * value))


@njit(cache=True, nogil=True)
def _total(row: Grey) -> int:
    total = np.uint32(0)
    for j in range(row.size):
        total = np.uint32(total + np.uint32(row[j]))
    return total  # type: ignore[return-value]


# One loop to a function: joined in one, they no longer run in wide registers.
@njit(cache=True, nogil=True)
def _sum_strip(rows: Grey, sums: NDArray[np.uint16]) -> None:
    for i in range(len(rows)):
        _add_row(rows[i], sums)


@njit(cache=True, nogil=True)
def _sample_strip(rows: Grey, sums: NDArray[np.float64], squares: NDArray[np.float64]) -> None:
    for i in range(len(rows)):
        _sample_row(rows[i], sums, squares)


@njit(cache=True, nogil=True)
def _sum_rows(rows: Grey, width: tuple[int, int], row_sums: NDArray[np.uint32]) -> None:
    (segment, summed), columns = width, rows.shape[1]
    for i in range(len(rows)):
        for k in range(row_sums.shape[1]):
            row_sums[i, k] = _total(rows[i, k * segment : min(k * segment + summed, columns)])
