"""One pass over a block's pixels to the places that stand out at some size.

A pixel stands out by itself, a faint wide mark only in the sum over a window of its own size. Where one leaves the
background by more than its noise allows, it is a seed: whether a mark grows from it is seen later, pixel by pixel.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.stats import norm

from wideroll.scan.background import Background
from wideroll.scan.extremes import Extremes
from wideroll.scan.frame import Frame, Grey
from wideroll.scan.windows import CELL, SIZES, Book, Limits, WindowScreen, limits_for, new_book, screen_wide, write_seed

__all__ = ["Cells", "Lines", "Seeds", "cross_border", "find_seeds", "use_lines", "window_snr"]

_WINDOW_MORE: Final = 0.5
"""So much more must a window reach than a pixel, which needs a second one beside it."""
_TILE: Final = 256
_ROOM: Final = 4096
_CLIP: Final = 3.0
_LEAST_COLUMNS: Final = 2 * CELL


def window_snr(seed_snr: float) -> float:
    """What a window of pixels must reach, in standard deviations of its sum, where a pixel must reach ``seed_snr``."""
    return seed_snr + _WINDOW_MORE


class Seeds(NamedTuple):
    """What stands out."""

    boxes: NDArray[np.int32]
    """(seeds, 3): first line in the block, first column of the raster, side in pixels."""
    snr: NDArray[np.float32]
    """Signed, in standard deviations of the window's sum."""
    excess: NDArray[np.float64]
    """(6,) how many times more windows of 1, 4, 8 … 64 pixels scatter than independent pixels make them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """The lines of a block and the gain by which each is divided."""

    rows: Grey
    scale: NDArray[np.float32]
    """(lines,) 1 over the gain; 0 for a line that isn't looked at."""

    @property
    def gain(self) -> NDArray[np.float64]:
        """(lines,) 0 for a line that isn't looked at."""
        seen = self.scale > 0.0
        return np.where(seen, 1.0 / np.where(seen, self.scale, 1.0), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Departure from the background, summed over cells of 8 × 8 pixels ``[along, across]``, and each one's noise."""

    away: NDArray[np.float32]
    noise: NDArray[np.float32]
    """(across,) standard deviation; infinite where a column of the cell isn't looked at."""
    wanted: NDArray[np.float32]
    """(across,) what the background would sum to."""
    seen: NDArray[np.bool_]
    """(along,) cells with all of their lines looked at."""


def use_lines(rows: Grey, ground: Background) -> Lines:
    """The lines with the gain of each."""
    return Lines(rows=rows, scale=np.where(ground.used, 1.0 / ground.gain, 0.0).astype(np.float32))


def find_seeds(lines: Lines, ground: Background, extremes: Extremes, frame: Frame) -> tuple[Seeds, Cells]:
    """Compare pixels, and windows of 4 to 64 pixels square, with the background.

    Args:
        lines: C-contiguous lines of a block.
        ground: Its background.
        extremes: Of each column in each few lines; they are found on the way.
        frame: The raster.
    """
    given, seed_snr = _by_column(ground, frame), frame.settings.seed_snr
    exact = limits_for(*given, (1, 1), seed_snr)
    gain, snr, room = lines.gain, window_snr(seed_snr), _ROOM
    while True:
        book = new_book(room)
        windows = WindowScreen(lines.rows, gain, given, snr)
        done = row = 0
        for start, end in [*windows.steps, (len(lines.rows), len(lines.rows))]:
            extremes.widen(done, end)
            if start < end:
                windows.screen(start, end, book)
            done = end
            while row < len(extremes.cuts) - 1 and extremes.cuts[row + 1] <= done:
                _screen_extremes(lines, extremes, row, exact, book)
                row += 1
        _screen_spare(lines, gain, given, (snr, book))
        screen_wide(windows, snr, book)
        if book.written[0] <= room:
            cells = windows.cells
            found = Cells(away=windows.away, noise=cells.noise, wanted=cells.middle, seen=windows.seen)
            return _clear(book, _excess(book.tally), seed_snr), found
        room = int(book.written[0])


def cross_border(
    lines: Lines, profile: NDArray[np.float32], weight: NDArray[np.float32], excess: NDArray[np.float64], frame: Frame
) -> Seeds:
    """Windows that lie across the middle line, where two blocks meet.

    Args:
        lines: As many of the one as of the other, whole cells.
        profile: By column of the raster, for both.
        weight: 1 over the noise; 0 in columns that aren't looked at.
        excess: As in ``Seeds``.
        frame: The raster.
    """
    with np.errstate(divide="ignore"):
        given = profile, (1.0 / np.square(weight)).astype(np.float32)
    snr, room, gain = window_snr(frame.settings.seed_snr), _ROOM, lines.gain
    while True:
        book = new_book(room)
        windows = WindowScreen(lines.rows, gain, given, snr)
        for start, end in windows.steps:
            windows.screen(start, end, book)
        _screen_spare(lines, gain, given, (snr, book))
        screen_wide(windows, snr, book)
        if book.written[0] <= room:
            break
        room = int(book.written[0])
    seeds = _clear(book, excess, frame.settings.seed_snr)
    middle = len(lines.scale) // 2
    crossing = (seeds.boxes[:, 0] < middle) & (seeds.boxes[:, 0] + seeds.boxes[:, 2] > middle)
    return Seeds(boxes=seeds.boxes[crossing], snr=seeds.snr[crossing], excess=excess)


def _screen_spare(
    lines: Lines,
    gain: NDArray[np.float64],
    given: tuple[NDArray[np.float32], NDArray[np.float32]],
    found: tuple[float, Book],
) -> None:
    """Small windows over the last columns, of which some fill no cell."""
    columns = lines.rows.shape[1]
    if columns % CELL and columns > _LEAST_COLUMNS:
        start = columns - _LEAST_COLUMNS
        rows: Any = np.ascontiguousarray(lines.rows[:, start:])
        rows.flags.writeable = False
        windows = WindowScreen(rows, gain, (given[0][start:], given[1][start:]), found[0], start)
        for first, end in windows.steps:
            windows.screen(first, end, found[1])


def _by_column(ground: Background, frame: Frame) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Profile and variance over the raster; the variance is infinite in columns that aren't looked at."""
    profile = np.ones(frame.columns, np.float32)
    variance = np.full(frame.columns, np.inf, np.float32)
    profile[ground.first : ground.last] = ground.profile
    variance[ground.first : ground.last] = np.where(ground.faults > 0, np.inf, ground.noise**2)
    return profile, variance


def _screen_extremes(lines: Lines, extremes: Extremes, row: int, exact: Limits, book: Book) -> None:
    """The pixels that leave their limits: only columns whose least or greatest value does are looked at closely."""
    place = int(extremes.cuts[row]), int(extremes.cuts[row + 1]), extremes.first
    found = extremes.lowest[row], extremes.highest[row]
    columns = _leaving(found, lines.scale[place[0] : place[1]], exact, extremes.first)
    if columns.size:
        _screen_columns(lines.rows, place, (columns, lines.scale, exact), book)


@njit(cache=True, nogil=True)
def _leaving(found: tuple[Grey, Grey], scale: NDArray[np.float32], exact: Limits, first: int) -> NDArray[np.int64]:
    """Columns, from the first that is looked at, in which a pixel may leave its limits."""
    (lowest, highest), most, least = found, 0.0, np.inf
    for value in scale:
        if value > 0.0:
            # A little wider than the gains: what is rounded may fall to either side.
            most, least = max(most, 1.0001 / value), min(least, 0.9999 / value)
    count, columns = 0, np.empty(lowest.size if most > 0.0 else 0, np.int64)
    for start in range(0, columns.size, _TILE):
        end = min(start + _TILE, columns.size)
        low, high = exact.low[first + start : first + end], exact.high[first + start : first + end]
        if _beyond(lowest[start:end], low, most, 1.0) or _beyond(highest[start:end], high, least, -1.0):
            for j in range(start, end):
                below = np.float32(lowest[j]) < low[j - start] * np.float32(most)
                if below or np.float32(highest[j]) > high[j - start] * np.float32(least):
                    columns[count] = j
                    count += 1
    return columns[:count]


@njit(cache=True, nogil=True)
def _beyond(values: Grey, limit: NDArray[np.float32], gain: float, sign: float) -> int:
    """Other than 0 where a value lies below its limit, or above it where the sign is −1."""
    out, turn = np.uint32(0), np.float32(sign)
    for j in range(values.size):
        far = np.uint32(1) if np.float32(values[j]) * turn < limit[j] * np.float32(gain) * turn else np.uint32(0)
        out = np.uint32(out | far)
    return out  # type: ignore[return-value]


@njit(cache=True, nogil=True)
def _screen_columns(
    rows: Grey,
    place: tuple[int, int, int],
    given: tuple[NDArray[np.int64], NDArray[np.float32], Limits],
    book: Book,
) -> None:
    (start, end, first), (columns, scale, limits) = place, given
    for i in range(start, end):
        if scale[i] > 0.0:
            for k in columns:
                j = first + k
                value = np.float32(rows[i, j]) * scale[i]
                if value < limits.low[j] or value > limits.high[j]:
                    write_seed((i, j, 1), (value - limits.middle[j]) / limits.noise[j], book)


def _clear(book: Book, excess: NDArray[np.float64], seed_snr: float) -> Seeds:
    """The seeds that stand out against how much windows of their size scatter."""
    count = int(book.written[0])
    boxes, snr = book.boxes[:count], book.snr[:count]
    size = np.searchsorted(SIZES, boxes[:, 2])
    limit = np.where(size > 0, window_snr(seed_snr), seed_snr) * excess[size]
    keep = np.abs(snr) > limit
    return Seeds(boxes=boxes[keep], snr=(snr / excess[size])[keep].astype(np.float32), excess=excess)


def _excess(tally: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many times more the sums of each size scatter than independent pixels make them; at least 1.

    The spread s of normal numbers of which E[min(x², 9)] is known, less three times its own uncertainty.
    """
    count = np.maximum(tally[:, 1], 1.0)
    spread = np.interp(tally[:, 0] / count, *_clipped_squares())
    return np.maximum(1.0, spread * (1.0 - 3.0 / np.sqrt(2.0 * count)))


@lru_cache(maxsize=1)
def _clipped_squares() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    spread = np.linspace(0.25, 12.0, 400)
    a = _CLIP / spread
    inner = spread**2 * (2.0 * norm.cdf(a) - 1.0 - 2.0 * a * norm.pdf(a))
    return inner + 2.0 * _CLIP**2 * norm.sf(a), spread
