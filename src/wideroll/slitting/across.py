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


class _Values(NamedTuple):
    """``best`` (P,) worth of lanes of which the last ends at a place, ``reached`` (P,) of those before one that starts.

    ``worth`` (B,) is that of a lane in each berth, ``at`` (W,) the berth that each width has come to.
    """

    best: Floats
    reached: Floats
    worth: Floats
    at: Ints


def scale_of(table: LaneTable) -> Scale:
    """The lane table without what lies in the lanes."""
    knives = table.knives
    return Scale(knives.step, knives.spans, knives.lasts, table.offsets, table.breaks, knives.fixed, knives.between)


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def best_worth(scale: Scale, worth: Floats) -> float:
    """The worth of the best lanes together.

    Args:
        scale: places across.
        worth: (B,) of a lane in each berth; one that isn't above 0 isn't laid.

    Returns:
        0 where nothing is worth laying, NONE where a knife is fixed at which no lane can start or end.
    """
    fixed, between = scale.fixed, scale.between
    size = max((scale.lasts + scale.spans).max(), 0) + 1
    best, reached = np.full(size, NONE), np.full(size, NONE)
    values = _Values(best, reached, worth, scale.offsets[:-1].copy())
    block, top, first, knife = scale.spans.min(), 0.0, 0, 0
    while first < size:
        stands = fixed[knife] if knife < fixed.size else size
        behind = first > stands
        beyond = min(first + block, size, (stands + between if behind else stands) + 1)
        for width in range(scale.spans.size):
            _lay(scale, values, width, first, beyond)
        if not behind:
            top = _reach(scale.step, first, beyond, values, top)
        last, first = beyond - 1, beyond
        if last == stands:
            reached[last], top = top, NONE
        if behind:
            # between a knife and where the next lane may start none ends, or it would have no knife there
            best[stands + 1 : min(beyond, stands + between)] = NONE
        if knife < fixed.size and last == stands + between:
            top, knife = best[last], knife + 1
            reached[last] = max(reached[last], top)
    return top if knife == fixed.size else NONE


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _lay(scale: Scale, values: _Values, width: int, first: int, beyond: int) -> None:
    """Lanes of one width that end in a block of places."""
    best, reached, worth, breaks = values.best, values.reached, values.worth, scale.breaks
    span, end = scale.spans[width], scale.offsets[width + 1]
    place, stop = max(first - span, 0), min(beyond - span, scale.lasts[width] + 1)
    berth = values.at[width]
    while place < stop:
        while berth + 1 < end and breaks[berth + 1] <= place:
            berth += 1
        to = min(stop, breaks[berth + 1]) if berth + 1 < end else stop
        value = worth[berth]
        if value > 0.0:
            for start in range(place, to):
                best[start + span] = max(best[start + span], reached[start] + value)
        place = to
    values.at[width] = berth


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _reach(step: int, first: int, beyond: int, values: _Values, top: float) -> float:
    """What is reached by each place of a block, on the knife scale with whatever lies before; the best so far."""
    best, reached = values.best, values.reached
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
    fixed, between, spans, offsets = scale.fixed, scale.between, scale.spans, scale.offsets
    size = max((scale.lasts + spans).max(), 0) + 1
    best, width_of, back = np.full(size, NONE), np.full(size, -1), np.zeros(size, dtype=np.int64)
    berths = offsets[:-1].copy()
    top, top_place, knife = 0.0, 0, 0
    for place in range(size):
        stands = fixed[knife] if knife < fixed.size else size
        if stands < place < stands + between:
            best[place] = NONE
        reached, came_from = best[place], place
        if reached > top:
            top, top_place = reached, place
        if place % scale.step == 0 or place == stands:
            reached, came_from = top, top_place
        if place == stands:
            top, top_place = NONE, place
        if knife < fixed.size and place == stands + between:
            top, top_place, knife = best[place], place, knife + 1
            reached, came_from = (top, place) if between > 0 else (reached, came_from)
        for width in range(spans.size if reached > NONE else 0):
            berths[width] = _berth(scale, berths[width], place, width)
            value, end = worth[berths[width]], place + spans[width]
            if place <= scale.lasts[width] and value > 0.0 and reached + value > best[end]:
                best[end], width_of[end], back[end] = reached + value, width, came_from
    return (top_place if top > NONE and knife == fixed.size else 0), width_of, back


@njit(cache=True, nogil=True)
def _berth(scale: Scale, berth: int, place: int, width: int) -> int:
    """The berth of a lane, on from an earlier one."""
    while berth + 1 < scale.offsets[width + 1] and scale.breaks[berth + 1] <= place:
        berth += 1
    return berth
