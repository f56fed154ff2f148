"""The best lanes side by side in one run, by dynamic programming over the places across."""

from typing import NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.clean import Blocked, Floats, LaneTable, clean_lengths
from wideroll.slitting.knives import Ints

__all__ = ["Scale", "best_layout", "best_values", "scale_of", "worth_of"]


class Scale(NamedTuple):
    """What the search across needs of the knives and the lane table."""

    step: int
    spans: Ints
    lasts: Ints
    offsets: Ints
    breaks: Ints
    value_per_m: Floats


class _Paths(NamedTuple):
    """For each place: the best value of lanes of which the last ends there, that lane's width, and the end before."""

    best: Floats
    width: Ints
    back: Ints


def scale_of(table: LaneTable) -> Scale:
    """The lane table without its regions."""
    knives = table.knives
    return Scale(knives.step, knives.spans, knives.lasts, table.offsets, table.breaks, table.value_per_m)


def worth_of(table: LaneTable, along_m: tuple[float, float], *, least_m: float) -> Floats:
    """(B,) value of a lane in each berth, over one run."""
    lengths: Floats = clean_lengths(table.blocked, float(along_m[0]), np.array([along_m[1]], dtype=np.float64), least_m)
    worth: Floats = lengths[0] * table.value_per_m
    return worth


def best_layout(table: LaneTable, along_m: tuple[float, float], *, least_m: float) -> list[tuple[int, int]]:
    """The lanes worth most together over one run, as (place, width number) from the datum edge."""
    scale = scale_of(table)
    paths = _no_paths(scale)
    place = _search(scale, worth_of(table, along_m, least_m=least_m), paths)[0]
    lanes: list[tuple[int, int]] = []
    while place > 0:
        width = int(paths.width[place])
        lanes.append((int(place - scale.spans[width]), width))
        place = paths.back[place]
    return lanes[::-1]


@njit(cache=True, nogil=True)
def best_values(scale: Scale, blocked: Blocked, along_from_m: float, ends_m: Floats, least_m: float) -> Floats:
    """(E,) value of the best layout from one place along to each of several ends (E,), ascending."""
    lengths = clean_lengths(blocked, along_from_m, ends_m, least_m)
    paths = _no_paths(scale)
    values = np.zeros(ends_m.size)
    for end in range(ends_m.size):
        values[end] = _search(scale, lengths[end] * scale.value_per_m, paths)[1]
    return values


@njit(cache=True, nogil=True)
def _no_paths(scale: Scale) -> _Paths:
    size = max((scale.lasts + scale.spans).max(), 0) + 1
    return _Paths(np.empty(size), np.zeros(size, dtype=np.int64), np.zeros(size, dtype=np.int64))


@njit(cache=True, nogil=True)
def _search(scale: Scale, worth: Floats, paths: _Paths) -> tuple[int, float]:
    """The end of the last lane of the best layout and its value; ``paths`` are written.

    A lane may start on the knife scale, whatever lies before it, or where another ends. Each lane must be worth
    something: no knives are set for a lane that gives no piece.
    """
    step, spans, lasts, offsets, breaks, _ = scale
    best, width_of, back = paths
    berths = offsets[:-1].copy()
    best[:] = -1.0
    top, top_place, next_on_scale = 0.0, 0, 0
    for place in range(best.size):
        reached, came_from = best[place], place
        if reached > top:
            top, top_place = reached, place
        if place == next_on_scale:
            reached, came_from = top, top_place
            next_on_scale += step
        if reached < 0.0:
            continue
        for width in range(spans.size):
            if place > lasts[width]:
                continue
            while berths[width] + 1 < offsets[width + 1] and breaks[berths[width] + 1] <= place:
                berths[width] += 1
            value = worth[berths[width]]
            end = place + spans[width]
            if value > 0.0 and reached + value > best[end]:
                best[end] = reached + value
                width_of[end] = width
                back[end] = came_from
    return top_place, top
