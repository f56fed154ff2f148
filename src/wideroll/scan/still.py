"""Lines that bring no fresh noise: a scanner that stands still goes on sending what it saw last, or nothing.

Live pixels differ from line to line. A group of 64 columns or more repeats itself over 8 lines by chance with a
probability below 10⁻²⁰ for noise of a quarter of a grey value, and far less for more.
"""

import itertools
from collections.abc import Iterable
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Frame, Grey
from wideroll.scan.sums import BlockSums

__all__ = ["find_still", "group_borders", "join_stretches", "least_still", "lines_at_rest", "still_stretches"]

_COLUMNS: Final = 64
"""A group has at least this many columns, if the raster does."""
_LINES: Final = 8
"""Fewer lines alike in a row may come of a raster whose lines were doubled."""
_PIXELS: Final = _LINES * _COLUMNS
"""In a narrow raster more lines must be alike."""
_SAME: Final = 0.5
"""Sums are whole numbers: closer than this they are the same."""


def group_borders(frame: Frame) -> NDArray[np.int64]:
    """Borders (groups + 1,) of the groups of columns that are watched by themselves: parts of a scanner stop too."""
    groups = max(frame.segments // _segments(frame), 1)
    return np.append(np.arange(groups) * _segments(frame) * frame.segment, frame.columns)


def _segments(frame: Frame) -> int:
    return -(-_COLUMNS // frame.segment)


def least_still(frame: Frame) -> int:
    """Lines without fresh noise in a row that can't be chance."""
    return max(_LINES, -(-_PIXELS // int(np.diff(group_borders(frame)).min())))


def find_still(rows: Grey, above: Grey | None, totals: BlockSums, frame: Frame) -> NDArray[np.bool_]:
    """Find what equals the line above, or has one value throughout.

    Args:
        rows: ``[along, across]``.
        above: The line before them; None at the head.
        totals: The block's sums.
        frame: The raster.

    Returns:
        ``[group, line]``.
    """
    borders = group_borders(frame)
    # The first line of all repeats nothing: it is compared with one that differs from it in every pixel.
    before = rows[0] ^ frame.dtype.type(1) if above is None else above
    still = np.zeros((len(borders) - 1, len(rows)), np.bool_)
    sums = totals.row_sums[:: _segments(frame)][: len(still)]
    _compare_lines(rows, before, borders, (_doubtful(sums, min(totals.summed, frame.columns)), still))
    return still


def _doubtful(sums: NDArray[np.float64], columns: int) -> NDArray[np.bool_]:
    """What the sums over a group's first columns don't tell for live: most lines need no second look."""
    mean = sums / columns
    doubtful = np.abs(mean - np.rint(mean)) * columns < _SAME
    doubtful[:, 0] = True
    doubtful[:, 1:] |= sums[:, 1:] == sums[:, :-1]
    return doubtful


def lines_at_rest(still: NDArray[np.bool_], frame: Frame) -> NDArray[np.bool_]:
    """(lines,) those that stand still over the whole raster, where enough of them follow each other."""
    whole: NDArray[np.bool_] = np.logical_and.reduce(still, axis=0)
    rest = np.zeros(len(whole), np.bool_)
    if whole.any():
        for _, first, end in _stretches(whole[None]).tolist():
            rest[first:end] = end - first >= least_still(frame)
    return rest


def still_stretches(still: NDArray[np.bool_], first_line: int, frame: Frame) -> NDArray[np.int64]:
    """Stretches (n, 3) of a block: group, line from, line to; the short ones only where they may go on beside it."""
    if not still.any():
        return np.empty((0, 3), np.int64)
    found = _stretches(still)
    long = found[:, 2] - found[:, 1] >= least_still(frame)
    found = found[long | (found[:, 1] == 0) | (found[:, 2] == still.shape[1])]
    return np.asarray(found + np.array([0, first_line, first_line]))


def join_stretches(blocks: Iterable[NDArray[np.int64]], frame: Frame) -> list[tuple[int, int, int, int]]:
    """Rectangles (line from, to, group from, to) of what stands still, with the line that is repeated."""
    spans: dict[tuple[int, int], list[int]] = {}
    least = least_still(frame)
    for group, stretches in _by_group(blocks).items():
        for first, end in stretches:
            if end - first >= least:
                spans.setdefault((max(first - 1, 0), end), []).append(group)
    found = []
    for (first, end), groups in sorted(spans.items()):
        cuts = [0, *(k for k in range(1, len(groups)) if groups[k] != groups[k - 1] + 1), len(groups)]
        found += [(first, end, groups[a], groups[b - 1] + 1) for a, b in itertools.pairwise(cuts)]
    return found


def _by_group(blocks: Iterable[NDArray[np.int64]]) -> dict[int, list[tuple[int, int]]]:
    joined: dict[int, list[tuple[int, int]]] = {}
    for group, first, end in (stretch for block in blocks for stretch in block.tolist()):
        stretches = joined.setdefault(group, [])
        if stretches and stretches[-1][1] == first:
            first = stretches.pop()[0]  # noqa: PLW2901
        stretches.append((first, end))
    return dict(sorted(joined.items()))


def _stretches(still: NDArray[np.bool_]) -> NDArray[np.int64]:
    steps = np.diff(np.pad(still.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    (group, first), (_, end) = np.nonzero(steps == 1), np.nonzero(steps == -1)
    return np.column_stack([group, first, end]).astype(np.int64)


@njit(cache=True, nogil=True)
def _compare_lines(
    rows: Grey, before: Grey, borders: NDArray[np.int64], given: tuple[NDArray[np.bool_], NDArray[np.bool_]]
) -> None:
    doubtful, still = given
    for group in range(still.shape[0]):
        start, end = borders[group], borders[group + 1]
        still[group, 0] = _is_still(rows[0, start:end], before[start:end])
        for i in range(1, rows.shape[0]):
            if doubtful[group, i]:
                still[group, i] = _is_still(rows[i, start:end], rows[i - 1, start:end])


@njit(cache=True, nogil=True)
def _is_still(row: Grey, above: Grey) -> bool:
    same, flat = True, row.size >= _COLUMNS
    for j in range(row.size):
        same &= row[j] == above[j]
        flat &= row[j] == row[0]
        if not (same or flat):
            return False
    return True
