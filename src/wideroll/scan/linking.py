"""Runs of pixels to connected marks, line after line, across the borders of blocks.

A union-find over runs: two runs of the same polarity on neighbouring lines that touch, corners included, are one mark.
A mark's moments are merged pairwise from those of its runs [chan1983], so that no sum grows with the distance from the
head. Only marks that touch the block's last line stay open.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Frame
from wideroll.scan.runs import Runs

__all__ = [
    "ACROSS",
    "ACROSS_FROM",
    "ACROSS_TO",
    "ALONG",
    "ALONG_FROM",
    "ALONG_TO",
    "CODE",
    "CONTRAST",
    "FULL",
    "MOMENT_ACROSS",
    "MOMENT_ALONG",
    "MOMENT_MIXED",
    "PIXELS",
    "SNR",
    "OpenMarks",
    "accept",
    "link_runs",
    "no_marks",
]

PIXELS, ALONG, ACROSS, MOMENT_ALONG, MOMENT_ACROSS, MOMENT_MIXED = range(6)
ALONG_FROM, ALONG_TO, ACROSS_FROM, ACROSS_TO, SNR, CONTRAST, FULL, CODE = range(6, 14)
_MEASURES: Final = 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenMarks:
    """Marks that may go on in the next block."""

    measures: NDArray[np.float64]
    """(marks, 14): pixels, centre, summed squares about it, reach, peaks and polarity; places in mm."""
    spans: NDArray[np.int32]
    """(runs, 4): their runs on the last line, as in ``Runs``."""
    owner: NDArray[np.int64]
    """(runs,) the mark of each run."""


def no_marks() -> OpenMarks:
    """The state before the first line."""
    return OpenMarks(measures=np.empty((0, _MEASURES)), spans=np.empty((0, 4), np.int32), owner=np.empty(0, np.int64))


def link_runs(
    runs: Runs, before: OpenMarks, frame: Frame, *, first_line: int, lines: int, left: float
) -> tuple[NDArray[np.float64], OpenMarks]:
    """Join a block's runs with each other and with the marks left open before it.

    Args:
        runs: The block's runs.
        before: What the block before left open.
        frame: The raster.
        first_line: The block's first line, counted from the head.
        lines: Lines in the block.
        left: Datum edge in this block, in columns: places across are measured from it.

    Returns:
        Measures (marks, 14) of the marks that ended and reach the settings' thresholds, and what is still open.
    """
    old = len(before.measures)
    measures = np.empty((old + len(runs.spans), _MEASURES))
    measures[:old] = before.measures
    parent = np.arange(len(measures))
    _measure(runs.spans, runs.peaks, (first_line, left, *frame.pitch_mm), measures[old:])
    spans = np.concatenate([before.spans, runs.spans])
    spans[: len(before.spans), 0] = -1
    owner = np.concatenate([before.owner, np.arange(old, len(measures))])
    _join(spans, owner, parent, measures)
    going_on = spans[:, 0] == lines - 1
    kept, mark = np.unique(parent[owner[going_on]], return_inverse=True)
    ended = parent == np.arange(len(parent))
    ended[kept] = False
    still = OpenMarks(measures=measures[kept], spans=spans[going_on], owner=mark.astype(np.int64))
    return accept(measures[ended], frame), still


def accept(measures: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """The marks that are large and clear enough."""
    use = frame.settings
    return measures[(measures[:, SNR] >= use.seed_snr) & (measures[:, PIXELS] >= use.least_pixels)]


@njit(cache=True, nogil=True)
def _measure(
    spans: NDArray[np.int32],
    peaks: NDArray[np.float32],
    place: tuple[int, float, float, float],
    measures: NDArray[np.float64],
) -> None:
    first_line, left, pitch_along, pitch_across = place
    for i in range(len(spans)):
        start, end = (spans[i, 1] - left) * pitch_across, (spans[i, 2] - left) * pitch_across
        along, pixels = (first_line + spans[i, 0]) * pitch_along, spans[i, 2] - spans[i, 1]
        m = measures[i]
        m[PIXELS], m[ALONG], m[ACROSS] = pixels, along + pitch_along / 2.0, (start + end) / 2.0
        m[MOMENT_ALONG] = m[MOMENT_MIXED] = 0.0
        m[MOMENT_ACROSS] = pixels * (pixels * pixels - 1.0) / 12.0 * pitch_across**2
        m[ALONG_FROM], m[ALONG_TO], m[ACROSS_FROM], m[ACROSS_TO] = along, along + pitch_along, start, end
        m[SNR], m[CONTRAST], m[FULL], m[CODE] = peaks[i, 0], peaks[i, 1], peaks[i, 2], spans[i, 3]


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
    along, across = other[ALONG] - into[ALONG], other[ACROSS] - into[ACROSS]
    shared = n * k / (n + k)
    into[MOMENT_ALONG] += other[MOMENT_ALONG] + along * along * shared
    into[MOMENT_ACROSS] += other[MOMENT_ACROSS] + across * across * shared
    into[MOMENT_MIXED] += other[MOMENT_MIXED] + along * across * shared
    into[ALONG] += along * k / (n + k)
    into[ACROSS] += across * k / (n + k)
    into[PIXELS] = n + k
    for low in (ALONG_FROM, ACROSS_FROM):
        into[low] = min(into[low], other[low])
    for high in (ALONG_TO, ACROSS_TO, SNR, CONTRAST, FULL):
        into[high] = max(into[high], other[high])
