"""What every pipeline knows of a web before it looks for marks, and how it measures those it has found.

The web is the profile across times the gain of the line. Both and the noise come from the raster itself, block by
block, from every sixteenth line and from stretches of each line: estimated from part of the pixels, as a practised hand
would, they cost next to nothing.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

__all__ = ["BOX_SNR", "GROW", "LINES", "PIXEL_SNR", "Ground", "blocks", "join_boxes", "measure", "no_finds"]

LINES = 2560
"""Lines of a block."""
PIXEL_SNR = 6.0
BOX_SNR = 7.0
GROW = 3.5
_EVERY = 16
_SEGMENT, _SEGMENTS = 64, 9
_GROUPS = 8
_SIDES = (32, 128, 1024)
_WINDOWS = 128
Bytes = NDArray[np.uint8]
Floats = NDArray[np.float32]
Ints = NDArray[np.int64]
Finds = NDArray[np.float64]
"""[mark, (along, across, high, wide, area, contrast, peak, snr)], centres and sides in pixels."""
Label = Callable[[Bytes], NDArray[np.int32]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """A block's background."""

    first: int
    profile: Floats
    noise: Floats
    gain: Floats
    gain_spread: float


def blocks(image: Bytes) -> Iterator[tuple[Bytes, Ground]]:
    """The raster block by block, with the background of each."""
    for start in range(0, len(image), LINES):
        yield image[start : start + LINES], _find_ground(image[start : start + LINES], start)


def _find_ground(block: Bytes, first: int) -> Ground:
    wide = block.shape[1]
    starts = np.linspace(0, wide - _SEGMENT, _SEGMENTS).astype(int).tolist()
    sums = np.stack([block[:, j : j + _SEGMENT].sum(axis=1, dtype=np.uint32) for j in starts], axis=1)
    gain = np.median(sums / np.median(sums, axis=0), axis=1).astype(np.float32)
    sample = block[::_EVERY] / gain[::_EVERY, None]
    profile = _usual_mean(sample)
    sample -= profile
    np.square(sample, out=sample)
    noise = np.sqrt(ndimage.uniform_filter1d(_usual_mean(sample), 65))
    spread = 1.4826 * float(np.median(np.abs(gain - 1.0)))
    return Ground(first=first, profile=profile, noise=noise, gain=gain, gain_spread=spread)


def _usual_mean(sample: Floats) -> Floats:
    """Mean of the lines by column, without the groups of lines in which it is least and greatest: those have a mark."""
    groups = np.stack([sample[part::_GROUPS].mean(axis=0) for part in range(_GROUPS)])
    middle = groups.sum(axis=0) - groups.max(axis=0) - groups.min(axis=0)
    return np.asarray(middle / (_GROUPS - 2), np.float32)


