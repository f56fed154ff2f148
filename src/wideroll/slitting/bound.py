"""A net value that no plan can exceed, wherever it sets the knives anew."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.across import scale_of
from wideroll.slitting.along import best_sets
from wideroll.slitting.desk import CutDesk
from wideroll.slitting.lane import Floats, Ints, Lane
from wideroll.slitting.lane_stretches import count_to
from wideroll.slitting.lanes import LaneTable, Stowed, lane_of_berth, tabulate_lanes
from wideroll.slitting.model import ByLength, ByMetre, Finish
from wideroll.slitting.regions import Box, Change, Web, border_changes, wished_changes
from wideroll.slitting.request import Request

__all__ = ["bound_of"]

_LAID: Final = 1e-30


def bound_of(desk: CutDesk) -> float:
    """The bound: the best plan when film may be cut to any length and sold at the best rate of its width.

    A lane is then worth the length of its film between two changes, first quality and second each at their best value
    per metre: a piecewise linear function of where the changes are, which is best where an end of the web lost with one
    meets a border of a region. So all changes that can matter are tried. Stops and count limits are left out, which
    can't lower it; fixed knives and the least strip stay, since the layouts are the plan's. Where the changes are too
    many, only the largest regions are avoided: avoiding less can't lower it either.
    """
    request = replace(desk.request, counts=())
    web = replace(desk.web, marks=())
    most = max(request.rules.most_cross_cuts, len(desk.changes)) if desk.others else None
    web, changes = _thinned(request, web, most)
    table = tabulate_lanes(request, web, desk.knives)
    rates = np.array([_rates(width.finish) for width in request.widths]).reshape(-1, 2)
    rules = replace(request.rules, stop_minutes=0.0)
    rows = partial(_rows, table, rates)
    return best_sets(scale_of(table), changes, rows, rules=rules, length_m=web.length_m)[0]


def _thinned(request: Request, web: Web, most: int | None) -> tuple[Web, tuple[Change, ...]]:
    """The web with only the largest regions, so many that there are not more changes than ``most``."""
    boxes: Sequence[Box] = sorted([*web.blocked, *web.second], key=lambda box: -box.size)
    boxes = boxes if most is None else boxes[: 2 * most]
    while True:
        kept = set(boxes)
        few = replace(
            web,
            blocked=tuple(box for box in web.blocked if box in kept),
            second=tuple(box for box in web.second if box in kept),
        )
        changes = border_changes(request, few)
        if most is None or len(changes) <= most or not boxes:
            wished = wished_changes(web, request.rules.setup_m)
            return few, tuple(dict.fromkeys((*wished, *changes)))
        boxes = boxes[: min(len(boxes) - 1, len(boxes) * most // len(changes))]


def _rates(finish: Finish) -> tuple[float, float]:
    """The best value of a metre of first and of second quality."""
    if isinstance(finish, ByMetre):
        return finish.value_per_m, finish.second_per_m
    if isinstance(finish, ByLength):
        first = max(one.value / one.length_m for one in finish.lengths)
        return first, max(one.second_value / one.length_m for one in finish.lengths)
    return finish.value / finish.length_m, 0.0


def _rows(table: LaneTable, rates: Floats, starts_m: Floats, ends_m: Floats, firsts: Ints) -> Iterator[Floats]:
    # a change may lie a hair beside a border, where a lane has a hair of film: enough to stand between others or at a
    # fixed knife
    hair = _LAID * (_linear(table.stowed, table.offsets, rates, 0.0, np.array([table.length_m]))[0] > 0.0)
    for start_m, first in zip(starts_m.tolist(), firsts.tolist(), strict=True):
        worths = np.maximum(_linear(table.stowed, table.offsets, rates, start_m, ends_m[first:]), hair)
        worths[:, table.banned] = 0.0
        yield worths


@njit(cache=True, nogil=True)
def _linear(stowed: Stowed, offsets: Ints, rates: Floats, start_m: float, ends_m: Floats) -> Floats:
    out = np.empty((ends_m.size, offsets[-1]))
    for width in range(rates.shape[0]):
        first, second = rates[width]
        for berth in range(offsets[width], offsets[width + 1]):
            lane = lane_of_berth(stowed, berth)
            clean = _free(lane.blocked_from, lane.blocked_to, start_m, ends_m)
            worse = _second(lane, start_m, ends_m)
            for end in range(ends_m.size):
                out[end, berth] = first * clean[end] - (first - second) * worse[end]
    return out


@njit(cache=True, nogil=True)
def _free(from_m: Floats, to_m: Floats, start_m: float, ends_m: Floats) -> Floats:
    """(E,) length from a place to each end that none of the stretches takes."""
    free = np.empty(ends_m.size)
    at, taken = count_to(to_m, start_m), 0.0
    for end in range(ends_m.size):
        while at < to_m.size and to_m[at] <= ends_m[end]:
            taken += to_m[at] - max(from_m[at], start_m)
            at += 1
        part = max(ends_m[end] - max(from_m[at], start_m), 0.0) if at < to_m.size else 0.0
        free[end] = max(ends_m[end] - start_m - taken - part, 0.0)
    return free


@njit(cache=True, nogil=True)
def _second(lane: Lane, start_m: float, ends_m: Floats) -> Floats:
    """(E,) length of second quality that isn't blocked."""
    second = np.zeros(ends_m.size)
    for at in range(lane.second_from.size):
        low = max(lane.second_from[at], start_m)
        if low >= ends_m[-1] or lane.second_to[at] <= low:
            continue
        cut = np.empty(ends_m.size)
        for end in range(ends_m.size):
            cut[end] = min(max(ends_m[end], low), lane.second_to[at])
        free = _free(lane.blocked_from, lane.blocked_to, low, cut)
        for end in range(ends_m.size):
            second[end] += free[end]
    return second
