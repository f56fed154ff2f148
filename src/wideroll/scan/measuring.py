"""Regions of pixels to the measures of marks."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan import linking
from wideroll.scan.growth import BRIGHT, CORE, LONG, WHOLE, Regions, Window

__all__ = ["cut_runs", "measure_whole"]


def measure_whole(window: Window, regions: Regions, saturation: int) -> NDArray[np.float64]:
    """Measures (marks, 17) of the regions that are all there; lines count from the window's first."""
    whole = np.flatnonzero(regions.status == WHOLE)
    measures = np.zeros((len(whole), linking.MEASURES))
    contrast, full = _look_up(window, regions, saturation)
    _measure_all((whole, regions.code, regions.starts), regions, (contrast, full), measures)
    lefts = np.where(measures[:, linking.LINE] < len(window.tail.scale), window.tail.left, window.block.left)
    ring = regions.ring[whole]
    sign = np.where(measures[:, linking.CODE] == BRIGHT, 1.0, -1.0)
    measures[:, linking.RING] = sign * ring[:, 0] / np.maximum(ring[:, 1], 1.0)
    for column in (linking.COLUMN, linking.LOW, linking.HIGH):
        measures[:, column] -= lefts
    # What lies in columns that aren't looked at only shows nothing.
    return measures[measures[:, linking.SUM_CONTRAST] > 0.0]


def cut_runs(window: Window, regions: Regions, saturation: int) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Runs of the long regions on the lines that no other block gives.

    Returns:
        Spans and peaks as ``linking.link_runs`` takes them; lines count from the window's first.
    """
    if not np.any(regions.status == LONG):
        return np.empty((0, 4), np.int32), np.empty((0, 4))
    contrast, full = _look_up(window, regions, saturation)
    held, lines = len(window.tail.scale), len(window.taken)
    end = lines - window.guard if window.next_tail else lines
    spans, peaks = [np.empty((0, 4), np.int32)], [np.empty((0, 4))]
    for k in np.flatnonzero(regions.status == LONG).tolist():
        pixels = np.arange(regions.starts[k], regions.starts[k + 1])
        line, column = regions.places[pixels, 0], regions.places[pixels, 1]
        start = max(held - window.guard, 0) if held and line.min() == 0 else 0
        pixels = pixels[(line >= start) & (line < end)]
        pixels = pixels[np.lexsort((regions.places[pixels, 1], regions.places[pixels, 0]))]
        if not pixels.size:
            continue
        line, column = regions.places[pixels, 0], regions.places[pixels, 1]
        first = np.flatnonzero(np.append(True, (np.diff(line) != 0) | (np.diff(column) != 1)))
        last = np.append(first[1:], len(pixels)) - 1
        code = np.full(len(first), regions.code[k])
        spans.append(np.column_stack([line[first], column[first], column[last] + 1, code]).astype(np.int32))
        peaks.append(
            np.column_stack(
                [
                    np.maximum.reduceat(contrast[pixels], first),
                    np.add.reduceat(full[pixels].astype(np.float64), first),
                    np.add.reduceat(contrast[pixels], first),
                    np.add.reduceat(regions.snr[pixels].astype(np.float64), first),
                ]
            )
        )
    return np.concatenate(spans), np.concatenate(peaks)


def _look_up(window: Window, regions: Regions, saturation: int) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Contrast of each pixel, and whether it is bright and saturated."""
    line, column = regions.places[:, 0], regions.places[:, 1]
    contrast, full = np.empty(len(line)), np.zeros(len(line), np.bool_)
    held = len(window.tail.scale)
    bright = np.repeat(regions.code == BRIGHT, np.diff(regions.starts))
    for ground, use, first in ((window.tail, line < held, 0), (window.block, line >= held, held)):
        at = column[use]
        weight = ground.weight[at].astype(np.float64)
        ratio = np.where(weight > 0.0, 1.0 / np.where(weight > 0.0, weight * ground.profile[at], 1.0), 0.0)
        contrast[use] = regions.snr[use] * ratio
        full[use] = bright[use] & (ground.rows[line[use] - first, at] >= saturation)
    return contrast, full


@njit(cache=True, nogil=True)
def _measure_all(
    chosen: tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]],
    regions: Regions,
    found: tuple[NDArray[np.float64], NDArray[np.bool_]],
    measures: NDArray[np.float64],
) -> None:
    whole, code, starts = chosen
    for n in range(len(whole)):
        first, end = starts[whole[n]], starts[whole[n] + 1]
        measures[n, linking.CODE] = code[whole[n]]
        middle = _sum_core(regions, found, (first, end), measures[n])
        _weigh_core(regions, (first, end), middle, measures[n])


@njit(cache=True, nogil=True)
def _sum_core(
    regions: Regions,
    found: tuple[NDArray[np.float64], NDArray[np.bool_]],
    span: tuple[int, int],
    m: NDArray[np.float64],
) -> tuple[float, float]:
    """Sums and rectangle of the core; its plain middle, in the middles of pixels."""
    contrast, full = found
    line = column = 0.0
    top, end, low, high = 1 << 30, -1, 1 << 30, -1
    for k in range(span[0], span[1]):
        if regions.part[k] == CORE:
            i, j = regions.places[k, 0], regions.places[k, 1]
            m[linking.PIXELS] += 1.0
            m[linking.SUM_SNR] += regions.snr[k]
            m[linking.SUM_CONTRAST] += contrast[k]
            m[linking.PEAK] = max(m[linking.PEAK], contrast[k])
            m[linking.FULL] += 1.0 if full[k] else 0.0
            line += i
            column += j
            top, end, low, high = min(top, i), max(end, i), min(low, j), max(high, j)
    m[linking.TOP], m[linking.END], m[linking.LOW], m[linking.HIGH] = top, end + 1, low, high + 1
    return line / m[linking.PIXELS], column / m[linking.PIXELS]


@njit(cache=True, nogil=True)
def _weigh_core(regions: Regions, span: tuple[int, int], middle: tuple[float, float], m: NDArray[np.float64]) -> None:
    """Moments, the place weighed by departure, and how skewed the departure is along the long axis."""
    line, column = middle
    weighed_i = weighed_j = total = 0.0
    for k in range(span[0], span[1]):
        if regions.part[k] == CORE:
            i, j = regions.places[k, 0] - line, regions.places[k, 1] - column
            weighed_i += regions.snr[k] * i
            weighed_j += regions.snr[k] * j
            m[linking.MOMENT_ALONG] += i * i
            m[linking.MOMENT_ACROSS] += j * j
            m[linking.MOMENT_MIXED] += i * j
    total = max(m[linking.SUM_SNR], 1e-9)
    m[linking.LINE] = min(max(line + 0.5 + weighed_i / total, m[linking.TOP]), m[linking.END])
    m[linking.COLUMN] = min(max(column + 0.5 + weighed_j / total, m[linking.LOW]), m[linking.HIGH])
    angle = 0.5 * np.arctan2(2.0 * m[linking.MOMENT_MIXED], m[linking.MOMENT_ALONG] - m[linking.MOMENT_ACROSS])
    along, across = np.cos(angle), np.sin(angle)
    mean = (weighed_i * along + weighed_j * across) / total
    second = third = 0.0
    for k in range(span[0], span[1]):
        if regions.part[k] == CORE:
            weight = max(regions.snr[k], np.float32(0.0)) / total
            away = (regions.places[k, 0] - line) * along + (regions.places[k, 1] - column) * across - mean
            second += weight * away**2
            third += weight * away**3
    m[linking.SKEW] = third / second**1.5 if second > 0.0 else 0.0