def join_boxes(line: Ints, column: Ints, reach: int = 6) -> Ints:
    """Pixels that stood out to boxes ``[box, (line, column, end line, end column)]``: near ones share a box."""
    room = np.unique(np.stack([line, column], axis=1) // reach, axis=0)
    if not len(room):
        return np.empty((0, 4), np.int64)
    group, count = _touching(room, 1.5)
    low, high = np.full((2, count), room.max(), np.int64), np.zeros((2, count), np.int64)
    for k in (0, 1):
        np.minimum.at(low[k], group, room[:, k])
        np.maximum.at(high[k], group, room[:, k] + 1)
    return np.asarray(np.stack([*low, *high], axis=1) * reach, np.int64)


def _touching(places: NDArray[np.generic], reach: float) -> tuple[Ints, int]:
    """The group of near places to which each belongs, and how many groups there are."""
    pairs = cKDTree(places).query_pairs(reach, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    count, group = connected_components(graph, directed=False)
    return group.astype(np.int64), int(count)


def no_finds() -> Finds:
    """Nothing found."""
    return np.empty((0, 8))


def measure(image: Bytes, boxes: Ints, grounds: list[Ground], label: Label) -> Finds:
    """Look closely around each box: marks with hysteresis, and their measures.

    Windows of one size are laid below one another and labelled at once. A mark that reaches the border of its window is
    looked at again in a larger one.
    """
    finds = [no_finds()]
    for side in _SIDES:
        fits = (boxes[:, 2:] - boxes[:, :2]).max(axis=1, initial=0) <= side - 16
        fits |= side == _SIDES[-1]
        beyond, now = boxes[~fits], boxes[fits]
        # So many windows as stay in the processor's own memory.
        for start in range(0, len(now), _WINDOWS):
            found, again = _windows(image, now[start : start + _WINDOWS], grounds, label, side)
            finds.append(found)
            beyond = np.concatenate([beyond, again])
        boxes = beyond
    joined = np.concatenate(finds)
    if not len(joined):
        return joined
    # The same mark may have been seen in two windows.
    return joined[np.unique(_touching(joined[:, :2], 1.0)[0], return_index=True)[1]]


def _windows(image: Bytes, boxes: Ints, grounds: list[Ground], label: Label, side: int) -> tuple[Finds, Ints]:
    """Finds, and the boxes around which the windows were too small."""
    side = min(side, *image.shape)
    top = np.clip((boxes[:, 0] + boxes[:, 2] - side) // 2, 0, image.shape[0] - side)
    left = np.clip((boxes[:, 1] + boxes[:, 3] - side) // 2, 0, image.shape[1] - side)
    snr = _close_up(image, top, left, side, grounds)
    box3, box7 = _boxes(snr)
    seeds = (np.abs(snr) > PIXEL_SNR) | (np.abs(box3) > BOX_SNR) | (np.abs(box7) > BOX_SNR)
    grow = (np.abs(box3) > GROW) | seeds
    grow[:, [0, -1]] = grow[:, :, [0, -1]] = False
    labels = label(grow.reshape(-1, side).view(np.uint8))
    finds, window, low, high = _tabulate(labels.ravel(), snr, seeds, side)
    finds[:, 0] += top[window]
    finds[:, 1] += left[window]
    own, corner = boxes[window], np.stack([top, left], axis=1)[window]
    near = ((low + corner <= own[:, 2:]) & (high + corner >= own[:, :2] - 1)).all(axis=1)
    cut = ((low <= 1) | (high >= side - 2)).any(axis=1) & (side < _SIDES[-1])
    return finds[near & ~cut], boxes[np.unique(window[near & cut])]


def _close_up(image: Bytes, top: Ints, left: Ints, side: int, grounds: list[Ground]) -> Floats:
    """(windows, side, side) departures from the background in standard deviations."""
    line, column = top[:, None] + np.arange(side), left[:, None] + np.arange(side)
    pixels = np.lib.stride_tricks.sliding_window_view(image, (side, side))[top, left]
    gain = np.concatenate([ground.gain for ground in grounds])[line]
    at = np.minimum((top + side // 2 - grounds[0].first) // LINES, len(grounds) - 1)
    profile = np.stack([ground.profile for ground in grounds])[at[:, None], column]
    noise = np.stack([ground.noise for ground in grounds])[at[:, None], column]
    return np.asarray((pixels / gain[:, :, None] - profile[:, None]) / noise[:, None], np.float32)


def _boxes(snr: Floats) -> tuple[Floats, Floats]:
    """Sums over 3×3 and 7×7 in units of their own noise.

    They are added as one long row, which is quickest, so those within three pixels of a window's border are mixed up
    with the next line and are taken out.
    """
    side = snr.shape[2]
    rows3, rows7 = _runs(snr.ravel(), side)
    out = []
    for k, rows in enumerate((rows3, rows7)):
        sums = np.zeros(snr.size, np.float32)
        reach = (1, 3)[k] * (side + 1)
        sums[reach : snr.size - reach] = _runs(rows, 1)[k] / (3, 7)[k]
        sums = sums.reshape(snr.shape)
        sums[:, :3], sums[:, -3:], sums[:, :, :3], sums[:, :, -3:] = 0.0, 0.0, 0.0, 0.0
        out.append(sums)
    return out[0], out[1]


def _runs(row: Floats, step: int) -> tuple[Floats, Floats]:
    """Sums of 3 and of 7 numbers that lie a step apart."""
    two = row[:-step] + row[step:]
    three = two[:-step] + row[2 * step :]
    return three, three[: -4 * step] + two[3 * step : -2 * step] + two[5 * step :]


def _tabulate(
    labels: NDArray[np.int32], snr: Floats, seeds: NDArray[np.bool_], side: int
) -> tuple[Finds, Ints, Ints, Ints]:
    """Measures of the labelled pixels that hold a seed; the window, first and last corner of each within it."""
    kept = np.unique(labels[seeds.ravel()])
    kept = kept[kept > 0]
    at = np.flatnonzero(labels)
    at = at[np.isin(labels[at], kept)]
    group, count = np.searchsorted(kept, labels[at]), len(kept)
    window, place = np.divmod(at, side * side)
    where = np.stack(np.divmod(place, side), axis=1)
    value = snr.ravel()[at].astype(np.float64)
    area, total = np.bincount(group, minlength=count), np.bincount(group, value, count)
    peak, own = np.zeros(count), np.zeros(count, np.int64)
    np.maximum.at(peak, group, np.abs(value))
    own[group] = window
    low, high = np.full((count, 2), side), np.zeros((count, 2), np.int64)
    np.minimum.at(low, group, where)
    np.maximum.at(high, group, where)
    weight = np.maximum(value * np.sign(total)[group], 0.0)
    centre = [np.bincount(group, weight * (where[:, k] + 0.5), count) for k in (0, 1)]
    centre = np.stack(centre, axis=1) / np.maximum(np.bincount(group, weight, count), 1e-9)[:, None]
    size = np.maximum(high - low - 1, 1)
    contrast = total / np.maximum(area, 1)
    return np.column_stack([centre, size, area, contrast, peak, total / np.sqrt(np.maximum(area, 1))]), own, low, high
