"""One pass over a block's pixels to the runs of pixels that leave the background."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.background import Background
from wideroll.scan.frame import Frame, Grey
from wideroll.scan.sums import BlockSums

__all__ = ["BRIGHT", "DARK", "Runs", "find_runs"]

DARK: Final = 1
BRIGHT: Final = 2
_WORD: Final = 8
"""Pixels looked at together."""
_FIRST_ROOM: Final = 1 << 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runs:
    """Neighbouring pixels of one line that leave the background to the same side, in order of line and column."""

    spans: NDArray[np.int32]
    """(runs, 4): line in the block, column from, column to (half open, of the raster), ``DARK`` or ``BRIGHT``."""
    peaks: NDArray[np.float32]
    """(runs, 3): greatest distance from the background in noise, the same as a fraction of the background, and 1 where
    a pixel is saturated."""
    lowest: NDArray[np.float32]
    """(strips, last − first) least signal over gain in each strip; infinite where no line was looked at."""
    highest: NDArray[np.float32]
    """The same, greatest."""


class _Limits(NamedTuple):
    """By column from the first that is looked at."""

    low: NDArray[np.float32]
    high: NDArray[np.float32]
    profile: NDArray[np.float32]
    noise: NDArray[np.float32]


class _Found(NamedTuple):
    """Where the pass writes to; ``codes`` holds one line."""

    lowest: NDArray[np.float32]
    highest: NDArray[np.float32]
    spans: NDArray[np.int32]
    peaks: NDArray[np.float32]
    codes: NDArray[np.uint8]


class _Block(NamedTuple):
    """What is the same for all lines of a block."""

    first: int
    saturation: int
    cuts: NDArray[np.int64]
    scale: NDArray[np.float32]


def find_runs(rows: Grey, totals: BlockSums, ground: Background, frame: Frame) -> Runs:
    """Compare each pixel, divided by the gain of its line, with the limits of its column."""
    limits = _limits(ground, frame.settings.grow_snr)
    scale = np.where(ground.used, 1.0 / ground.gain, 0.0).astype(np.float32)
    block = _Block(first=ground.first, saturation=frame.saturation, cuts=totals.cuts, scale=scale)
    room = _FIRST_ROOM
    while True:
        found = _room(len(totals.cuts) - 1, ground.last - ground.first, room)
        count = _screen(rows, block, limits, found)
        if count <= room:
            spans = found.spans[:count]
            spans[:, 1:3] += ground.first
            return Runs(spans=spans, peaks=found.peaks[:count], lowest=found.lowest, highest=found.highest)
        room = count


def _room(strips: int, width: int, runs: int) -> _Found:
    return _Found(
        lowest=np.full((strips, width), np.inf, np.float32),
        highest=np.full((strips, width), -np.inf, np.float32),
        spans=np.empty((runs, 4), np.int32),
        peaks=np.empty((runs, 3), np.float32),
        codes=np.zeros((width // _WORD + 1) * _WORD, np.uint8),
    )


def _limits(ground: Background, grow_snr: float) -> _Limits:
    low = ground.profile - grow_snr * ground.noise
    high = ground.profile + grow_snr * ground.noise
    low[ground.faults > 0], high[ground.faults > 0] = -np.inf, np.inf
    return _Limits(
        low=low.astype(np.float32),
        high=high.astype(np.float32),
        profile=ground.profile.astype(np.float32),
        noise=ground.noise.astype(np.float32),
    )


@njit(cache=True, nogil=True)
def _compare_row(
    row: Grey, scale: float, low: NDArray[np.float32], high: NDArray[np.float32], codes: NDArray[np.uint8]
) -> None:
    for j in range(row.size):
        value = np.float32(row[j]) * scale
        codes[j] = np.uint8(value < low[j]) | (np.uint8(value > high[j]) << np.uint8(1))


@njit(cache=True, nogil=True)
def _widen_row(row: Grey, scale: float, lowest: NDArray[np.float32], highest: NDArray[np.float32]) -> None:
    for j in range(row.size):
        value = np.float32(row[j]) * scale
        lowest[j] = min(value, lowest[j])
        highest[j] = max(value, highest[j])


@njit(cache=True, nogil=True)
def _screen(rows: Grey, block: _Block, limits: _Limits, found: _Found) -> int:
    first, cuts, scale, low, high = block.first, block.cuts, block.scale, limits.low, limits.high
    lowest, highest, codes = found.lowest, found.highest, found.codes
    count = 0
    for strip in range(cuts.size - 1):
        for i in range(cuts[strip], cuts[strip + 1]):
            if scale[i] > 0.0:
                row = rows[i, first : first + low.size]
                _compare_row(row, scale[i], low, high, codes[: low.size])
                _widen_row(row, scale[i], lowest[strip], highest[strip])
                count = _collect(row, i, count, (block, limits, found))
    return count


@njit(cache=True, nogil=True)
def _collect(row: Grey, line: int, count: int, given: tuple[_Block, _Limits, _Found]) -> int:
    """Write the runs of one line; where there is no room they are only counted."""
    block, limits, found = given
    scale, saturation, profile, noise = block.scale[line], block.saturation, limits.profile, limits.noise
    spans, peaks, codes = found.spans, found.peaks, found.codes
    words = codes.view(np.uint64)
    j = 0
    while j < row.size:
        if j % 8 == 0 and words[j >> 3] == 0:
            j += 8
        elif codes[j] == 0:
            j += 1
        else:
            start, code = j, codes[j]
            snr = contrast = full = np.float32(0.0)
            while codes[j] == code:
                away = abs(np.float32(row[j]) * scale - profile[j])
                snr = max(snr, away / noise[j])
                contrast = max(contrast, away / profile[j])
                full = np.float32(1.0) if row[j] >= saturation else full
                j += 1
            if count < len(spans):
                spans[count, 0], spans[count, 1], spans[count, 2], spans[count, 3] = line, start, j, code
                peaks[count, 0], peaks[count, 1], peaks[count, 2] = snr, contrast, full
            count += 1
    return count
