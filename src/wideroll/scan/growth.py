"""Seeds to regions: the strongest first, each region whole, what hangs together once."""

from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.patches import (
    LADDER,
    Field,
    Ground,
    Patch,
    Rules,
    find_scale,
    fit_rectangle,
    flood,
    height,
    lay_patch,
    make_field,
    outline,
    sum_table,
)
from wideroll.scan.rings import find_ring

__all__ = ["BRIGHT", "CORE", "DARK", "LATER", "LONG", "WHOLE", "Regions", "Window", "grow_regions"]

DARK: Final = 1
BRIGHT: Final = 2
WHOLE, LONG, LATER = 0, 1, 2
"""A region that is all there, one too long to be held, and one that the next block will show whole."""
CORE: Final = 1
_SHIFT: Final = 2
"""Bits by which ``taken`` is shifted where a region is long or later."""
_MARGIN: Final = 10
_MOST_PIXELS: Final = 1 << 22
_REACH: Final = 2
_CLEARANCE: Final = 4
"""So much is seen around a mark, for a ring."""
_LEAST_ROOM: Final = 1 << 16
_ROOM_SHARE: Final = 4
"""Where more than this part of the lines belongs to marks, they can't be told apart."""


class Window(NamedTuple):
    """What is looked at together: the last lines of the block before, and the block."""

    tail: Ground
    block: Ground
    taken: NDArray[np.uint8]
    """Over all lines of both: where a mark lies already."""
    guard: int
    """A mark that comes so near to the last line may go on."""
    next_tail: int
    """Lines that will be held with the next block; 0 where none follows."""


class Regions(NamedTuple):
    """What hangs together, region after region; lines count from the window's first."""

    status: NDArray[np.int64]
    seed: NDArray[np.int64]
    """Number of the seed that it grew from."""
    code: NDArray[np.int64]
    """``DARK`` or ``BRIGHT``."""
    starts: NDArray[np.int64]
    """(regions + 1,) of its pixels."""
    boxes: NDArray[np.int32]
    """(regions, 4): top, end, low, high; with its ring."""
    ring: NDArray[np.float64]
    """(regions, 2): contrast summed over its ring, turned as the mark's own, and pixels of the ring."""
    places: NDArray[np.int32]
    """(pixels, 2): line and column."""
    snr: NDArray[np.float32]
    """(pixels,) departure in noise, the region's own side positive."""
    part: NDArray[np.uint8]
    """(pixels,) ``CORE`` or 0."""
    full: bool
    """There were more pixels than room: what is found is not all."""


class _Room(NamedTuple):
    table: NDArray[np.int64]
    """(regions, 4): status, seed, code, first pixel."""
    boxes: NDArray[np.int32]
    ring: NDArray[np.float64]
    places: NDArray[np.int32]
    snr: NDArray[np.float32]
    part: NDArray[np.uint8]
    counts: NDArray[np.int64]
    """Regions, pixels, and 1 where there was no more room."""


def grow_regions(window: Window, seeds: tuple[NDArray[np.int32], NDArray[np.float32]], rules: Rules) -> Regions:
    """Let regions grow from seeds, the clearest first, and mark them in ``window.taken``.

    Args:
        window: The lines.
        seeds: Boxes (seeds, 3): first line in the window, first column, side; and their signed snr. An infinite one
            goes on where a mark that was too long left off.
        rules: What a mark must show.
    """
    boxes, snr = seeds
    order = np.lexsort((boxes[:, 2], boxes[:, 1], boxes[:, 0], -np.abs(snr)))
    count, most = len(boxes), 0
    if count:
        most = max(window.taken.size // _ROOM_SHARE, min(2 * window.taken.size, _LEAST_ROOM))
    room = _Room(
        table=np.empty((count, 4), np.int64),
        boxes=np.empty((count, 4), np.int32),
        ring=np.zeros((count, 2)),
        places=np.empty((most, 2), np.int32),
        snr=np.empty(most, np.float32),
        part=np.empty(most, np.uint8),
        counts=np.zeros(3, np.int64),
    )
    if count:
        _grow_all(window, (boxes, snr, order), rules, room)
    regions, pixels, full = room.counts.tolist()
    table = room.table[:regions]
    return Regions(
        status=table[:, 0],
        seed=table[:, 1],
        code=table[:, 2],
        starts=np.append(table[:, 3], pixels),
        boxes=room.boxes[:regions],
        ring=room.ring[:regions],
        places=room.places[:pixels],
        snr=room.snr[:pixels],
        part=room.part[:pixels],
        full=bool(full),
    )


@njit(cache=True, nogil=True)
def _grow_all(
    window: Window,
    seeds: tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.int64]],
    rules: Rules,
    room: _Room,
) -> None:
    boxes, snr, order = seeds
    for k in order:
        bit = BRIGHT if snr[k] > 0.0 else DARK
        if room.counts[2] == 0 and not _is_taken(window.taken, boxes[k], bit | bit << _SHIFT):
            _grow(window, (boxes[k, 0], boxes[k, 1], boxes[k, 2], k), bit, rules, room)


