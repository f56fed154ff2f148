"""The best lanes side by side for one knife set, by dynamic programming over the places across.

Lanes are laid on places counted from the datum edge. A lane may start on the knife scale, whatever lies before it, or
where another ends. No lane is shorter than the narrowest width, so the best values of a block of places that is no
longer than that depend only on earlier blocks: they are reckoned for the whole block at once, in wide registers.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.lanes import LaneTable

__all__ = ["NONE", "Scale", "best_lanes", "best_worth", "scale_of"]

NONE: Final = -1e300
"""Worth of what can't be."""


class Scale(NamedTuple):
    """What the search across needs of knives and lane table: see ``Knives`` and ``LaneTable``."""

    step: int
    spans: Ints
    lasts: Ints
    offsets: Ints
    breaks: Ints
    fixed: Ints
    between: int


def scale_of(table: LaneTable) -> Scale:
    """The lane table without what lies in the lanes."""
    knives = table.knives
    return Scale(
        knives.step, knives.spans, knives.lasts, table.offsets, table.breaks, knives.fixed, np.int64(knives.between)
    )


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def best_worth(scale: Scale, worth: Floats) -> float:
    """The worth of the best lanes together.

    Args:
        scale: places across.
        worth: (B,) of a lane in each berth; one that isn't above 0 isn't laid.

    Returns:
        0 where nothing is worth laying, NONE where a knife is fixed at which no lane can start or end.
    """
    step, spans, lasts, offsets, _, fixed, between = scale
    size = max((lasts + spans).max(), 0) + 1
    best, reached = np.full(size, NONE), np.full(size, NONE)
    at = offsets[:-1].copy()
    block, top, first, knife = spans.min(), 0.0, 0, 0
    while first < size:
        beyond = min(first + block, size)
        if knife < fixed.size:
            stands = fixed[knife]
            beyond = min(beyond, (stands if first <= stands else stands + between) + 1)
        for width in range(spans.size):
            _lay(scale, worth, at, width, first, beyond, best, reached)
        if knife < fixed.size and first > fixed[knife]:
            # between the knife and where the next lane may start nothing ends, or its lane would have no knife here
            if beyond - 1 == fixed[knife] + between:
                best[first : beyond - 1] = NONE
                top = best[beyond - 1]
                reached[beyond - 1] = top
                knife += 1
            else:
                best[first:beyond] = NONE
            first = beyond
            continue
        top = _reach(step, first, beyond, best, reached, top)
        if knife < fixed.size and beyond - 1 == fixed[knife]:
            reached[beyond - 1] = top
            if between == 0:
                top = best[beyond - 1]
                knife += 1
            else:
                top = NONE
        first = beyond
    return top if knife == fixed.size else NONE


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _lay(
    scale: Scale, worth: Floats, at: Ints, width: int, first: int, beyond: int, best: Floats, reached: Floats
) -> None:
    """Lanes of one width that end in a block of places; ``at`` is the berth that each width has come to."""
    span, end = scale.spans[width], scale.offsets[width + 1]
    place, stop = max(first - span, 0), min(beyond - span, scale.lasts[width] + 1)
    berth = at[width]
    while place < stop:
        while berth + 1 < end and scale.breaks[berth + 1] <= place:
            berth += 1
        to = min(stop, scale.breaks[berth + 1]) if berth + 1 < end else stop
        value = worth[berth]
        if value > 0.0:
            for start in range(place, to):
                best[start + span] = max(best[start + span], reached[start] + value)
        place = to
    at[width] = berth


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _reach(step: int, first: int, beyond: int, best: Floats, reached: Floats, top: float) -> float:
    """What is reached by each place of a block, on the knife scale with whatever lies before; the best so far."""
    place = first
    while place < beyond:
        scale_place = -(-place // step) * step
        to = min(scale_place + 1, beyond)
        for one in range(place, to):
            reached[one] = best[one]
            top = max(top, best[one])
        if scale_place < beyond:
            reached[scale_place] = top
        place = to
    return top


def best_lanes(scale: Scale, worth: Floats) -> list[tuple[int, int]]:
    """The lanes worth most together, as (place, width number) from the datum edge; none where nothing can be laid."""
    place, widths, backs = _search(scale, worth)
    lanes: list[tuple[int, int]] = []
    while place > 0 and widths[place] >= 0:
        width = int(widths[place])
        lanes.append((int(place - scale.spans[width]), width))
        place = int(backs[place])
    return lanes[::-1]


@njit(cache=True, nogil=True)
def _search(scale: Scale, worth: Floats) -> tuple[int, Ints, Ints]:
    """End of the last of the best lanes, and for each place the lane that ends there and the end of the one before it.

    The plain way, a lane at a time from each place: ``best_worth`` is the same, faster and without the lanes.
    """
    step, spans, lasts, offsets, breaks, fixed, between = scale
    size = max((lasts + spans).max(), 0) + 1
    best, width_of, back = np.full(size, NONE), np.full(size, -1), np.zeros(size, dtype=np.int64)
    berths = offsets[:-1].copy()
    top, top_place, knife = 0.0, 0, 0
    for place in range(size):
        if knife < fixed.size and fixed[knife] < place < fixed[knife] + between:
            best[place] = NONE
        reached, came_from = best[place], place
        if reached > top:
            top, top_place = reached, place
        if place % step == 0 or (knife < fixed.size and place == fixed[knife]):
            reached, came_from = top, top_place
        if knife < fixed.size and place == fixed[knife]:
            top, top_place = NONE, place
        if knife < fixed.size and place == fixed[knife] + between:
            top, top_place, knife = best[place], place, knife + 1
            if between > 0:
                reached, came_from = top, place
        if reached <= NONE:
            continue
        for width in range(spans.size):
            if place > lasts[width]:
                continue
            while berths[width] + 1 < offsets[width + 1] and breaks[berths[width] + 1] <= place:
                berths[width] += 1
            value = worth[berths[width]]
            end = place + spans[width]
            if value > 0.0 and reached + value > best[end]:
                best[end], width_of[end], back[end] = reached + value, width, came_from
    return (top_place if top > NONE and knife == fixed.size else 0), width_of, back
