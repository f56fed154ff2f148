"""Sums over windows of pixels, each size from the one before, compared with what the background lets them be.

Windows of 4 and 8 pixels square lie every 2 and 4 pixels; from them come cells of 8 pixels, and from those windows of
16 to 64, every half of their side. One loop to a function: several joined in one no longer run in wide registers.
"""

from typing import Any, Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.frame import Grey

__all__ = ["CELL", "SIZES", "Book", "Limits", "WindowScreen", "limits_for", "new_book", "screen_wide", "write_seed"]

CELL: Final = 8
"""Pixels to the side of a cell that is kept."""
SIZES: Final = (1, 4, 8, 16, 32, 64)
"""Sides of what is compared, in pixels."""
_TILE: Final = 512
_PART: Final = 64
_TOGETHER: Final = 64
"""Lines that the processor keeps at hand."""
_CLIP: Final = 3.0
_TALLIED: Final = 12
"""The small windows of one in so many of these tell how much they scatter."""
_MOST: Final = 65535.0
_WIDER: Final = 1.0001
"""Gains are taken a little wider than they are: what is rounded may fall to either side."""


class Limits(NamedTuple):
    """By window of one size: what it may sum to where the gain is 1, its expected sum, and the noise of that."""

    low: NDArray[np.float32]
    high: NDArray[np.float32]
    middle: NDArray[np.float32]
    noise: NDArray[np.float32]


class Book(NamedTuple):
    """Seeds as they are written; ``written`` counts on where there is no more room."""

    boxes: NDArray[np.int32]
    """(room, 3): line, column, side."""
    snr: NDArray[np.float32]
    written: NDArray[np.int64]
    tally: NDArray[np.float64]
    """(sizes, 2): squares of sums in units of their noise, cut off at 9, added up; and how many."""


def new_book(room: int) -> Book:
    """An empty one."""
    return Book(
        boxes=np.empty((room, 3), np.int32),
        snr=np.empty(room, np.float32),
        written=np.zeros(1, np.int64),
        tally=np.zeros((len(SIZES), 2)),
    )


