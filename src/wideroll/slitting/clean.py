"""How much clean web a lane finds, for every place it may have.

Moving a lane across changes what it touches only where it meets or leaves a region. Between such places, in a *berth*,
the lane touches the same regions, so lengths are reckoned once for each berth of each width.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.knives import Ints, Knives
from wideroll.slitting.regions import Region
from wideroll.slitting.request import Request

__all__ = ["Blocked", "Floats", "LaneTable", "clean_lengths", "clean_stretches", "tabulate_lanes"]

Floats = NDArray[np.float64]


class Blocked(NamedTuple):
    """The stretches that each berth (B,) can't sell: disjoint, in order, ``counts`` of them from ``starts`` on."""

    starts: Ints
    counts: Ints
    from_m: Floats
    to_m: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaneTable:
    """Berths of all widths one after the other: those of width w are ``offsets[w]`` to ``offsets[w + 1]``.

    ``breaks`` (B,) is the first place of each berth, ``value_per_m`` (B,) what a metre is worth in it.
    """

    knives: Knives
    offsets: Ints
    breaks: Ints
    value_per_m: Floats
    blocked: Blocked

    def berth_of(self, place: int, width: int) -> int:
        """The berth of a lane."""
        first, end = int(self.offsets[width]), int(self.offsets[width + 1])
        return first + int(np.searchsorted(self.breaks[first:end], place, side="right")) - 1


def tabulate_lanes(request: Request, regions: Sequence[Region], knives: Knives) -> LaneTable:
    """The berths of every width, and what each can't sell.

    A clean stretch between two regions that is shorter than the least piece can't be sold however the web is cut
    across, so it counts as blocked.
    """
    ordered = sorted(regions, key=lambda r: (r.along_from_m, r.along_to_m))
    along = np.array([(r.along_from_m, r.along_to_m) for r in ordered], dtype=np.float64).reshape(-1, 2)
    low = np.array([r.low_um for r in ordered], dtype=np.int64)
    high = np.array([r.high_um for r in ordered], dtype=np.int64)
    breaks, spans, alongs = [], [], []
    offsets = [0]
    for width_um, last in zip(knives.width_um, knives.lasts.tolist(), strict=True):
        # a lane [p, p + width) touches [low, high) when p + width > low and p < high
        first = np.maximum((low - width_um) // knives.unit_um + 1, 0)
        beyond = np.minimum(-(-high // knives.unit_um), max(last, 0) + 1)
        touching = first < beyond
        own = np.unique(np.concatenate([np.zeros(1, dtype=np.int64), first[touching], beyond[touching]]))
        own = own[own <= max(last, 0)]
        berths = np.stack([np.searchsorted(own, first[touching]), np.searchsorted(own, beyond[touching])], axis=1)
        breaks.append(own)
        spans.append(berths + offsets[-1])
        alongs.append(along[touching])
        offsets.append(offsets[-1] + own.size)
    blocked = _block(np.concatenate(spans), np.concatenate(alongs), offsets[-1], request)
    values = np.repeat([width.finish.value_per_m for width in request.widths], np.diff(offsets))
    return LaneTable(
        knives=knives,
        offsets=np.array(offsets, dtype=np.int64),
        breaks=np.concatenate(breaks),
        value_per_m=values,
        blocked=blocked,
    )


def clean_stretches(
    table: LaneTable, place: int, width: int, along_m: tuple[float, float], *, least_m: float
) -> list[tuple[float, float]]:
    """The clean stretches of one lane between two places along, at least ``least_m`` long, from the head on."""
    berth = table.berth_of(place, width)
    first = int(table.blocked.starts[berth])
    end = first + int(table.blocked.counts[berth])
    reach, stop = along_m
    clean: list[tuple[float, float]] = []
    for start, beyond in zip(
        [*table.blocked.from_m[first:end].tolist(), stop], [*table.blocked.to_m[first:end].tolist(), stop], strict=True
    ):
        if min(start, stop) - reach >= least_m:
            clean.append((reach, min(start, stop)))
        reach = max(reach, beyond)
    return clean


@njit(cache=True, nogil=True)
def clean_lengths(blocked: Blocked, along_from_m: float, ends_m: Floats, least_m: float) -> Floats:
    """Clean length that can be sold from one place along to each of several ends, in every berth.

    Args:
        blocked: of the lane table.
        along_from_m: where the run begins, in metres.
        ends_m: (E,) ends of the run, ascending.
        least_m: shorter clean stretches count nothing.

    Returns:
        (E, B) metres.
    """
    starts, counts, from_m, to_m = blocked
    lengths = np.zeros((ends_m.size, counts.size))
    for berth in range(counts.size):
        total, reach, end = 0.0, along_from_m, 0
        for at in range(starts[berth], starts[berth] + counts[berth]):
            if to_m[at] <= reach:
                continue
            while end < ends_m.size and ends_m[end] <= from_m[at]:
                gap = ends_m[end] - reach
                lengths[end, berth] = total + (gap if gap >= least_m and gap > 0.0 else 0.0)
                end += 1
            gap = from_m[at] - reach
            if gap >= least_m and gap > 0.0:
                total += gap
            reach = to_m[at]
        for last in range(end, ends_m.size):
            gap = ends_m[last] - reach
            lengths[last, berth] = total + (gap if gap >= least_m and gap > 0.0 else 0.0)
    return lengths


def _block(spans: Ints, along: Floats, berths: int, request: Request) -> Blocked:
    """Blocked stretches of each berth from regions (R, 2) with the berths (R, 2) they touch, in order along."""
    touched = np.zeros(berths + 1, dtype=np.int64)
    np.add.at(touched, spans[:, 0], 1)
    np.add.at(touched, spans[:, 1], -1)
    room = np.cumsum(touched)[:-1] + 1  # one more: a web too short for any piece is blocked as a whole
    starts = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(room)])
    ends_m = np.array([request.whole.along_from_m, request.whole.along_to_m], dtype=np.float64)
    return Blocked(starts[:-1], *_join_blocked(spans, along, starts, ends_m, request.least_m))


@njit(cache=True, nogil=True)
def _join_blocked(
    spans: Ints, along: Floats, starts: Ints, ends_m: Floats, least_m: float
) -> tuple[Ints, Floats, Floats]:
    berths = starts.size - 1
    counts = np.zeros(berths, dtype=np.int64)
    from_m = np.zeros(starts[-1])
    to_m = np.zeros(starts[-1])
    reach = np.full(berths, ends_m[0])
    for region in range(spans.shape[0]):
        for berth in range(spans[region, 0], spans[region, 1]):
            if along[region, 0] - reach[berth] >= least_m or counts[berth] == 0:
                close = along[region, 0] - reach[berth] < least_m
                from_m[starts[berth] + counts[berth]] = reach[berth] if close else along[region, 0]
                counts[berth] += 1
            reach[berth] = max(reach[berth], along[region, 1])
            to_m[starts[berth] + counts[berth] - 1] = reach[berth]
    for berth in range(berths):
        if ends_m[1] - reach[berth] < least_m:
            if counts[berth] == 0:
                from_m[starts[berth]] = ends_m[0]
                counts[berth] = 1
            to_m[starts[berth] + counts[berth] - 1] = ends_m[1]
    return counts, from_m, to_m
