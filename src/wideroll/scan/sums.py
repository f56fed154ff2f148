"""One pass over a block's pixels to the sums from which its background is found."""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Frame, Grey, strip_cuts

__all__ = ["BlockSums", "sum_block"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlockSums:
    """Sums of a block of lines."""

    cuts: NDArray[np.int64]
    """Borders of the strips (strips + 1,), in lines."""
    parts: int
    """Strips to a cell of the overview."""
    sums: NDArray[Any]
    """Of the signal, over the lines of each strip ``[strip, column]``; exact."""
    squares: NDArray[Any]
    """Of its square."""
    row_sums: NDArray[np.float64]
    """Of the signal, over the columns of each segment ``[segment, line]``."""


class _Totals(NamedTuple):
    sums: NDArray[Any]
    squares: NDArray[Any]
    row_sums: NDArray[np.float64]


def sum_block(rows: Grey, frame: Frame) -> BlockSums:
    """Sum a C-contiguous block by strips of lines and, line by line, by segments of columns."""
    cuts, parts = strip_cuts(len(rows), frame.cell_lines)
    kind = np.uint32 if frame.dtype.itemsize == 1 else np.float64
    shape = (len(cuts) - 1, frame.columns)
    row_sums = np.empty((frame.segments, len(rows)))
    totals = _Totals(sums=np.zeros(shape, kind), squares=np.zeros(shape, kind), row_sums=row_sums)
    _sum_strips(rows, cuts, frame.segment, totals)
    return BlockSums(cuts=cuts, parts=parts, sums=totals.sums, squares=totals.squares, row_sums=row_sums)


# Small functions over whole rows: the compiler then knows that the arrays don't overlap, and uses wide registers.
@njit(cache=True, nogil=True)
def _add_row(row: Grey, sums: NDArray[np.float64], squares: NDArray[np.float64]) -> None:
    for j in range(row.size):
        value = sums.dtype.type(row[j])
        sums[j] += value
        squares[j] += value * value


@njit(cache=True, nogil=True)
def _total(row: Grey) -> int:
    total = np.uint32(0)
    for j in range(row.size):
        total += np.uint32(row[j])
    return total  # type: ignore[return-value]


@njit(cache=True, nogil=True)
def _sum_strips(rows: Grey, cuts: NDArray[np.int64], segment: int, totals: _Totals) -> None:
    sums, squares, row_sums = totals.sums, totals.squares, totals.row_sums
    columns = rows.shape[1]
    for strip in range(cuts.size - 1):
        for i in range(cuts[strip], cuts[strip + 1]):
            _add_row(rows[i], sums[strip], squares[strip])
            for k in range(row_sums.shape[0]):
                row_sums[k, i] = _total(rows[i, k * segment : min(k * segment + segment, columns)])
