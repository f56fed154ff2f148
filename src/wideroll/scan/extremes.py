"""Least and greatest grey value of each column in each few lines."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.background import Background
from wideroll.scan.frame import Grey
from wideroll.scan.sums import BlockSums

__all__ = ["Extremes"]


class Extremes:
    """By row of cells of the overview and column from the first that is looked at, widened a few lines at a time.

    Lines that aren't looked at don't count; a row without any keeps a greatest value below its least.
    """

    def __init__(self, rows: Grey, totals: BlockSums, ground: Background) -> None:
        self.cuts: NDArray[np.int64] = np.append(totals.cuts[:-1][:: totals.parts], totals.cuts[-1])
        """Borders of the rows of cells, in lines."""
        shape = (len(self.cuts) - 1, ground.last - ground.first)
        self.lowest: Grey = np.full(shape, np.iinfo(rows.dtype).max, rows.dtype)
        self.highest: Grey = np.zeros(shape, rows.dtype)
        self.first: int = ground.first
        """Column of the raster."""
        self._rows, self._used = rows, ground.used
        self._row = np.repeat(np.arange(len(self.cuts) - 1), np.diff(self.cuts))

    def widen(self, start: int, end: int) -> None:
        """Take in the lines from start up to, not including, end."""
        part = slice(start, end)
        _widen_rows(self._rows[part], self._used[part], self._row[part], (self.first, self.lowest, self.highest))


@njit(cache=True, nogil=True)
def _widen_row(row: Grey, lowest: Grey, highest: Grey) -> None:
    for j in range(row.size):
        lowest[j] = min(row[j], lowest[j])
        highest[j] = max(row[j], highest[j])


@njit(cache=True, nogil=True)
def _widen_rows(rows: Grey, used: NDArray[np.bool_], row: NDArray[np.int64], given: tuple[int, Grey, Grey]) -> None:
    first, lowest, highest = given
    for i in range(len(rows)):
        if used[i]:
            _widen_row(rows[i, first : first + lowest.shape[1]], lowest[row[i]], highest[row[i]])
