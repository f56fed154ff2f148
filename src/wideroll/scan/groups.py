"""Medians over lines and over groups of neighbouring columns, which short and narrow things don't pull at."""

from typing import Any, Final, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["group_medians", "median_rows", "median_seen", "running_median"]


Real = TypeVar("Real", np.float32, np.float64)

_MANY: Final = 64
"""The sort of rows takes a time that grows with their square."""


def group_medians(
    values: NDArray[np.float64], places: NDArray[np.int64], size: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Medians of groups of equal count; up to one column in ``size`` is left out between them.

    Args:
        values: (columns,).
        places: The columns to use, ascending; at least one.
        size: Columns to a group, about.

    Returns:
        Centres of the groups in columns, and the medians.
    """
    count = max(1, len(places) // size)
    starts = np.arange(count) * len(places) // count
    members = places[starts[:, None] + np.arange(len(places) // count)]
    return members.mean(axis=1), np.median(values[members], axis=1)


def running_median(values: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Median over ± ``reach`` neighbours; the ends are mirrored through their last value, which keeps a slope.

    Example:
        >>> running_median(np.array([1.0, 2.0, 9.0, 4.0, 5.0]), 1).tolist()
        [1.0, 2.0, 4.0, 5.0, 5.0]
    """
    reach = min(reach, len(values) - 1)
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1))


def median_rows(table: NDArray[Real]) -> NDArray[Real]:
    """Median of each column of a table with few rows: ``np.median(table, axis=0)``, but all columns at once.

    Example:
        >>> median_rows(np.array([[3.0, 1.0], [2.0, 4.0], [9.0, 5.0]])).tolist()
        [3.0, 4.0]
    """
    if len(table) > _MANY:
        return np.median(table, axis=0).astype(table.dtype)
    ordered: Any = np.array(table, order="C")
    _sort_rows(ordered)
    half = len(ordered) // 2
    return np.asarray(ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2.0, table.dtype)


def median_seen(table: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of each row of what isn't NaN; NaN where nothing is left.

    Example:
        >>> median_seen(np.array([[5.0, np.nan, 1.0], [2.0, 4.0, 9.0]])).tolist()
        [3.0, 4.0]
    """
    ordered = np.sort(table, axis=1)
    count = np.sum(~np.isnan(ordered), axis=1)
    row = np.arange(len(ordered))
    return np.asarray((ordered[row, np.maximum(count - 1, 0) // 2] + ordered[row, count // 2 % ordered.shape[1]]) / 2.0)


@njit(cache=True, nogil=True)
def _order(upper: NDArray[Real], lower: NDArray[Real]) -> None:
    for j in range(upper.size):
        one, other = upper[j], lower[j]
        upper[j] = min(one, other)
        lower[j] = max(one, other)


@njit(cache=True, nogil=True)
def _sort_rows(table: NDArray[Real]) -> None:
    """Odd-even merge sort of every column at the same time [batcher1968]."""
    rows, size = table.shape[0], 1
    while size < rows:
        step = size
        while step > 0:
            for first in range(step % size, rows - step, 2 * step):
                for i in range(first, min(first + step, rows - step)):
                    if i // (2 * size) == (i + step) // (2 * size):
                        _order(table[i], table[i + step])
            step //= 2
        size *= 2