@njit(cache=True, nogil=True)
def _is_taken(taken: NDArray[np.uint8], box: NDArray[np.int32], bits: int) -> bool:
    for i in range(box[0], min(box[0] + box[2], taken.shape[0])):
        for j in range(box[1], min(box[1] + box[2], taken.shape[1])):
            if taken[i, j] & bits:
                return True
    return False


@njit(cache=True, nogil=True)
def _around(window: Window, box: tuple[int, int, int, int], margin: int) -> Patch:
    lines, columns = window.taken.shape
    top, end, low, high = box
    return Patch(max(top - margin, 0), min(end + margin, lines), max(low - margin, 0), min(high + margin, columns))


@njit(cache=True, nogil=True)
def _reaches(box: Patch, found: tuple[int, int, int, int], window: Window) -> bool:
    """Whether what was found comes near a border of the patch beyond which there are more pixels."""
    lines, columns = window.taken.shape
    top, end, low, high = found[0] - _CLEARANCE, found[1] + _CLEARANCE, found[2] - _CLEARANCE, found[3] + _CLEARANCE
    more = (top <= box.top and box.top > 0) or (end >= box.end and box.end < lines)
    return more or (low <= box.low and box.low > 0) or (high >= box.high and box.high < columns)


@njit(cache=True, nogil=True)
def _extent(pixels: NDArray[np.int32], box: Patch) -> tuple[int, int, int, int]:
    """Smallest rectangle of the window around pixels of a patch."""
    top = end = pixels[0, 0]
    low = high = pixels[0, 1]
    for k in range(len(pixels)):
        top, end = min(top, pixels[k, 0]), max(end, pixels[k, 0])
        low, high = min(low, pixels[k, 1]), max(high, pixels[k, 1])
    return box.top + top, box.top + end + 1, box.low + low, box.low + high + 1


