"""numpy and scipy: the chain of floats, and tuned to whole numbers at full and at half resolution."""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanning.ground import BOX_SNR, GROW, PIXEL_SNR, Finds, Ground, Label, blocks, join_boxes, measure

__all__ = ["chain", "screened_full", "screened_half", "whole_numbers_at_full", "whole_numbers_at_half"]

_STRIP = 32
_FLOAT_STRIP = 64
_MARGIN = 4
_SCREEN = 5.5
Bytes = NDArray[np.uint8]
Words = NDArray[np.uint16]
Ints = NDArray[np.int64]


def chain(image: Bytes) -> Finds:
    """Departures in floats, box sums, two thresholds, labels, measures."""
    grounds, boxes = [], [np.empty((0, 4), np.int64)]
    for block, ground in blocks(image):
        grounds.append(ground)
        boxes += [np.add(found, [ground.first, 0, ground.first, 0]) for found in _chain_boxes(block, ground)]
    return measure(image, np.concatenate(boxes), grounds, _label)


def whole_numbers_at_full(image: Bytes) -> Finds:
    """Sums of 3×3 and 7×7 by adding shifted 16-bit numbers, held between bounds; a close look at what falls outside."""
    return screened_full(image, _label)


def whole_numbers_at_half(image: Bytes) -> Finds:
    """The same with sums of 2×2 and 6×6 at half the size, for each mark of 3×3 fills a 2×2; single pixels besides."""
    return screened_half(image, _label)


def screened_full(image: Bytes, label: Label) -> Finds:
    """At full size, with anybody's labels."""
    return _screened(image, _full_screen, label)


def screened_half(image: Bytes, label: Label) -> Finds:
    """At half size, with anybody's labels."""
    return _screened(image, _half_screen, label)


def _screened(image: Bytes, screen: Callable[[Bytes, Ground], Iterator[Ints]], label: Label) -> Finds:
    grounds, points = [], [np.empty((0, 2), np.int64)]
    for block, ground in blocks(image):
        grounds.append(ground)
        points += [np.add(found, [ground.first, 0]) for found in screen(block, ground)]
    line, column = np.concatenate(points).T
    return measure(image, join_boxes(line, column), grounds, label)


def _label(mask: Bytes) -> NDArray[np.int32]:
    return np.asarray(ndimage.label(mask, np.ones((3, 3)))[0])


def _chain_boxes(block: Bytes, ground: Ground) -> Iterator[Ints]:
    for start in range(0, len(block), _FLOAT_STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _FLOAT_STRIP + _MARGIN]
        snr = strip - ground.gain[first : first + len(strip), None] * ground.profile
        snr /= ground.noise
        mean3, mean7 = np.abs(ndimage.uniform_filter(snr, 3)), np.abs(ndimage.uniform_filter(snr, 7))
        seeds = (np.abs(snr) > PIXEL_SNR) | (mean3 > BOX_SNR / 3) | (mean7 > BOX_SNR / 7)
        labels, _ = ndimage.label((mean3 > GROW / 3) | seeds, np.ones((3, 3)))
        kept = np.unique(labels[seeds])
        if len(kept):
            boxes = ndimage.find_objects(labels)
            yield np.array(
                [[b[0].start + first, b[1].start, b[0].stop + first, b[1].stop] for b in (boxes[k - 1] for k in kept)]
            )


def _full_screen(block: Bytes, ground: Ground) -> Iterator[Ints]:
    bounds = {side: _bounds(ground, ground.profile, ground.noise, side) for side in (1, 3, 7)}
    for start in range(0, len(block), _STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _STRIP + _MARGIN].astype(np.uint16)
        yield np.add(_outside(strip, bounds[1]), [first, 0])
        yield np.add(_outside(_added(strip, 3), bounds[3], 1), [first + 1, 1])
        yield np.add(_outside(_added(strip, 7), bounds[7], 3), [first + 3, 3])


def _half_screen(block: Bytes, ground: Ground) -> Iterator[Ints]:
    wide = block.shape[1] // 2 * 2
    pixel = _bounds(ground, ground.profile, ground.noise, 1)
    pixel = (pixel[0].astype(np.uint8), pixel[1].astype(np.uint8))
    profile, noise = (ends[:wide].reshape(-1, 2).mean(axis=1) for ends in (ground.profile, ground.noise))
    small, faint = _bounds(ground, profile, noise, 2), _bounds(ground, profile, noise, 6)
    for start in range(0, len(block), _STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _STRIP + _MARGIN]
        yield np.add(_outside(strip, pixel), [first, 0])
        pairs = np.ascontiguousarray(strip[: len(strip) // 2 * 2, :wide]).view(np.uint16)
        half = (pairs & 255) + (pairs >> 8)
        half = half[::2] + half[1::2]
        yield np.add(_outside(half, small) * 2, [first, 0])
        yield np.add(_outside(_added(half, 3), faint, 1) * 2, [first + 2, 2])


def _added(strip: Words, side: int) -> Words:
    """Sums over squares of 3 or 7; smaller than the strip by what the square needs."""
    down = _runs(strip, side)
    return _runs(down.swapaxes(0, 1), side).swapaxes(0, 1)


def _runs(strip: Words, side: int) -> Words:
    """Sums of 3 or 7 lines, by way of pairs."""
    two = strip[:-1] + strip[1:]
    return two[:-1] + strip[2:] if side == 3 else two[:-5] + two[2:-3] + two[4:-1] + strip[6:]


def _bounds(ground: Ground, profile: NDArray[np.float32], noise: NDArray[np.float32], side: int) -> tuple[Words, Words]:
    """Least usual value of a sum over a square, and how far above it the greatest lies; the gain counts as noise."""
    spread = np.sqrt((noise / side) ** 2 + (profile * ground.gain_spread) ** 2 / side)
    reach, most = _SCREEN * spread * side**2, 255.0 * side**2
    least = np.clip(np.ceil(profile * side**2 - reach), 0, most)
    return least.astype(np.uint16), (np.clip(profile * side**2 + reach, 0, most) - least).astype(np.uint16)


def _outside(values: Words | Bytes, bounds: tuple[Words | Bytes, Words | Bytes], trim: int = 0) -> Ints:
    """Places outside the bounds; a difference below zero wraps around to a large one, so that one comparison does."""
    columns = slice(trim, len(bounds[0]) - trim)
    away = (values - bounds[0][columns]) > bounds[1][columns]
    places = _flags(away)
    return np.stack(np.divmod(places, away.shape[1]), axis=1)


def _flags(away: NDArray[np.bool_]) -> Ints:
    """Where it is true, eight flags at a look."""
    flat = away.ravel()
    end = flat.size // 8 * 8
    eights = np.flatnonzero(flat[:end].view(np.uint64))
    near = (eights[:, None] * 8 + np.arange(8)).ravel()
    return np.concatenate([near[flat[near]], end + np.flatnonzero(flat[end:])])
