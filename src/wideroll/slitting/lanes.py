"""What each lane meets, for every place it may have.

Moving a lane across changes what it meets only where it touches or leaves a region or a mark. Between such places, in a
*berth*, it meets the same, so a lane is reckoned with once for each berth of each width.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.knives import Knives
from wideroll.slitting.lane import Floats, Ints, Lane
from wideroll.slitting.model import ByLength, ByMetre, Finish
from wideroll.slitting.regions import Box, Web
from wideroll.slitting.request import Request

__all__ = ["LaneTable", "Stowed", "lane_of_berth", "tabulate_lanes"]


class Stowed(NamedTuple):
    """The lanes of all berths (B,) one after the other: berth b has those from ``x_at[b]`` to ``x_at[b + 1]``.

    ``counted_from`` (M + B, R) has one place more for each berth than it has marks.
    """

    blocked_at: Ints
    blocked_from: Floats
    blocked_to: Floats
    second_at: Ints
    second_from: Floats
    second_to: Floats
    mark_at: Ints
    mark_from: Floats
    mark_to: Floats
    counted_from: Ints
    counted_to: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaneTable:
    """Berths of all widths one after the other: those of width w are ``offsets[w]`` to ``offsets[w + 1]``.

    ``breaks`` (B,) is the first place of each berth; in a ``banned`` one a lane would lie across a fixed knife.
    """

    knives: Knives
    length_m: float
    offsets: Ints
    breaks: Ints
    banned: NDArray[np.bool_]
    stowed: Stowed

    def berth_of(self, place: int, width: int) -> int:
        """The berth of a lane."""
        first, end = int(self.offsets[width]), int(self.offsets[width + 1])
        return first + int(np.searchsorted(self.breaks[first:end], place, side="right")) - 1


class _Touched(NamedTuple):
    """Boxes (n,) along, and the first and the end (n, 2) of the places, then of the berths, where a lane meets them."""

    from_m: Floats
    to_m: Floats
    berths: Ints


def tabulate_lanes(request: Request, web: Web, knives: Knives, *, together: int = 1) -> LaneTable:
    """The berths of every width, and what a lane meets in each.

    So many neighbouring berths ``together`` count as one that meets only what lies in all of them.

    A clean stretch that is too short for anything the width is sold as counts as blocked, and so does downgraded film
    where the width isn't sold as second quality.
    """
    marks = tuple(box for _, box in web.marks)
    breaks, offsets = [], [0]
    met: list[list[_Touched]] = [[], [], []]
    for width, width_um, last in zip(request.widths, knives.width_um, knives.lasts.tolist(), strict=True):
        seconds = _sells_second(width.finish)
        groups = (web.blocked, web.second, marks) if seconds else ((*web.blocked, *web.second), (), marks)
        touched = [_touch(boxes, width_um, last, knives) for boxes in groups]
        knife = (knives.fixed - width_um // knives.unit_um, knives.fixed - width_um // knives.unit_um + 1, knives.fixed)
        own = np.unique(np.concatenate([np.zeros(1, dtype=np.int64), *(one.berths.ravel() for one in touched), *knife]))
        own = own[(own >= 0) & (own <= max(last, 0))]
        for group, one in zip(met, touched, strict=True):
            inside = _in_all(np.searchsorted(own, one.berths), own.size, together)
            group.append(one._replace(berths=inside + offsets[-1]))
        breaks.append(own[::together])
        offsets.append(offsets[-1] + breaks[-1].size)
    least = np.repeat([request.useful_m(width) for width in request.widths], np.diff(offsets))
    blocked, second, counted = (_one_after_other(group) for group in met)
    limits = np.tile(np.array([limit for limit, _ in web.marks], dtype=np.int64), len(knives.width_um))
    return LaneTable(
        knives=knives,
        length_m=web.length_m,
        offsets=np.array(offsets, dtype=np.int64),
        breaks=np.concatenate(breaks),
        banned=_banned(knives, breaks),
        stowed=_stowed(
            _stow(_with_cuts(blocked, web, offsets[-1]), least, web.length_m),
            _stow(second, np.zeros(offsets[-1]), np.inf),
            _stow_marks(counted, limits, offsets[-1], max(len(request.counts), 1)),
        ),
    )


def _in_all(berths: Ints, count: int, together: int) -> Ints:
    """The first and the end (n, 2) of the groups of berths that lie between a first berth and an end whole."""
    first, end = -(-berths[:, 0] // together), np.where(berths[:, 1] < count, berths[:, 1], count + together - 1)
    return np.stack([first, np.maximum(end // together, first)], axis=1)


def _stowed(
    blocked: tuple[Ints, Floats, Floats],
    second: tuple[Ints, Floats, Floats],
    marks: tuple[Ints, Floats, Floats, Ints, Ints],
) -> Stowed:
    return Stowed(
        blocked[0],
        blocked[1],
        blocked[2],
        second[0],
        second[1],
        second[2],
        marks[0],
        marks[1],
        marks[2],
        marks[3],
        marks[4],
    )


def _sells_second(finish: Finish) -> bool:
    if isinstance(finish, ByMetre):
        return finish.second_per_m > 0.0
    return isinstance(finish, ByLength) and any(one.second_value > 0.0 for one in finish.lengths)


@njit(cache=True, nogil=True)
def lane_of_berth(stowed: Stowed, berth: int) -> Lane:
    """What a lane meets in a berth."""
    blocked, beyond = stowed.blocked_at[berth], stowed.blocked_at[berth + 1]
    second, third = stowed.second_at[berth], stowed.second_at[berth + 1]
    mark, last = stowed.mark_at[berth], stowed.mark_at[berth + 1]
    return Lane(
        stowed.blocked_from[blocked:beyond],
        stowed.blocked_to[blocked:beyond],
        stowed.second_from[second:third],
        stowed.second_to[second:third],
        stowed.mark_from[mark:last],
        stowed.mark_to[mark:last],
        stowed.counted_from[mark + berth : last + berth + 1],
        stowed.counted_to[mark + berth : last + berth + 1],
    )


def _touch(boxes: Sequence[Box], width_um: int, last: int, knives: Knives) -> _Touched:
    """The boxes with the first place of a lane that meets them, and the first beyond where it no longer does."""
    low = np.array([box.low_um for box in boxes], dtype=np.int64)
    high = np.array([box.high_um for box in boxes], dtype=np.int64)
    # a lane [p, p + width) touches [low, high) when p + width > low and p < high
    first = np.maximum((low - width_um) // knives.unit_um + 1, 0)
    beyond = np.minimum(-(-high // knives.unit_um), max(last, 0) + 1)
    return _Touched(
        np.array([box.from_m for box in boxes], dtype=np.float64),
        np.array([box.to_m for box in boxes], dtype=np.float64),
        np.stack([first, np.maximum(first, beyond)], axis=1),
    )


def _one_after_other(group: Sequence[_Touched]) -> _Touched:
    from_m, to_m, berths = (np.concatenate(parts) for parts in zip(*group, strict=True))
    return _Touched(from_m, to_m, berths)


def _with_cuts(blocked: _Touched, web: Web, berths: int) -> _Touched:
    """With the cross-cuts that are wished for: blocked stretches of no length in every berth."""
    cuts = np.array(web.cuts_m, dtype=np.float64)
    all_berths = np.tile(np.array([[0, berths]], dtype=np.int64), (cuts.size, 1))
    return _Touched(
        np.concatenate([blocked.from_m, cuts]),
        np.concatenate([blocked.to_m, cuts]),
        np.concatenate([blocked.berths, all_berths]),
    )


def _banned(knives: Knives, breaks: Sequence[Ints]) -> NDArray[np.bool_]:
    banned = [np.zeros(own.size, dtype=np.bool_) for own in breaks]
    for number, own in enumerate(breaks):
        for place in knives.fixed.tolist():
            across = own * knives.unit_um + knives.width_um[number] > place * knives.unit_um
            banned[number] |= (own < place) & across
    return np.concatenate(banned)


def _starts(berths: Ints, count: int, extra: int) -> Ints:
    """(count + 1,) where each berth's own begin when each has room for all boxes that meet it and ``extra`` more."""
    room = np.zeros(count + 1, dtype=np.int64)
    np.add.at(room, berths[:, 0], 1)
    np.add.at(room, berths[:, 1], -1)
    return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(np.cumsum(room)[:-1] + extra)])