@njit(cache=True, nogil=True)
def _grow(window: Window, seed: tuple[int, int, int, int], bit: int, rules: Rules, room: _Room) -> None:
    line, column, side, number = seed
    sign = 1.0 if bit == BRIGHT else -1.0
    box = _around(window, (line, line + side, column, column + side), max(_MARGIN, side))
    patch = lay_patch(window.tail, window.block, box, sign)
    table = sum_table(patch)
    scale, i, j = find_scale(table, (line - box.top, column - box.low, side), rules)
    field = make_field(patch, table, scale, rules.excess[scale])
    i, j = _highest(field, (i, j), max(LADDER[scale] // 2, 1))
    start = box.top + i, box.low + j
    if height(field, i, j) < rules.grow_snr or window.taken[start] & (bit | bit << _SHIFT):
        return
    while True:
        pixels = np.empty((patch.size, 2), np.int32)
        inside, count = flood(field, (start[0] - box.top, start[1] - box.low), rules.grow_snr, pixels)
        found = _extent(pixels[:count], box)
        if patch.size > _MOST_PIXELS or not _reaches(box, found, window):
            break
        box = _around(window, (box.top, box.end, box.low, box.high), max(box.end - box.top, box.high - box.low) // 2)
        patch = lay_patch(window.tail, window.block, box, sign)
        table = sum_table(patch)
        field = make_field(patch, table, scale, rules.excess[scale])
    if count >= rules.least_pixels:
        outline(field.mean, inside, pixels[:count], _REACH + LADDER[scale] // 2)
        if scale > 0:
            count = fit_rectangle(table, inside, pixels, count)
            found = _extent(pixels[:count], box)
        shape = box, patch, inside, pixels[:count]
        if not _is_known(window.taken, shape, bit | bit << _SHIFT):
            _keep(window, shape, (found, bit, number), rules.grow_snr, room)


@njit(cache=True, nogil=True)
def _is_known(
    taken: NDArray[np.uint8],
    shape: tuple[Patch, NDArray[np.float32], NDArray[np.uint8], NDArray[np.int32]],
    bits: int,
) -> bool:
    """Whether most of what stands out in the core belongs to another mark."""
    (box, patch, inside, pixels), total, known = shape, 0.0, 0.0
    for k in range(len(pixels)):
        i, j = pixels[k, 0], pixels[k, 1]
        if inside[i, j] == 1:
            total += patch[i, j]
            if taken[box.top + i, box.low + j] & bits:
                known += patch[i, j]
    return bool(2.0 * known > total)


@njit(cache=True, nogil=True)
def _highest(field: Field, place: tuple[int, int], reach: int) -> tuple[int, int]:
    (line, column), (lines, columns) = place, field.mean.shape
    best_i, best_j, most = line, column, height(field, line, column)
    for i in range(max(line - reach, 0), min(line + reach + 1, lines)):
        for j in range(max(column - reach, 0), min(column + reach + 1, columns)):
            if height(field, i, j) > most:
                best_i, best_j, most = i, j, height(field, i, j)
    return best_i, best_j


@njit(cache=True, nogil=True)
def _keep(
    window: Window,
    shape: tuple[Patch, NDArray[np.float32], NDArray[np.uint8], NDArray[np.int32]],
    known: tuple[tuple[int, int, int, int], int, int],
    grow_snr: float,
    room: _Room,
) -> None:
    """Write a region down, whole, long or for later, and take its pixels and those of its ring."""
    (box, patch, inside, pixels), (found, bit, number), taken = shape, known, window.taken
    region, first, count = room.counts[0], room.counts[1], len(pixels)
    if first + count > len(room.snr):
        room.counts[2] = 1
        return
    goes_on = window.next_tail > 0 and found[1] > len(taken) - window.guard
    later = goes_on and found[0] > len(taken) - window.next_tail
    came_on = found[0] == 0 and len(window.tail.scale) > 0
    status = LATER if later else (LONG if goes_on or came_on else WHOLE)
    mark = bit if status == WHOLE else bit << _SHIFT
    for k in range(count):
        i, j = pixels[k, 0], pixels[k, 1]
        room.places[first + k, 0], room.places[first + k, 1] = box.top + i, box.low + j
        room.snr[first + k] = patch[i, j]
        # Only now: layers of the ring are counted on from the 1 inside.
        room.part[first + k] = CORE if inside[i, j] == 1 else 0
        inside[i, j] = 1
        taken[box.top + i, box.low + j] |= np.uint8(mark)
    top, end, low, high = found
    if status == WHOLE:
        other = DARK if bit == BRIGHT else BRIGHT
        core = max(end - top, high - low)
        top, end, low, high = _take_ring((box, patch, inside, pixels), (found, core), (other, grow_snr, window), room)
    boxes, table = room.boxes[region], room.table[region]
    boxes[0], boxes[1], boxes[2], boxes[3] = top, end, low, high
    table[0], table[1], table[2], table[3] = status, number, bit, first
    room.counts[0] += 1
    room.counts[1] += count


@njit(cache=True, nogil=True)
def _take_ring(
    shape: tuple[Patch, NDArray[np.float32], NDArray[np.uint8], NDArray[np.int32]],
    known: tuple[tuple[int, int, int, int], int],
    given: tuple[int, float, Window],
    room: _Room,
) -> tuple[int, int, int, int]:
    """Sum up a ring and take its pixels for the other polarity; the rectangle around it all."""
    (box, patch, inside, pixels), (other, grow_snr, window) = shape, given
    (top, end, low, high), extent = known
    first, last = find_ring(patch, inside, pixels, extent)
    if last > 0:
        ring = room.ring[room.counts[0]]
        for i in range(inside.shape[0]):
            for j in range(inside.shape[1]):
                if first <= inside[i, j] <= last:
                    ring[0] += patch[i, j] * _ratio(window, box.top + i, box.low + j)
                    ring[1] += 1.0
                if 1 < inside[i, j] <= last + 1 and -patch[i, j] >= grow_snr:
                    window.taken[box.top + i, box.low + j] |= np.uint8(other)
                    top, end = min(top, box.top + i), max(end, box.top + i + 1)
                    low, high = min(low, box.low + j), max(high, box.low + j + 1)
    return top, end, low, high


@njit(cache=True, nogil=True)
def _ratio(window: Window, line: int, column: int) -> float:
    """Noise over background: what turns departures in noise into contrast; 0 where nothing is looked at."""
    tail, block = window.tail, window.block
    held = line < len(tail.scale)
    weight = tail.weight[column] if held else block.weight[column]
    profile = tail.profile[column] if held else block.profile[column]
    return 1.0 / (weight * profile) if weight > 0.0 else 0.0
