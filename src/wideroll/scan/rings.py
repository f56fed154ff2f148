"""The ring of the other polarity that a particle may show around its core."""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan import linking

__all__ = ["find_ring", "join_rings"]

_LEAST: Final = 3
_MOST: Final = 16
_CLEAR: Final = 6.0
_LEANS: Final = 1.0
_SIDE_CLEAR: Final = 2.5
_SIDES: Final = 3


@njit(cache=True, nogil=True)
def find_ring(
    patch: NDArray[np.float32], inside: NDArray[np.uint8], pixels: NDArray[np.int32], extent: int
) -> tuple[int, int]:
    """Look for pixels of the other sign around a mark, on three sides at least.

    Args:
        patch: Departures, the mark's own positive.
        inside: 1 where the mark lies; layers around it are numbered 2, 3 … here.
        pixels: The mark's pixels.
        extent: The greater side of the mark.

    Returns:
        First and last layer of the ring; 0, 0 where there is none.
    """
    most = min(max(extent, _LEAST), _MOST)
    sums, counts = np.zeros((most + 2, 4)), np.zeros((most + 2, 4))
    top, end, low, high = pixels[0, 0], pixels[0, 0], pixels[0, 1], pixels[0, 1]
    for k in range(len(pixels)):
        top, end = min(top, pixels[k, 0]), max(end, pixels[k, 0])
        low, high = min(low, pixels[k, 1]), max(high, pixels[k, 1])
    queue = np.empty((patch.size, 2), np.int32)
    for k in range(len(pixels)):
        queue[k, 0], queue[k, 1] = pixels[k, 0], pixels[k, 1]
    count, done, reached = len(pixels), 0, 2
    while done < count:
        line, column = queue[done, 0], queue[done, 1]
        done += 1
        layer = int(inside[line, column]) + 1
        if layer > reached:
            if layer > most + 1 or (reached > _LEAST and not _promises(sums, counts, reached)):
                break
            reached = layer
        for i in range(max(line - 1, 0), min(line + 2, patch.shape[0])):
            for j in range(max(column - 1, 0), min(column + 2, patch.shape[1])):
                if inside[i, j] == 0:
                    inside[i, j] = layer
                    queue[count, 0], queue[count, 1] = i, j
                    count += 1
                    # What the mark encloses is no ring around it.
                    side = 0 if i < top else (1 if i > end else (2 if j < low else (3 if j > high else -1)))
                    if side >= 0:
                        sums[layer, side] -= patch[i, j]
                        counts[layer, side] += 1.0
    return _clearest(sums, counts)


@njit(cache=True, nogil=True)
def _promises(sums: NDArray[np.float64], counts: NDArray[np.float64], reached: int) -> bool:
    """Whether the layers so far, but for the first, lean to the other side at all."""
    total = number = 0.0
    for layer in range(3, reached + 1):
        for side in range(4):
            total += sums[layer, side]
            number += counts[layer, side]
    return bool(total > _LEANS * np.sqrt(number))


@njit(cache=True, nogil=True)
def _clearest(sums: NDArray[np.float64], counts: NDArray[np.float64]) -> tuple[int, int]:
    best, first, last = _CLEAR, 0, 0
    for start in range(2, 4):
        for end in range(start, len(sums)):
            total = number = 0.0
            sides = 0
            for side in range(4):
                here = seen = 0.0
                for layer in range(start, end + 1):
                    here += sums[layer, side]
                    seen += counts[layer, side]
                total += here
                number += seen
                if seen > 0.0 and here >= _SIDE_CLEAR * np.sqrt(seen):
                    sides += 1
            if sides >= _SIDES and total > best * np.sqrt(number):
                best, first, last = total / np.sqrt(number), start, end
    return first, last


def join_rings(measures: NDArray[np.float64]) -> NDArray[np.float64]:
    """One mark of a ring and the weaker core of the other polarity inside it, which both were found.

    The core stays, with the ring's contrast; a ring must reach past the core to all sides and leave room for it.
    """
    if len(measures) < 2:  # noqa: PLR2004
        return measures.copy()
    joined = measures.copy()
    return joined[_keep_cores(joined, np.argsort(joined[:, linking.TOP], kind="stable"))]


@njit(cache=True, nogil=True)
def _keep_cores(m: NDArray[np.float64], order: NDArray[np.int64]) -> NDArray[np.bool_]:
    keep = np.ones(len(m), np.bool_)
    for a in range(len(order)):
        ring = m[order[a]]
        room = (ring[linking.END] - ring[linking.TOP]) * (ring[linking.HIGH] - ring[linking.LOW])
        b = a
        while b + 1 < len(order) and m[order[b + 1], linking.TOP] < ring[linking.END]:
            b += 1
            core = m[order[b]]
            inside = core[linking.TOP] > ring[linking.TOP] and core[linking.END] < ring[linking.END]
            inside = inside and core[linking.LOW] > ring[linking.LOW] and core[linking.HIGH] < ring[linking.HIGH]
            inside = inside and core[linking.CODE] != ring[linking.CODE]
            if inside and ring[linking.PIXELS] + core[linking.PIXELS] <= room:
                sign = 1.0 if ring[linking.CODE] > core[linking.CODE] else -1.0
                core[linking.RING] = sign * ring[linking.SUM_CONTRAST] / ring[linking.PIXELS]
                keep[order[a]] = False
                break
    return keep