def _ordered(met: _Touched, order: Ints) -> _Touched:
    return _Touched(met.from_m[order], met.to_m[order], met.berths[order])


def _stow(met: _Touched, least_m: Floats, length_m: float) -> tuple[Ints, Floats, Floats]:
    """Disjoint stretches of each berth, those nearer than the least joined; (B + 1,) starts and (n,) from and to."""
    order = np.lexsort((met.to_m, met.from_m))
    starts = _starts(met.berths, least_m.size, 1)
    counts, from_m, to_m = _join(_ordered(met, order), starts, least_m, length_m)
    keep = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(counts)])
    index = np.repeat(starts[:-1] - keep[:-1], counts) + np.arange(keep[-1])
    return keep, from_m[index], to_m[index]


@njit(cache=True, nogil=True)
def _join(met: _Touched, starts: Ints, least_m: Floats, length_m: float) -> tuple[Ints, Floats, Floats]:
    from_m, to_m, berths = met
    counts = np.zeros(starts.size - 1, dtype=np.int64)
    low = np.zeros(starts[-1])
    high = np.zeros(starts[-1])
    reach = np.zeros(starts.size - 1)
    for box in range(from_m.size):
        for berth in range(berths[box, 0], berths[box, 1]):
            if counts[berth] == 0 or from_m[box] - reach[berth] >= max(least_m[berth], 1e-12):
                near = counts[berth] == 0 and from_m[box] < least_m[berth]
                low[starts[berth] + counts[berth]] = 0.0 if near else from_m[box]
                counts[berth] += 1
            reach[berth] = max(reach[berth], to_m[box])
            high[starts[berth] + counts[berth] - 1] = reach[berth]
    for berth in range(counts.size):
        if length_m < np.inf and length_m - reach[berth] < least_m[berth]:
            if counts[berth] == 0:
                counts[berth] = 1
            high[starts[berth] + counts[berth] - 1] = length_m
    return counts, low, high


