"""The loops that draw marks, streaks and unevenness on a line of signal."""

import math
from typing import Any, Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.synthetic.noise import Normal, draw_normal, mix
from wideroll.synthetic.planted import FULL_SCALE
from wideroll.synthetic.scene import CODES, SOFT_PIXELS, Here, Scene
from wideroll.synthetic.shapes import Block, Comet, Line, Ring

__all__ = ["lay_bands", "lay_marks", "lay_mottle", "lay_streaks", "sway"]

_COMET: Final = CODES[Comet]
_RING: Final = CODES[Ring]
_LINE: Final = CODES[Line]
_BLOCK: Final = CODES[Block]
_BLINDING: Final = 1e6
"""Signal where the detector saturates: noise can't bring it back."""
_STEEP: Final = 0.1


@njit(cache=True, nogil=True)
def sway(waves: NDArray[np.float64], along_m: float) -> float:
    """The sum of waves at a place along."""
    total = 0.0
    for wave in range(waves.shape[0]):
        total += waves[wave, 0] * math.sin(2.0 * math.pi * along_m / waves[wave, 1] + waves[wave, 2])
    return total


@njit(cache=True, nogil=True)
def _inside(distance: float) -> float:
    """Share of its contrast that a shape has at a place ``distance`` pixels outside its border (inside: negative)."""
    t = min(max(0.5 - 0.5 * distance / SOFT_PIXELS, 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@njit(cache=True, nogil=True)
def _strip(distance: float, half: float) -> float:
    """Share at a place ``distance`` from the middle of a strip: of one thinner than a pixel, what it covers."""
    return _inside(distance - half) - _inside(distance + half)


@njit(cache=True, nogil=True)
def lay_streaks(here: Here, signal: NDArray[np.float32], scene: Scene) -> None:
    """Multiply the signal by every streak on the line."""
    for n in range(scene.streaks.size):
        streak = scene.streaks[n]
        if not streak.first <= here.at < streak.last:
            continue
        middle = (0.0 if streak.fixed else here.edge) + streak.across - 0.5
        if streak.wander > 0.0:
            middle += streak.wander * math.sin(2.0 * math.pi * (here.along_m - streak.from_m) / streak.period_m)
        reach = streak.half + SOFT_PIXELS
        for column in range(max(0, math.ceil(middle - reach)), min(signal.size, math.floor(middle + reach) + 1)):
            signal[column] *= np.float32(1.0 + streak.contrast * _inside(abs(column - middle) - streak.half))


@njit(cache=True, nogil=True)
def lay_bands(here: Here, signal: NDArray[np.float32], scene: Scene) -> None:
    """Multiply the signal by every band on the line, over the columns whose middle lies in it."""
    for n in range(scene.bands.size):
        band = scene.bands[n]
        if not band.first <= here.at < band.last:
            continue
        turns = (here.along_m - band.from_m) / band.period_m
        factor = np.float32(1.0 + band.amplitude * math.sin(2.0 * math.pi * turns + band.phase))
        start, stop = math.ceil(here.edge + band.low - 0.5), math.ceil(here.edge + band.high - 0.5)
        part = signal[max(0, start) : max(0, stop)]
        for column in range(part.size):
            part[column] *= factor


@njit(cache=True, nogil=True)
def lay_mottle(here: Here, signal: NDArray[np.float32], scene: Scene) -> None:
    """Multiply the web's signal by every mottle."""
    start, stop = max(0, math.floor(here.edge)), min(signal.size, math.ceil(here.edge + scene.width))
    for n in range(scene.mottle.size):
        size, row, normal = scene.mottle[n].size, here.along_m / scene.mottle[n].size_m, scene.normal
        cell = math.floor((start + 0.5 - here.edge) / size)
        column, left = start, scene.mottle[n].amplitude * _node(scene.mottle[n].key, row, cell, normal)
        while column < stop:
            last = min(stop, max(column, math.ceil((cell + 1) * size + here.edge - 0.5)))
            right = scene.mottle[n].amplitude * _node(scene.mottle[n].key, row, cell + 1, normal)
            _lay_cell(signal[column:last], (column + 0.5 - here.edge) / size - cell, 1.0 / size, left, right)
            column, cell, left = last, cell + 1, right


@njit(cache=True, nogil=True, error_model="numpy")
def _lay_cell(signal: NDArray[np.float32], share: float, step: float, left: float, right: float) -> None:
    one, other, first, rise = np.float32(left), np.float32(right), np.float32(share), np.float32(step)
    for n in range(signal.size):
        t = first + np.float32(np.int32(n)) * rise
        s = t * t * (np.float32(3.0) - np.float32(2.0) * t)
        r = np.float32(1.0) - s
        signal[n] *= np.float32(1.0) + (r * one + s * other) / np.float32(math.sqrt(r * r + s * s))


@njit(cache=True, nogil=True)
def _weights(share: float) -> tuple[float, float]:
    """Weights of the nodes before and after: their squares add up to 1, so that it is as uneven at every place."""
    s = share * share * (3.0 - 2.0 * share)
    length = math.hypot(s, 1.0 - s)
    return (1.0 - s) / length, s / length


@njit(cache=True, nogil=True)
def _node(key: int, row: float, cell: int, normal: Normal) -> float:
    """What a column of nodes gives at a place between two rows of them."""
    first = math.floor(row)
    before, after = _weights(row - first)
    above, below = mix(key, (first << 32) + cell), mix(key, ((first + 1) << 32) + cell)
    return before * draw_normal(above, normal) + after * draw_normal(below, normal)


@njit(cache=True, nogil=True)
def lay_marks(here: Here, signal: NDArray[np.float32], scene: Scene, earliest: int) -> None:
    """Multiply the signal by every mark on the line, from the ``earliest`` on."""
    for n in range(earliest, scene.marks.size):
        mark = scene.marks[n]
        if mark.first > here.at:
            break
        if mark.last < here.at:
            continue
        away, middle = here.at - mark.along, here.edge + mark.across - 0.5
        if mark.code == _BLOCK:
            _lay_block(here, middle, signal, mark)
            continue
        low, high = middle + mark.low - SOFT_PIXELS, middle + mark.high + SOFT_PIXELS
        if mark.code == _LINE and abs(mark.cos) > _STEEP:
            # Of a long slanted line, only the columns near it on this line.
            centre, reach = middle + away * mark.sin / mark.cos, (mark.wide + SOFT_PIXELS) / abs(mark.cos)
            low, high = max(low, centre - reach), min(high, centre + reach)
        for column in range(max(0, math.ceil(low)), min(signal.size, math.floor(high) + 1)):
            aside = column - middle
            along, across = away * mark.cos + aside * mark.sin, aside * mark.cos - away * mark.sin
            share = _share(along, across, mark)
            if mark.code == _RING:
                share, rim = _inside(share), _inside(share - mark.ring) - _inside(share)
                signal[column] *= np.float32(1.0 + mark.ring_contrast * rim)
            if mark.saturates:
                signal[column] = _let_through(signal[column], share)
            else:
                signal[column] *= np.float32(1.0 + mark.contrast * share)


@njit(cache=True, nogil=True)
def _share(along: float, across: float, mark: Any) -> float:
    """Share of its contrast that a mark has at a place from its middle; of a ring, the distance from its core."""
    long, wide = mark.long, mark.wide
    if mark.code == _LINE:
        return _strip(math.hypot(max(abs(along) - (long - wide), 0.0), across), wide)
    if mark.code == _COMET:
        return _comet(along, across, wide, 2.0 * long - wide, mark.fade)
    radius = math.hypot(along / long, across / wide)
    slope = math.hypot(along / (long * long), across / (wide * wide))
    # Distance from an ellipse to first order; exact for a circle, and at the centre the lesser half size.
    distance = radius * (radius - 1.0) / slope if slope > 0.0 else -min(long, wide)
    return distance if mark.code == _RING else _inside(distance)


@njit(cache=True, nogil=True)
def _comet(along: float, across: float, radius: float, tip: float, fade: float) -> float:
    head = _inside(math.hypot(along, across) - radius)
    if along <= 0.0 or along >= tip:
        return head
    half = radius * (1.0 - along / tip)
    share = max(head, _strip(abs(across) * tip / math.hypot(tip, radius), half * tip / math.hypot(tip, radius)))
    return share * (1.0 - fade * max(along - radius, 0.0) / (tip - radius)) if tip > radius else head


@njit(cache=True, nogil=True)
def _let_through(signal: np.float32, share: float) -> np.float32:
    """Signal of a hole: blinding where it covers half a pixel or more, rising to full scale before that."""
    if share >= 0.5:  # noqa: PLR2004  -- half
        return np.float32(_BLINDING)
    return np.float32(max(signal, signal + 2.0 * share * (FULL_SCALE - signal)))


@njit(cache=True, nogil=True)
def _lay_block(here: Here, middle: float, signal: NDArray[np.float32], mark: Any) -> None:
    start, stop = mark.along + 0.5 - mark.long, mark.along + 0.5 + mark.long
    lines = max(0.0, min(here.end, stop) - max(here.begin, start)) / (here.end - here.begin)
    left, right = middle + 0.5 - mark.wide, middle + 0.5 + mark.wide
    for column in range(max(0, math.floor(left)), min(signal.size, math.ceil(right))):
        share = lines * max(0.0, min(column + 1.0, right) - max(float(column), left))
        if mark.saturates:
            signal[column] = _let_through(signal[column], share)
        else:
            signal[column] *= np.float32(1.0 + mark.contrast * share)
