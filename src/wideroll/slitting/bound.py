"""A net value that no plan can exceed, wherever it sets the knives anew."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from wideroll.slitting.across import scale_of
from wideroll.slitting.along import best_sets
from wideroll.slitting.bound_stretches import Uncut, lane_bounds, uncut_of
from wideroll.slitting.desk import CutDesk
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.lanes import LaneTable, tabulate_lanes
from wideroll.slitting.model import ByMetre
from wideroll.slitting.regions import Box, Change, Web, changes_of, wished_changes
from wideroll.slitting.request import Request

__all__ = ["bound_of"]

_HAIR_M: Final = 1e-12
_LAID: Final = 1e-9
_BOUND_CHANGES: Final = 2
"""Candidates kept for the bound of a thinned search, as a multiple of those kept for the plan."""


def bound_of(desk: CutDesk) -> float:
    """The bound: the best plan when film may be cut to any length and sold at the best rate of its width.

    A lane is then worth the length of its film between two changes, first quality and second each at their best value
    per metre: a piecewise linear function of where the changes are, which is best where an end of the web lost with one
    meets a border of a region. A stretch of clean film that no change cuts is worth no more than its best finished
    lengths (``bound_stretches``). So all changes that can matter are tried. Stops and count limits are left out, which can't lower
    it; fixed knives stay, since a lane may start at one that isn't on the scale. Where the changes are too many, only the largest regions are avoided: avoiding less
    can't lower it either.
    """
    request = replace(desk.request, counts=())
    web = replace(desk.web, marks=())
    most = max(_BOUND_CHANGES * request.rules.most_cross_cuts, len(desk.changes)) if desk.others else None
    web, changes = _thinned(request, web, most)
    table = tabulate_lanes(request, web, desk.knives)
    rules = replace(request.rules, stop_minutes=0.0)
    rows = partial(_rows, table, uncut_of(desk.sold, table), rules.setup_m)
    if rules.setup_m < web.length_m and any(not isinstance(width.finish, ByMetre) for width in request.widths):
        # at an end of the web: all film beyond counts as cut
        head = Change(end_m=_HAIR_M, begin_m=max(rules.setup_m, _HAIR_M))
        changes = (*changes, head, Change(end_m=web.length_m - head.begin_m, begin_m=web.length_m - _HAIR_M))
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
        changes = changes_of(request, few)
        if most is None or len(changes) <= most or not boxes:
            wished = wished_changes(web, request.rules.setup_m)
            return few, tuple(dict.fromkeys((*wished, *changes)))
        boxes = boxes[: min(len(boxes) - 1, len(boxes) * most // len(changes))]


def _rows(
    table: LaneTable, uncut: Uncut, setup_m: float, starts_m: Floats, ends_m: Floats, firsts: Ints
) -> Iterator[Floats]:
    for start_m, first in zip(starts_m.tolist(), firsts.tolist(), strict=True):
        worths = lane_bounds(table.stowed, table.offsets, uncut, start_m, ends_m[first:], setup_m)
        if table.knives.fixed.size:
            # the best place may lie a hair inside a border, where the lane at a fixed knife has a hair of film
            worths += _LAID
            worths[:, table.banned] = 0.0
        yield worths