def limits_for(
    profile: NDArray[np.float32], variance: NDArray[np.float32], size: tuple[int, int], snr: float
) -> Limits:
    """For windows of a side, one every step (side, step).

    Args:
        profile: By column.
        variance: Of a pixel, by column; infinite in one that isn't looked at.
        size: Side and step, in pixels.
        snr: So many standard deviations of its sum may a window depart.
    """
    side, step = size
    found = np.empty((4, max(0, (len(profile) - side) // step + 1)), np.float32)
    _fill_limits((profile, variance), size, snr, found)
    return Limits(found[0], found[1], found[2], found[3])


class WindowScreen:
    """Lines are given a few at a time, in order; what stands out is written to the book.

    Args:
        rows: C-contiguous lines.
        gain: (lines,) 0 for a line that isn't looked at.
        given: Profile and variance by column, as for ``limits_for``.
        snr: What a window must reach.
        column: The first column, counted in the raster.
    """

    def __init__(
        self,
        rows: Grey,
        gain: NDArray[np.float64],
        given: tuple[NDArray[np.float32], NDArray[np.float32]],
        snr: float,
        column: int = 0,
    ) -> None:
        columns, groups = rows.shape[1] // CELL * CELL, len(rows) // CELL
        profile, variance = (values[:columns] for values in given)
        self.steps: list[tuple[int, int]] = [
            (start, min(start + _TOGETHER, groups * CELL)) for start in range(0, groups * CELL, _TOGETHER)
        ]
        """Lines (from, to) to be given one after the other."""
        self._four, self._eight, self._cell = (
            limits_for(profile, variance, size, snr) for size in ((4, 2), (8, 4), (CELL, CELL))
        )
        self.away: NDArray[np.float32] = np.zeros((groups, columns // CELL), np.float32)
        """``[cell along, cell across]`` departure of the sums from what is expected."""
        self.seen: NDArray[np.bool_] = np.zeros(groups, np.bool_)
        """(cells along,) all of their lines are looked at."""
        self._rows, self._column, self._columns = rows, column, columns
        self._scales = tuple(_window_scales(gain, lines) for lines in (4, 8))
        small = rows.dtype.itemsize == 1
        self._wider: Any
        wide, self._wider = (np.dtype(np.uint16), np.uint32) if small else (np.dtype(np.uint32), np.uint64)
        self._pairs = np.zeros((_TOGETHER // 2 + 1, columns // 2), wide)
        self._fours = np.zeros((_TOGETHER // 4 + 1, columns // 4), wide)
        self._small = small

    @property
    def cells(self) -> Limits:
        """Of the cells."""
        return self._cell

    def screen(self, start: int, end: int, book: Book) -> None:
        """Take the lines of one of the steps."""
        if not self.away.size:
            return
        pairs, fours = self._pairs[: (end - start) // 2 + 1], self._fours[: (end - start) // 4 + 1]
        _fold_lines(self._rows[start:end], self._columns, pairs)
        _fold_sums(pairs[1:].view(self._wider), fours)
        self._compare(pairs, start - 2, (4, 2), (self._four, self._scales[0]), book)
        self._compare(fours, start - 4, (8, 4), (self._eight, self._scales[1]), book)
        away = self.away[start // CELL : end // CELL]
        scale = self._scales[1][start:end:CELL]
        _depart(fours[1:].view(self._wider), scale, self._cell.middle, away)
        self.seen[start // CELL : end // CELL] = scale > 0.0
        pairs[0], fours[0] = pairs[-1], fours[-1]

    def _compare(
        self,
        sums: NDArray[Any],
        line: int,
        size: tuple[int, int],
        given: tuple[Limits, NDArray[np.float32]],
        book: Book,
    ) -> None:
        """Windows over two neighbouring rows of sums; the first begins on ``line``."""
        (side, step), (limits, scales) = size, given
        first = max(0, -line // step)
        sums, line = sums[first:], line + first * step
        scale = scales[line : line + (len(sums) - 1) * step : step]
        flags = np.zeros((len(scale), -(-limits.low.size // _TILE)), np.uint8)
        used = scale[scale > 0.0]
        if self._small and used.size:
            low, high = _whole_limits(limits, float(1.0 / used.min()), float(1.0 / used.max()))
            _flag_whole(sums, low, high, (scale > 0.0, flags))
        elif used.size:
            _flag(sums, limits.low, limits.high, (scale, flags))
        if flags.any():
            _collect(sums, limits, (scale, flags), ((line, self._column, step, side), book))
        if line // _TOGETHER % _TALLIED == 0 and len(scale):
            _tally_windows(sums, limits, float(scale[-1]), book.tally[SIZES.index(side)])


def _window_scales(gain: NDArray[np.float64], lines: int) -> NDArray[np.float32]:
    """By first line: 1 over the mean gain of so many lines; 0 where one of them isn't looked at."""
    sums = np.concatenate([[0.0], np.cumsum(gain)])
    blind = np.concatenate([[0], np.cumsum(gain <= 0.0)])
    total, unseen = sums[lines:] - sums[:-lines], blind[lines:] - blind[:-lines]
    scale = np.zeros(len(gain), np.float32)
    clear = unseen == 0
    scale[: len(total)][clear] = lines / total[clear]
    return scale


def _whole_limits(limits: Limits, most: float, least: float) -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """In whole grey values for gains from least to most: what leaves the limits leaves these."""
    low, high = np.empty(limits.low.size, np.uint16), np.empty(limits.low.size, np.uint16)
    _fill_whole(limits, (most * _WIDER, least / _WIDER), low, high)
    return low, high


@njit(cache=True, nogil=True)
def _fill_whole(limits: Limits, gains: tuple[float, float], low: NDArray[np.uint16], high: NDArray[np.uint16]) -> None:
    most, least = np.float32(gains[0]), np.float32(gains[1])
    for j in range(low.size):
        low[j] = np.uint16(min(max(limits.low[j] * most + np.float32(1.0), np.float32(0.0)), np.float32(_MOST)))
        high[j] = np.uint16(min(max(limits.high[j] * least, np.float32(0.0)), np.float32(_MOST)))


@njit(cache=True, nogil=True)
def _fill_limits(
    given: tuple[NDArray[np.float32], NDArray[np.float32]], size: tuple[int, int], snr: float, out: NDArray[np.float32]
) -> None:
    (profile, variance), (side, step) = given, size
    for k in range(out.shape[1]):
        middle = spread = 0.0
        for j in range(k * step, k * step + side):
            middle += profile[j]
            spread += variance[j]
        middle, noise = middle * side, np.sqrt(spread * side)
        out[0, k], out[1, k] = middle - snr * noise, middle + snr * noise
        out[2, k], out[3, k] = middle, noise


@njit(cache=True, nogil=True)
def write_seed(place: tuple[int, int, int], snr: float, book: Book) -> None:
    """Write line, column and side, if there is room."""
    k = book.written[0]
    if k < len(book.snr):
        book.boxes[k, 0], book.boxes[k, 1], book.boxes[k, 2] = place
        book.snr[k] = snr
    book.written[0] = k + 1


@njit(cache=True, nogil=True)
def _fold(upper: NDArray[Any], lower: NDArray[Any], out: NDArray[Any]) -> None:
    """Add two lines, and in each their neighbours, which lie in the halves of one wider number."""
    half = upper.itemsize * 4
    shift = upper.dtype.type(half)
    mask = upper.dtype.type((1 << half) - 1)
    for j in range(out.size):
        one, other = upper[j], lower[j]
        out[j] = out.dtype.type((one & mask) + (one >> shift) + (other & mask) + (other >> shift))


@njit(cache=True, nogil=True)
def _fold_lines(rows: Grey, columns: int, pairs: NDArray[Any]) -> None:
    """Sums over 2 × 2 pixels, from the second row of ``pairs`` on."""
    for k in range(len(rows) // 2):
        upper = rows[2 * k, :columns].view(pairs.dtype)
        _fold(upper, rows[2 * k + 1, :columns].view(pairs.dtype), pairs[k + 1])


@njit(cache=True, nogil=True)
def _fold_sums(sums: NDArray[Any], out: NDArray[Any]) -> None:
    for k in range(len(sums) // 2):
        _fold(sums[2 * k], sums[2 * k + 1], out[k + 1])


@njit(cache=True, nogil=True)
def _depart_row(upper: NDArray[Any], lower: NDArray[Any], given: tuple[float, Any], away: NDArray[np.float32]) -> None:
    (scale, middle), half = given, upper.itemsize * 4
    shift = upper.dtype.type(half)
    mask = upper.dtype.type((1 << half) - 1)
    for j in range(away.size):
        one, other = upper[j], lower[j]
        total = (one & mask) + (one >> shift) + (other & mask) + (other >> shift)
        away[j] = np.float32(np.uint32(total)) * scale - middle[j]


@njit(cache=True, nogil=True)
def _depart(
    fours: NDArray[Any], scale: NDArray[np.float32], middle: NDArray[np.float32], away: NDArray[np.float32]
) -> None:
    for k in range(len(away)):
        if scale[k] > 0.0:
            _depart_row(fours[2 * k], fours[2 * k + 1], (scale[k], middle), away[k])


@njit(cache=True, nogil=True)
def _leaves_whole(upper: NDArray[Any], lower: NDArray[Any], limits: tuple[Any, Any]) -> int:
    """Other than 0 where a window may lie outside; whole numbers of 16 bits only."""
    (low, high), out = limits, np.uint16(0)
    for j in range(low.size):
        total = np.uint16(np.uint16(upper[j] + upper[j + 1]) + np.uint16(lower[j] + lower[j + 1]))
        below = np.uint16(1) if total < low[j] else np.uint16(0)
        above = np.uint16(1) if total > high[j] else np.uint16(0)
        out = np.uint16(out | below | above)
    return out  # type: ignore[return-value]


@njit(cache=True, nogil=True)
def _flag_whole(
    sums: NDArray[Any],
    low: NDArray[np.uint16],
    high: NDArray[np.uint16],
    given: tuple[NDArray[np.bool_], NDArray[np.uint8]],
) -> None:
    used, flags = given
    for k in range(flags.shape[0]):
        upper, lower = sums[k], sums[k + 1]
        for t in range(flags.shape[1] if used[k] else 0):
            a, b = t * _TILE, min((t + 1) * _TILE, low.size)
            flags[k, t] = _leaves_whole(upper[a : b + 1], lower[a : b + 1], (low[a:b], high[a:b])) > 0


@njit(cache=True, nogil=True)
def _leaves(upper: NDArray[Any], lower: NDArray[Any], limits: tuple[Any, Any], scale: float) -> int:
    (low, high), out = limits, np.uint32(0)
    kind = upper.dtype.type
    for j in range(low.size):
        # Kept in its own type, so that as many as can be are added at once.
        value = np.float32(kind(kind(upper[j] + upper[j + 1]) + kind(lower[j] + lower[j + 1]))) * scale
        below = np.uint32(1) if value < low[j] else np.uint32(0)
        above = np.uint32(1) if value > high[j] else np.uint32(0)
        out = np.uint32(out | below | above)
    return out  # type: ignore[return-value]


@njit(cache=True, nogil=True)
def _flag(
    sums: NDArray[Any],
    low: NDArray[np.float32],
    high: NDArray[np.float32],
    given: tuple[NDArray[np.float32], NDArray[np.uint8]],
) -> None:
    scale, flags = given
    for k in range(flags.shape[0]):
        upper, lower = sums[k], sums[k + 1]
        for t in range(flags.shape[1]):
            flags[k, t] = 0
            if scale[k] > 0.0:
                a, b = t * _TILE, min((t + 1) * _TILE, low.size)
                flags[k, t] = _leaves(upper[a : b + 1], lower[a : b + 1], (low[a:b], high[a:b]), scale[k]) > 0


@njit(cache=True, nogil=True)
def _collect(
    sums: NDArray[Any],
    limits: Limits,
    given: tuple[NDArray[np.float32], NDArray[np.uint8]],
    found: tuple[tuple[int, int, int, int], Book],
) -> None:
    """Write the windows of flagged tiles that leave their limits."""
    (scale, flags), ((line, column, step, side), book) = given, found
    for k in range(flags.shape[0]):
        for t in range(flags.shape[1]):
            for a in range(t * _TILE, min((t + 1) * _TILE, limits.low.size) if flags[k, t] else 0, _PART):
                b = min(a + _PART, limits.low.size)
                part = limits.low[a:b], limits.high[a:b]
                if _leaves(sums[k, a : b + 1], sums[k + 1, a : b + 1], part, scale[k]):
                    for j in range(a, b):
                        total = sums[k, j] + sums[k, j + 1] + sums[k + 1, j] + sums[k + 1, j + 1]
                        value = np.float32(total) * scale[k]
                        if value < limits.low[j] or value > limits.high[j]:
                            snr = (value - limits.middle[j]) / limits.noise[j]
                            write_seed((line + k * step, column + j * step, side), snr, book)


@njit(cache=True, nogil=True)
def _tally_windows(sums: NDArray[Any], limits: Limits, scale: float, tally: NDArray[np.float64]) -> None:
    k = len(sums) - 2
    for j in range(limits.noise.size if scale > 0.0 else 0):
        if limits.noise[j] < np.inf:
            total = sums[k, j] + sums[k, j + 1] + sums[k + 1, j] + sums[k + 1, j + 1]
            away = (np.float32(total) * scale - limits.middle[j]) / limits.noise[j]
            tally[0] += min(away * away, np.float32(_CLIP * _CLIP))
            tally[1] += 1.0


def screen_wide(windows: WindowScreen, snr: float, book: Book) -> None:
    """Windows of 16 pixels and more from the cells, each laid every half of its side."""
    away, seen, side = windows.away, windows.seen, CELL
    variance = windows.cells.noise.astype(np.float64) ** 2
    for size in range(SIZES.index(2 * CELL), len(SIZES)):
        if min(away.shape) < 2:  # noqa: PLR2004
            break
        side *= 2
        noise = np.sqrt(2.0 * (variance[1:] + variance[:-1])).astype(np.float32)
        scale = (seen[1:] & seen[:-1]).astype(np.float32)
        limits = Limits(-noise * np.float32(snr), noise * np.float32(snr), np.zeros_like(noise), noise)
        flags = np.empty((len(scale), -(-noise.size // _TILE)), np.uint8)
        _flag(away, limits.low, limits.high, (scale, flags))
        if flags.any():
            _collect(away, limits, (scale, flags), ((0, 0, side // 2, side), book))
        for k in range(0, len(scale), 2 * CELL):
            _tally_windows(away[k : k + 2], limits, float(scale[k]), book.tally[size])
        away, seen = _halve(away, seen)
        pairs = variance[: len(variance) // 2 * 2]
        variance = 2.0 * (pairs[::2] + pairs[1::2])


@njit(cache=True, nogil=True)
def _halve(away: NDArray[np.float32], seen: NDArray[np.bool_]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    half = np.empty((away.shape[0] // 2, away.shape[1] // 2), np.float32)
    both = np.empty(len(half), np.bool_)
    for i in range(len(half)):
        both[i] = seen[2 * i] and seen[2 * i + 1]
        for j in range(half.shape[1]):
            upper = away[2 * i, 2 * j] + away[2 * i, 2 * j + 1]
            half[i, j] = upper + away[2 * i + 1, 2 * j] + away[2 * i + 1, 2 * j + 1]
    return half, both
