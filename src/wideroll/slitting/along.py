"""Which knife sets follow one another along the web: the best path from the tail to the head over the changes."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np

from wideroll.slitting.across import NONE, Scale, best_lanes, best_worth
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.model import CutRules
from wideroll.slitting.regions import Change

__all__ = ["KnifeSet", "Rows", "Stretch", "best_sets", "stops_within"]

Stretch = tuple[float, float]
"""Where a knife set begins and ends, in slitter metres."""

KnifeSet = tuple[Stretch, list[tuple[int, int]]]
"""Where a knife set begins and ends, and its lanes as (place, width number) from the datum edge."""

Rows = Callable[[Floats, Floats, Ints], Iterable[Floats]]
"""From where sets may begin (S,) and end (E,), both ascending, and the first end (S,) beyond each beginning, to the
worth (E − first, B) of a lane in each berth, for one beginning after the other."""

_SAME: Final = 1e-9


def stops_within(stretch: Stretch, rules: CutRules) -> int:
    """How often the wound rolls are taken off before the set ends."""
    length_m = stretch[1] - stretch[0]
    return max(math.ceil(length_m / rules.run_m - _SAME) - 1, 0) if math.isfinite(rules.run_m) else 0


def best_sets(
    scale: Scale, changes: Sequence[Change], rows: Rows, *, rules: CutRules, length_m: float
) -> tuple[float, list[KnifeSet]]:
    """The sets worth most together, from the tail on, among all choices of changes; and what they are worth.

    The worth is that of the film less that of the slitter's time. It is NONE where no set can be laid at all.
    """
    ordered = sorted(changes)
    starts = [0.0, *(change.begin_m for change in ordered)]
    ends = np.array([*(change.end_m for change in ordered), length_m], dtype=np.float64)
    change_cost, stop_cost = (m * rules.value_per_minute for m in (rules.setup_minutes, rules.stop_minutes))
    firsts = np.maximum(np.searchsorted(ends, starts, side="right"), np.arange(len(starts)))
    # for each end the worth, the start it comes from and whether that set is slit: first while nothing is, then else
    value = np.full((2, ends.size), -math.inf)
    before = np.zeros((2, ends.size, 3), dtype=np.int64)
    table = []
    for start, worths in enumerate(rows(np.array(starts), ends, firsts)):
        table.append(worths)
        reached = value[:, start - 1] if start else np.array([0.0, -math.inf])
        for end, worth in enumerate(worths, start=int(firsts[start])):
            found = best_worth(scale, worth)
            if found <= NONE:
                continue
            gain = found - stop_cost * stops_within((starts[start], float(ends[end])), rules)
            # what isn't worth its stops and the change isn't slit
            steps = [(0, 0, 0.0, 0), (1, 1, 0.0, 0), (1, 1, gain - change_cost, 1)]
            for came, goes, more, slit in [*steps, (0, 1, gain, 1)] if gain > 0.0 else steps[:2]:
                total = float(reached[came]) + more
                # on a tie the earlier start stays: the fewest changes of knives
                if total > -math.inf and total - _SAME * abs(total) > value[goes, end]:
                    value[goes, end], before[goes, end] = total, (start, came, slit)
    state = int(value[1, -1] > max(value[0, -1], 0.0)) if value.max() > -math.inf else -1
    if state < 0 or value[state, -1] == -math.inf:
        return NONE, []
    return float(value[state, -1]), [
        ((starts[start], float(ends[end])), best_lanes(scale, table[start][end - int(firsts[start])]))
        for start, end in _way_back(before, state)
    ]


def _way_back(before: Ints, state: int) -> list[tuple[int, int]]:
    """The sets that are slit, from the tail on, as the numbers of their beginnings and ends."""
    sets: list[tuple[int, int]] = []
    end = before.shape[1]
    while end > 0:
        start, came, slit = before[state, end - 1].tolist()
        if slit:
            sets.append((start, end - 1))
        end, state = start, came
    return sets[::-1]