def _stow_marks(met: _Touched, rules: Ints, berths: int, limits: int) -> tuple[Ints, Floats, Floats, Ints, Ints]:
    """(B + 1,) starts, the (M,) from and to, each sorted, and (M + B, R) how many so far count for each limit."""
    starts = _starts(met.berths, berths, 0)
    sorted_by = []
    for places in (met.from_m, met.to_m):
        order = np.argsort(places, kind="stable")
        sorted_by.append(_count(met.berths[order], places[order], rules[order], starts, limits))
    (from_m, counted_from), (to_m, counted_to) = sorted_by
    return starts, from_m, to_m, counted_from, counted_to


@njit(cache=True, nogil=True)
def _count(berths: Ints, places: Floats, rules: Ints, starts: Ints, limits: int) -> tuple[Floats, Ints]:
    sorted_m = np.zeros(starts[-1])
    counted = np.zeros((starts[-1] + starts.size - 1, limits), dtype=np.int64)
    so_far = np.zeros(starts.size - 1, dtype=np.int64)
    for mark in range(places.size):
        for berth in range(berths[mark, 0], berths[mark, 1]):
            at = starts[berth] + so_far[berth]
            sorted_m[at] = places[mark]
            for limit in range(limits):
                counted[at + berth + 1, limit] = counted[at + berth, limit]
            counted[at + berth + 1, rules[mark]] += 1
            so_far[berth] += 1
    return sorted_m, counted
