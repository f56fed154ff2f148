"""Mottle: how uneven the web is, for each octave of sizes.

Four squares that meet in a corner give D = (a − b − c + d) / 2, the diagonal difference of Haar's wavelet [haar1910].
Whatever only lines or only columns have in common falls out of it: line gain, streaks, bands. Its mean square is the
variance between neighbouring squares, an Allan variance [allan1966] in two dimensions; white noise of variance v in
each square gives v.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.scan.model import MottleScale

__all__ = ["OCTAVES", "block_mottle", "find_mottle"]

OCTAVES: Final = 7
"""Squares of 1 to 64 cells a side."""
_OUTLYING: Final = 5.0
"""Cells further off than this many deviations belong to marks and are left out; differences are cut off there."""
_MEAN_TO_DEVIATION: Final = 1.2533
"""Deviation of a normal variable over the mean of its absolute value."""
_SAMPLE: Final = 7
_LEAST_FOUND: Final = 4
_NOISE_KNOWN: Final = 0.02
"""The variance of the pixel noise is known to this share of it (one deviation)."""
_CONFIDENT: Final = 1.959964
_NARROW: Final = 1.0 / 0.99998
"""What the cut-off at five deviations takes of the variance of normal differences."""


def block_mottle(cells: NDArray[np.float32], cell_noise_variance: float) -> NDArray[np.float64]:
    """Sums over a block, for each octave of sizes.

    Args:
        cells: ``[along, across]`` mean signal over background of square cells, near 1; NaN where nothing was looked at.
        cell_noise_variance: What the noise of the pixels gives a cell, as a fraction of the signal, squared.

    Returns:
        ``[octave, (differences, their squares, what of these is pixel noise)]``; zeros for an octave that doesn't fit
        twice into the block.

    Example:
        >>> noise = 1.0 + 0.01 * np.random.Generator(np.random.PCG64(1)).standard_normal((64, 64), np.float32)
        >>> count, squares, ofnoise = block_mottle(noise, 0.0001)[0]
        >>> int(count), bool(abs(squares / count - 0.0001) < 0.00001), bool(abs(ofnoise / count - 0.0001) < 1e-9)
        (1024, True, True)
    """
    sums = np.zeros((OCTAVES, 3))
    some = np.abs(cells[::_SAMPLE] - np.float32(1.0))
    if not some.size or np.isnan(some).all():
        return sums
    most = _cut_off(some[~np.isnan(some)])
    level, centre = np.ascontiguousarray(cells, np.float32), np.float32(1.0)
    for octave in range(OCTAVES):
        if min(level.shape) < 2:  # noqa: PLR2004
            break
        sizes, wide = _halve(level, centre, np.float32(most))
        if np.isnan(wide.sum()):
            _fill_gaps(level, centre, np.float32(most), wide)
            seen = sizes[~np.isnan(sizes)]
        else:
            seen = sizes.reshape(-1)
        level, centre, most = wide, np.float32(0.0), np.inf
        if seen.size >= _LEAST_FOUND:
            kept = np.minimum(seen, np.float32(_cut_off(seen)))
            squares = float(np.vdot(kept, kept)) * _NARROW
            sums[octave] = seen.size, squares, seen.size * cell_noise_variance / 4.0**octave
    return sums


def find_mottle(
    sums: Sequence[NDArray[np.float64]], cell_mm: tuple[float, float], *, least_blocks: int = 1
) -> tuple[MottleScale, ...]:
    """Join the blocks' sums to an amplitude for each octave, with its 95 % interval.

    The interval comes from the scatter between blocks (from the number of differences where there is only one), and
    from 2 % that the variance of the pixel noise may be off.

    Args:
        sums: Of each block, as ``block_mottle`` gives them.
        cell_mm: Size of a cell along and across.
        least_blocks: An octave seen in fewer blocks is left out.

    Returns:
        From small to large. An amplitude of 0 with an interval from 0: no more than noise.

    Raises:
        ArgumentError: when a size isn't above 0.
    """
    if not min(cell_mm) > 0.0:
        raise ArgumentError(where="cell_mm", rule="must be above 0", value=cell_mm, mend="Give (along, across).")
    side = float(np.sqrt(cell_mm[0] * cell_mm[1]))
    table = np.stack(sums) if len(sums) else np.zeros((0, OCTAVES, 3))
    found = []
    for octave in range(OCTAVES):
        seen = table[table[:, octave, 0] >= _LEAST_FOUND, octave]
        if len(seen) >= max(1, least_blocks):
            variance, deviation = _join(seen)
            low, high = variance - _CONFIDENT * deviation, variance + _CONFIDENT * deviation
            amplitude, least, most = (float(np.sqrt(max(value, 0.0))) for value in (variance, low, high))
            found.append(
                MottleScale(size_mm=side * 2.0**octave, amplitude=amplitude, amplitude_low=least, amplitude_high=most)
            )
    return tuple(found)


def _join(seen: NDArray[np.float64]) -> tuple[float, float]:
    """Variance beyond pixel noise, and its deviation."""
    count, squares, noise = seen.T
    total = float(count.sum())
    variance = float((squares - noise).sum()) / total
    if len(seen) > 1:
        away = squares - noise - variance * count
        scatter = float(np.sqrt(np.sum(away**2) * len(seen) / (len(seen) - 1))) / total
    else:
        scatter = float(np.sqrt(2.0 / total)) * max(float(squares.sum()), float(noise.sum())) / total
    return variance, float(np.hypot(scatter, _NOISE_KNOWN * float(noise.sum()) / total))


def _cut_off(size: NDArray[np.float32]) -> float:
    """Five deviations; found twice, so that strong marks don't widen what they are measured by."""
    most = _OUTLYING * _MEAN_TO_DEVIATION * float(size.mean())
    return _OUTLYING * _MEAN_TO_DEVIATION * float(np.minimum(size, np.float32(most)).mean())


