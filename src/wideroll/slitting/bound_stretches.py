"""What a lane can be worth at most between two changes of knives that may lie anywhere near two places.

Let x be a place tried for a change, and p the place of one in a plan, between two neighbouring places tried: no border
of a region lies between p and them, at the end of the web lost or at its beginning. For a set that ends at p:

- A clean stretch that ends before p lies whole in the set. Pieces don't reach over its ends and are not cut by a
  change, so it is worth at most its best finished lengths, without stops and count limits, whatever p is.
- A stretch in which p lies is cut. Its film up to p is worth at most its length times the best rate of the finished
  lengths that fit into the stretch (downgraded film: times the best second rate), which is linear in p.

Likewise where a set begins. So between the places tried the worth of given lanes is at most a function linear in p, and
the best layouts' a maximum of such functions, which is convex: it is greatest at an end. The limit there, from inside,
still counts a stretch that ends just at x as cut. Therefore in a set from a to b a stretch that touches a or b, but for
the ends of the web, counts as cut, and only those strictly between by their best lengths. As these are never more than
the stretch at its rate, counting by rate is right from either side. Pieces across several places tried, and stretches
that several sets share, need no more: every set is bounded by itself, for any two places.

Two changes may stand next to each other with no set between. Then one of them needs no border near it, and the plan is
within the bound of the other alone: that is why a stretch counts by rate from ``setup_m`` before the end of a set on. And
a change may stand at an end of the web, with no set beyond: ``bound_of`` tries these two places, too.

For spliced rolls, whose parts come from several stretches, every stretch counts by rate.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numba import njit

from wideroll.slitting.lane import BY_LENGTH, BY_METRE, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_steps import with_steps
from wideroll.slitting.lane_stretches import TOUCH_M
from wideroll.slitting.lane_values import unspliced_ends
from wideroll.slitting.lanes import LaneTable, Stowed, lane_of_berth

__all__ = ["Uncut", "lane_bounds", "uncut_of"]

_NEAR_M: Final = 1e-8
"""A stretch that ends nearer to a change than that counts as cut by it."""


class Uncut(NamedTuple):
    """The clean stretches of all berths: berth b has those from ``at[b]`` to ``at[b + 1]``.

    ``worth`` (N,) is the most that a stretch is worth as a whole, ``rate`` (N, 2) that of a metre of first and of
    second quality where it is cut.
    """

    at: Ints
    from_m: Floats
    to_m: Floats
    worth: Floats
    rate: Floats


def uncut_of(sold: Sequence[Selling], table: LaneTable) -> Uncut:
    """The clean stretches of all lanes."""
    parts: list[tuple[Floats, ...]] = []
    for one, low, high in zip(sold, table.offsets[:-1].tolist(), table.offsets[1:].tolist(), strict=True):
        # the table has no counted marks, so there is one limit, and it is kept
        endless = with_steps(one._replace(run_m=np.inf, most=np.zeros(1, dtype=np.int64)), table.length_m)
        parts.append(_stretches_of(table.stowed, endless, low, high, table.length_m))
    counts, from_m, to_m, worth, rate = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    return Uncut(np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(counts)]), from_m, to_m, worth, rate)


@njit(cache=True, nogil=True)
def _stretches_of(
    stowed: Stowed, sold: Selling, low: int, high: int, length_m: float
) -> tuple[Ints, Floats, Floats, Floats, Floats]:
    counts = np.zeros(high - low, dtype=np.int64)
    room = int(stowed.blocked_at[high] - stowed.blocked_at[low]) + high - low
    from_m, to_m, worth, rate = np.empty(room), np.empty(room), np.empty(room), np.zeros((room, 2))
    count = 0
    for berth in range(low, high):
        lane, reach = lane_of_berth(stowed, berth), 0.0
        for number in range(lane.blocked_from.size + 1):
            end = lane.blocked_from[number] if number < lane.blocked_from.size else length_m
            if end > reach + TOUCH_M:
                from_m[count], to_m[count] = reach, end
                worth[count] = _whole_worth(lane, sold, reach, end)
                _rate(sold, end - reach, rate[count])
                count += 1
                counts[berth - low] += 1
            if number < lane.blocked_to.size:
                reach = max(reach, lane.blocked_to[number])
    return counts, from_m[:count], to_m[:count], worth[:count], rate[:count]


@njit(cache=True, nogil=True)
def _whole_worth(lane: Lane, sold: Selling, from_m: float, to_m: float) -> float:
    if sold.kind != BY_LENGTH and not (sold.lengths_m.size > 0 and sold.most_splices == 0):
        return np.inf
    return float(unspliced_ends(lane, sold, from_m, np.array([to_m]))[0])


@njit(cache=True, nogil=True)
def _rate(sold: Selling, length_m: float, rate: Floats) -> None:
    """The best value of a metre of first and of second quality in film cut from so long a stretch."""
    if sold.kind == BY_METRE:
        rate[0], rate[1] = sold.per_m, sold.second_per_m
        return
    for one in range(sold.lengths_m.size):
        whole = sold.kind != BY_LENGTH and sold.most_splices > 0
        if whole or sold.lengths_m[one] <= length_m + TOUCH_M:
            rate[0] = max(rate[0], sold.values[one] / sold.lengths_m[one])
            if sold.second_values.size > 0:
                rate[1] = max(rate[1], sold.second_values[one] / sold.lengths_m[one])


@njit(cache=True, nogil=True)
def lane_bounds(stowed: Stowed, offsets: Ints, uncut: Uncut, start_m: float, ends_m: Floats, setup_m: float) -> Floats:  # noqa: PLR0917  -- compiled
    """(E, B) the most that lanes are worth between a place and each of several ends, ascending; the last is the web's.

    The web's own end counts only as the last of the ends; the web begins at 0.
    """
    berths, last, near_m = offsets[-1], ends_m.size - 1, setup_m + _NEAR_M
    out = np.zeros((ends_m.size, berths))
    at, from_all, to_all, worths, rates = uncut.at, uncut.from_m, uncut.to_m, uncut.worth, uncut.rate
    for berth in range(berths):
        lane = lane_of_berth(stowed, berth)
        total, first, beyond = 0.0, at[berth], at[berth + 1]
        while first < beyond and to_all[first] <= start_m:
            first += 1
        for end in range(ends_m.size):
            end_m = ends_m[end]
            surely_m = end_m if end == last else end_m - near_m
            while first < beyond and to_all[first] <= surely_m:
                cut = _cut_worth(lane, max(from_all[first], start_m), to_all[first], rates[first])
                whole = start_m <= 0.0 or from_all[first] > start_m + near_m
                total += min(cut, worths[first]) if whole else cut
                first += 1
            worth, stretch = total, first
            while stretch < beyond and from_all[stretch] < end_m:
                low, high = max(from_all[stretch], start_m), min(to_all[stretch], end_m)
                worth += _cut_worth(lane, low, high, rates[stretch]) if high > low else 0.0
                stretch += 1
            out[end, berth] = worth
    return out


@njit(cache=True, nogil=True)
def _cut_worth(lane: Lane, low: float, high: float, rate: Floats) -> float:
    """Clean film between two places of a stretch at its rates."""
    worth = rate[0] * (high - low)
    second = np.searchsorted(lane.second_to, low, side="right")
    while second < lane.second_from.size and lane.second_from[second] < high:
        worth -= (rate[0] - rate[1]) * (min(lane.second_to[second], high) - max(lane.second_from[second], low))
        second += 1
    return float(worth)
