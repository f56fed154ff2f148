"""OpenCV: straight in floats, and tuned to bytes at full and at half resolution."""

from collections.abc import Callable, Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from scanning.ground import BOX_SNR, GROW, PIXEL_SNR, Finds, Ground, blocks, join_boxes, measure

__all__ = ["bytes_at_full", "bytes_at_half", "floats"]

_STRIP = 64
_FLOAT_STRIP = 64
_MARGIN = 4
_SCREEN = 5.5
"""Screens stand this far out in their own noise; what they let through is looked at closely."""
Bytes = NDArray[np.uint8]
Points = NDArray[np.int64]
Screen = Callable[[Bytes, Ground], Iterator[Points]]


def floats(image: Bytes) -> Finds:
    """Departures in floats, box sums, two thresholds, components with their boxes."""
    return _found(image, _float_screen, np.concatenate)


def bytes_at_full(image: Bytes) -> Finds:
    """Pixels and averages of 3×3 and 7×7 in bytes, held between bounds in bytes; contours of what falls outside."""
    return _found(image, _full_screen, _join)


def bytes_at_half(image: Bytes) -> Finds:
    """The same with averages on a picture of half the size, for each mark of 3×3 fills four of its pixels."""
    return _found(image, _half_screen, _join)


def _found(image: Bytes, screen: Screen, join: Callable[[list[Points]], Points]) -> Finds:
    grounds, points = [], [np.empty((0, 4), np.int64)]
    for block, ground in blocks(image):
        grounds.append(ground)
        points += [np.add(found, [ground.first, 0, ground.first, 0]) for found in screen(block, ground)]
    return measure(image, join(points), grounds, _label)


def _join(boxes: list[Points]) -> Points:
    corners = np.concatenate([np.concatenate(boxes)[:, :2], np.concatenate(boxes)[:, 2:] - 1])
    return join_boxes(corners[:, 0], corners[:, 1])


def _label(mask: Bytes) -> NDArray[np.int32]:
    return np.asarray(cv2.connectedComponents(mask, connectivity=8)[1])


def _float_screen(block: Bytes, ground: Ground) -> Iterator[Points]:
    scale = np.broadcast_to(1.0 / ground.noise, (_FLOAT_STRIP + 2 * _MARGIN, block.shape[1])).copy()
    for start in range(0, len(block), _FLOAT_STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _FLOAT_STRIP + _MARGIN]
        web = ground.gain[first : first + len(strip), None] * ground.profile
        snr = cv2.subtract(strip, web, dst=web, dtype=cv2.CV_32F)
        cv2.multiply(snr, scale[: len(strip)], dst=snr)
        mean3, mean7 = cv2.blur(snr, (3, 3)), cv2.blur(snr, (7, 7))
        seeds = _outside(snr, PIXEL_SNR) | _outside(mean3, BOX_SNR / 3) | _outside(mean7, BOX_SNR / 7)
        grow = _outside(mean3, GROW / 3) | seeds
        labels, stats = cv2.connectedComponentsWithStats(grow, connectivity=8)[1:3]
        places = cv2.findNonZero(seeds)
        if places is not None:
            column, line = places.reshape(-1, 2).T
            kept = np.unique(labels[line, column])
            left, top, wide, high = stats[kept, :4].T.astype(np.int64)
            yield np.stack([top + first, left, top + first + high, left + wide], axis=1)


def _outside(values: NDArray[np.float32], most: float) -> Bytes:
    return np.asarray(cv2.bitwise_not(cv2.inRange(values, -most, most)))


def _full_screen(block: Bytes, ground: Ground) -> Iterator[Points]:
    height = _STRIP + 2 * _MARGIN
    bounds = {side: _bounds(ground, ground.profile, ground.noise, side, height) for side in (1, 3, 7)}
    usual, within, mean = (np.empty((height, block.shape[1]), np.uint8) for _ in range(3))
    for start in range(0, len(block), _STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _STRIP + _MARGIN]
        high = len(strip)
        cv2.inRange(strip, bounds[1][0][:high], bounds[1][1][:high], dst=usual[:high])
        for side in (3, 7):
            cv2.blur(strip, (side, side), dst=mean[:high])
            cv2.inRange(mean[:high], bounds[side][0][:high], bounds[side][1][:high], dst=within[:high])
            cv2.bitwise_and(usual[:high], within[:high], dst=usual[:high])
        yield _contours(usual[:high], first, 1)


def _half_screen(block: Bytes, ground: Ground) -> Iterator[Points]:
    height, wide = _STRIP + 2 * _MARGIN, block.shape[1] // 2 * 2
    pixel = _bounds(ground, ground.profile, ground.noise, 1, height)
    profile, noise = (ends[:wide].reshape(-1, 2).mean(axis=1) for ends in (ground.profile, ground.noise))
    small, faint = (_bounds(ground, profile, noise, side, height // 2) for side in (2, 6))
    usual = np.empty(block.shape, np.uint8)[:height]
    half, mean, within, both = (np.empty((height // 2, wide // 2), np.uint8) for _ in range(4))
    for start in range(0, len(block), _STRIP):
        first = max(start - _MARGIN, 0)
        strip = block[first : start + _STRIP + _MARGIN]
        high, low = len(strip), len(strip) // 2
        cv2.inRange(strip, pixel[0][:high], pixel[1][:high], dst=usual[:high])
        cv2.resize(strip[: 2 * low, :wide], (wide // 2, low), dst=half[:low], interpolation=cv2.INTER_AREA)
        cv2.blur(half[:low], (3, 3), dst=mean[:low])
        cv2.inRange(half[:low], small[0][:low], small[1][:low], dst=within[:low])
        cv2.inRange(mean[:low], faint[0][:low], faint[1][:low], dst=both[:low])
        cv2.bitwise_and(both[:low], within[:low], dst=both[:low])
        cv2.resize(usual[: 2 * low, :wide], (wide // 2, low), dst=within[:low], interpolation=cv2.INTER_AREA)
        cv2.min(both[:low], within[:low], dst=both[:low])
        yield _contours(both[:low], first, 2)


def _bounds(
    ground: Ground, profile: NDArray[np.float32], noise: NDArray[np.float32], side: int, height: int
) -> tuple[Bytes, Bytes]:
    """Least and greatest usual value of an average over a square, for so many lines; the gain counts as noise."""
    rounding = 1.0 / 12.0 if side > 1 else 0.0
    spread = np.sqrt((noise / side) ** 2 + (profile * ground.gain_spread) ** 2 / side + rounding)
    reach = _SCREEN * spread
    least, most = (np.clip(ends, 0, 255).astype(np.uint8) for ends in (np.ceil(profile - reach), profile + reach))
    return tuple(np.repeat(ends[None], height, axis=0) for ends in (least, most))  # type: ignore[return-value]


def _contours(usual: Bytes, first: int, scale: int) -> Points:
    """Boxes around what isn't usual, marked by less than 255."""
    contours = cv2.findContours(cv2.bitwise_not(usual), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    boxes = np.array([cv2.boundingRect(contour) for contour in contours], np.int64).reshape(-1, 4)
    left, top, wide, high = boxes.T * scale
    return np.stack([top + first, left, top + high + first, left + wide], axis=1)
