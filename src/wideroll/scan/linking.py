"""Runs of pixels to connected marks, line after line, across the borders of blocks.

A union-find over runs: two runs of the same polarity on neighbouring lines that touch, corners included, are one mark.
A mark's moments are merged pairwise from those of its runs [chan1983], so that no sum grows with the distance from the
head. Only marks that touch the last line given stay open.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = [
    "CODE",
    "COLUMN",
    "END",
    "FULL",
    "HIGH",
    "LINE",
    "LOW",
    "MEASURES",
    "MOMENT_ACROSS",
    "MOMENT_ALONG",
    "MOMENT_MIXED",
    "PEAK",
    "PIXELS",
    "RING",
    "SKEW",
    "SUM_CONTRAST",
    "SUM_SNR",
    "TOP",
    "OpenMarks",
    "link_runs",
    "no_marks",
]

PIXELS, LINE, COLUMN, MOMENT_ALONG, MOMENT_ACROSS, MOMENT_MIXED = range(6)
TOP, END, LOW, HIGH, PEAK, FULL, SUM_CONTRAST, SUM_SNR = range(6, 14)
SKEW, RING, CODE, MEASURES = 14, 15, 16, 17
"""Columns of measures: lines count from the head, columns from the datum edge, moments are in pixels squared."""
_RUN: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenMarks:
    """Marks that may go on in the next block."""

    measures: NDArray[np.float64]
    """(marks, 17)."""
    spans: NDArray[np.int32]
    """(runs, 4): their runs on the last line: line, column from, column to of the raster, polarity."""
    owner: NDArray[np.int64]
    """(runs,) the mark of each run."""


def no_marks() -> OpenMarks:
    """The state before the first line."""
    return OpenMarks(measures=np.empty((0, MEASURES)), spans=np.empty((0, _RUN), np.int32), owner=np.empty(0, np.int64))


def link_runs(
    runs: tuple[NDArray[np.int32], NDArray[np.float64]], before: OpenMarks, *, end: int, left: float
) -> tuple[NDArray[np.float64], OpenMarks]:
    """Join runs with each other and with the marks left open before them.

    Args:
        runs: Spans (runs, 4): line from the head, columns of the raster (half open), polarity; and of each one greatest
            contrast, saturated pixels, summed contrast and summed departure (runs, 4).
        before: What was left open.
        end: The line after the last that was looked at.
        left: Datum edge in columns: places across are measured from it.

    Returns:
        Measures (marks, 17) of the marks that ended, and what is still open.
    """
    if not len(runs[0]) and not len(before.measures):
        return before.measures, before
    order = np.lexsort((runs[0][:, 1], runs[0][:, 0]))
    spans = np.concatenate([before.spans, runs[0][order]])
    old = len(before.measures)
    measures = np.zeros((old + len(order), MEASURES))
    measures[:old] = before.measures
    _measure(spans[len(before.spans) :], runs[1][order], left, measures[old:])
    parent = np.arange(len(measures))
    owner = np.concatenate([before.owner, np.arange(old, len(measures))])
    # A new mark may begin above the line on which the open ones ended.
    sorted_ = np.lexsort((spans[:, 1], spans[:, 0]))
    spans, owner = spans[sorted_], owner[sorted_]
    _join(spans, owner, parent, measures)
    going_on = spans[:, 0] == end - 1
    kept, mark = np.unique(parent[owner[going_on]], return_inverse=True)
    ended = parent == np.arange(len(parent))
    ended[kept] = False
    still = OpenMarks(measures=measures[kept], spans=spans[going_on], owner=mark.astype(np.int64))
    return measures[ended], still


@njit(cache=True, nogil=True)
def _measure(spans: NDArray[np.int32], peaks: NDArray[np.float64], left: float, measures: NDArray[np.float64]) -> None:
    for i in range(len(spans)):
        line, start, end, pixels = spans[i, 0], spans[i, 1] - left, spans[i, 2] - left, spans[i, 2] - spans[i, 1]
        m = measures[i]
        m[PIXELS], m[LINE], m[COLUMN] = pixels, line + 0.5, (start + end) / 2.0
        m[MOMENT_ACROSS] = pixels * (pixels * pixels - 1.0) / 12.0
        m[TOP], m[END], m[LOW], m[HIGH], m[CODE] = line, line + 1, start, end, spans[i, 3]
        m[PEAK], m[FULL], m[SUM_CONTRAST], m[SUM_SNR] = peaks[i, 0], peaks[i, 1], peaks[i, 2], peaks[i, 3]


@njit(cache=True, nogil=True)
def _join(
    spans: NDArray[np.int32], owner: NDArray[np.int64], parent: NDArray[np.int64], measures: NDArray[np.float64]
) -> None:
    """Join touching runs; afterwards each entry of ``parent`` is the first run of its mark."""
    above = 0
    for i in range(len(spans)):
        line, start, end, code = spans[i, 0], spans[i, 1], spans[i, 2], spans[i, 3]
        while above < i and (spans[above, 0] < line - 1 or (spans[above, 0] == line - 1 and spans[above, 2] < start)):
            above += 1
        k = above
        while k < i and spans[k, 0] == line - 1 and spans[k, 1] <= end:
            if spans[k, 3] == code:
                _unite(owner[k], owner[i], parent, measures)
            k += 1
    for i in range(len(parent)):
        parent[i] = parent[parent[i]]


@njit(cache=True, nogil=True)
def _unite(one: int, other: int, parent: NDArray[np.int64], measures: NDArray[np.float64]) -> None:
    one, other = _root(one, parent), _root(other, parent)
    if one != other:
        first, second = min(one, other), max(one, other)
        parent[second] = first
        _merge(measures[first], measures[second])


@njit(cache=True, nogil=True)
def _root(label: int, parent: NDArray[np.int64]) -> int:
    while parent[label] != label:
        parent[label] = parent[parent[label]]
        label = parent[label]
    return label


@njit(cache=True, nogil=True)
def _merge(into: NDArray[np.float64], other: NDArray[np.float64]) -> None:
    n, k = into[PIXELS], other[PIXELS]
    along, across = other[LINE] - into[LINE], other[COLUMN] - into[COLUMN]
    shared = n * k / (n + k)
    into[MOMENT_ALONG] += other[MOMENT_ALONG] + along * along * shared
    into[MOMENT_ACROSS] += other[MOMENT_ACROSS] + across * across * shared
    into[MOMENT_MIXED] += other[MOMENT_MIXED] + along * across * shared
    into[LINE] += along * k / (n + k)
    into[COLUMN] += across * k / (n + k)
    into[PIXELS] = n + k
    for total in (FULL, SUM_CONTRAST, SUM_SNR):
        into[total] += other[total]
    for low in (TOP, LOW):
        into[low] = min(into[low], other[low])
    for high in (END, HIGH, PEAK):
        into[high] = max(into[high], other[high])
