"""The best lanes side by side for one knife set, by dynamic programming over the places across.

Lanes are laid on places counted from the datum edge. A lane may start on the knife scale, if the strip before it isn't
too narrow, or where another ends. No lane is shorter than the narrowest width, so the best values of a block of places
that is no longer than that depend only on earlier blocks: they are reckoned for the whole block at once, in wide
registers.
"""

from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.lanes import LaneTable

__all__ = ["NONE", "Scale", "best_lanes", "best_worths", "scale_of"]

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
    apart: int
    lead: int
    flush: int
    tail: int


class _Values(NamedTuple):
    """``best`` (P,) worth of lanes of which the last ends at a place, ``reached`` (P,) of those before one that starts.

    ``worth`` (B,) is that of a lane in each berth, ``at`` (W,) the berth that each width has come to.
    """

    best: Floats
    reached: Floats
    worth: Floats
    at: Ints


class _Before(NamedTuple):
    """What lies before a strip: ``empty``, nothing, and ``top``, the best lanes that end before place ``upto``.

    Lanes that end before ``since``, that of the last fixed knife, don't count.
    """

    empty: float
    top: float
    upto: int
    since: int


def scale_of(table: LaneTable) -> Scale:
    """The lane table without what lies in the lanes."""
    knives = table.knives
    return Scale(
        knives.step,
        knives.spans,
        knives.lasts,
        table.offsets,
        table.breaks,
        knives.fixed,
        knives.between,
        knives.apart,
        knives.lead,
        knives.flush,
        knives.tail,
    )


@njit(cache=True, nogil=True)
def best_worths(scale: Scale, worths: Floats) -> Floats:
    """The worth of the best lanes together, for each of several sets of knives.

    Args:
        scale: places across.
        worths: (S, B) of a lane in each berth; one that isn't above 0 isn't laid.

    Returns:
        (S,) 0 where nothing is worth laying, NONE where a knife is fixed at which no lane can start or end.
    """
    found = np.empty(len(worths))
    for number in range(len(worths)):
        found[number] = _best_worth(scale, worths[number])
    return found


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _best_worth(scale: Scale, worth: Floats) -> float:
    fixed, between = scale.fixed, scale.between
    size = max((scale.lasts + scale.spans).max(), 0) + 1
    best, reached = np.full(size, NONE), np.full(size, NONE)
    values = _Values(best, reached, worth, scale.offsets[:-1].copy())
    block, first, knife, before = scale.spans.min(), 0, 0, _Before(0.0, NONE, 0, 0)
    while first < size:
        stands = fixed[knife] if knife < fixed.size else size
        behind = first > stands
        beyond = min(first + block, size, (stands + between if behind else stands) + 1)
        for width in range(scale.spans.size):
            _lay(scale, values, width, first, beyond)
        if not behind:
            before = _reach(scale, first, beyond, values, before)
        last, first = beyond - 1, beyond
        if last == stands:
            reached[last] = max(reached[last], _before_knife(scale, last, values, before))
        if knife < fixed.size and last == stands + between:
            # lanes that end before a knife count no more, nor those from which there is no room for one at it
            before, knife = _Before(NONE, NONE, last, last), knife + 1
            reached[last] = max(reached[last], best[last])
    return _top(scale, best, before) if knife == fixed.size else NONE


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
def _reach(scale: Scale, first: int, beyond: int, values: _Values, before: _Before) -> _Before:
    """What is reached by each place of a block, on the knife scale across a strip, too."""
    best, reached, place = values.best, values.reached, first
    empty, top, upto = before.empty, before.top, before.upto
    while place < beyond:
        scale_place = -(-place // scale.step) * scale.step
        for one in range(place, min(scale_place + 1, beyond)):
            reached[one] = best[one]
        if scale_place < beyond:
            for one in range(upto, scale_place - scale.apart + 1):
                top = max(top, best[one])
            upto = max(upto, scale_place - scale.apart + 1)
            reached[scale_place] = max(reached[scale_place], top)
            if scale_place == 0 or scale_place >= scale.lead:
                reached[scale_place] = max(reached[scale_place], empty)
        place = scale_place + 1
    return _Before(empty, top, upto, before.since)


@njit(cache=True, nogil=True)
def _before_knife(scale: Scale, place: int, values: _Values, before: _Before) -> float:
    """What is reached by a fixed knife across a strip."""
    top = before.top
    for one in range(before.upto, place - scale.apart + 1):
        top = max(top, values.best[one])
    return max(top, before.empty) if place == 0 or place >= scale.lead else top


@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _top(scale: Scale, best: Floats, before: _Before) -> float:
    """The best of all lanes of which the last leaves no strip at the edge that is too narrow."""
    top, first = before.empty, before.since
    if before.upto <= scale.tail + 1:
        top, first = max(top, before.top), before.upto
    if before.since <= scale.flush < best.size:
        top = max(top, best[scale.flush])
    for one in range(first, min(scale.tail + 1, best.size)):
        top = max(top, best[one])
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
def _search(scale: Scale, worth: Floats) -> tuple[int, Ints, Ints]:  # noqa: C901  -- the plain way, in one piece
    """End of the last of the best lanes, and for each place the lane that ends there and the end of the one before it.

    The plain way, a lane at a time from each place: ``best_worth`` is the same, faster and without the lanes.
    """
    fixed, spans = scale.fixed, scale.spans
    size = max((scale.lasts + spans).max(), 0) + 1
    best, width_of, back = np.full(size, NONE), np.full(size, -1), np.zeros(size, dtype=np.int64)
    berths = scale.offsets[:-1].copy()
    empty, top, top_place, since, knife = 0.0, NONE, 0, 0, 0
    for place in range(size):
        stands = fixed[knife] if knife < fixed.size else size
        if place - scale.apart >= since and best[place - scale.apart] > top:
            top, top_place = best[place - scale.apart], place - scale.apart
        reached, came_from = best[place], place
        if place == stands or (place < stands and place % scale.step == 0):
            if top > reached:
                reached, came_from = top, top_place
            if empty > reached and (place == 0 or place >= scale.lead):
                reached, came_from = empty, 0
        elif stands < place < stands + scale.between:
            reached = NONE
        if knife < fixed.size and place == stands + scale.between:
            empty, top, since, knife = NONE, best[place] if scale.apart == 0 else NONE, place, knife + 1
            top_place = place
        for width in range(spans.size if reached > NONE else 0):
            berths[width] = _berth(scale, berths[width], place, width)
            value, end = worth[berths[width]], place + spans[width]
            if place <= scale.lasts[width] and value > 0.0 and reached + value > best[end]:
                best[end], width_of[end], back[end] = reached + value, width, came_from
    last, top = 0, empty
    for place in range(since, size if knife == fixed.size else 0):
        if (place <= scale.tail or place == scale.flush) and best[place] > top:
            last, top = place, best[place]
    return last, width_of, back


@njit(cache=True, nogil=True)
def _berth(scale: Scale, berth: int, place: int, width: int) -> int:
    """The berth of a lane, on from an earlier one."""
    while berth + 1 < scale.offsets[width + 1] and scale.breaks[berth + 1] <= place:
        berth += 1
    return berth