# One plain loop over rows to a function: the compiler then uses wide registers.
@njit(cache=True, nogil=True)
def _clear_row(row: NDArray[np.float32], centre: np.float32, most: np.float32, out: NDArray[np.float32]) -> None:
    """Departures from the centre, 0 where there is a mark."""
    for j in range(row.size):
        away = row[j] - centre
        # A comparison with NaN never holds: it stays.
        out[j] = np.float32(0.0) if abs(away) > most else away


@njit(cache=True, nogil=True)
def _fold_rows(
    upper: NDArray[np.float32],
    lower: NDArray[np.float32],
    together: NDArray[np.float32],
    apart: NDArray[np.float32],
) -> None:
    for j in range(upper.size):
        together[j] = upper[j] + lower[j]
        apart[j] = upper[j] - lower[j]


@njit(cache=True, nogil=True)
def _fold_columns(
    together: NDArray[np.float32],
    apart: NDArray[np.float32],
    sizes: NDArray[np.float32],
    wide: NDArray[np.float32],
) -> None:
    for j in range(wide.size):
        sizes[j] = abs(apart[2 * j] - apart[2 * j + 1]) * np.float32(0.5)
        wide[j] = (together[2 * j] + together[2 * j + 1]) * np.float32(0.25)


@njit(cache=True, nogil=True)
def _halve(
    level: NDArray[np.float32], centre: np.float32, most: np.float32
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Sizes of the differences of four neighbours, NaN where one wasn't looked at, and the means of the four."""
    rows, columns = level.shape[0] // 2, level.shape[1] // 2
    sizes, wide = np.empty((rows, columns), np.float32), np.empty((rows, columns), np.float32)
    work = np.empty((4, level.shape[1]), np.float32)
    for i in range(rows):
        _clear_row(level[2 * i], centre, most, work[0])
        _clear_row(level[2 * i + 1], centre, most, work[1])
        _fold_rows(work[0], work[1], work[2], work[3])
        _fold_columns(work[2], work[3], sizes[i], wide[i])
    return sizes, wide


@njit(cache=True, nogil=True)
def _fill_gaps(level: NDArray[np.float32], centre: np.float32, most: np.float32, wide: NDArray[np.float32]) -> None:
    """One or two of four missing, as at a dead column, don't hide the larger square."""
    for i in range(wide.shape[0]):
        for j in range(wide.shape[1]):
            if np.isnan(wide[i, j]):
                total, count = np.float32(0.0), 0
                for k in range(4):
                    away = level[2 * i + k // 2, 2 * j + k % 2] - centre
                    if not np.isnan(away):
                        total += np.float32(0.0) if abs(away) > most else away
                        count += 1
                if count == 2 or count == 3:  # noqa: PLR1714, PLR2004
                    wide[i, j] = total / np.float32(count)
