"""Which knife sets follow one another along the web: the best path from the tail to the head over the changes."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np

from wideroll.slitting.across import NONE, Scale, best_lanes, best_worths
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.model import CutRules
from wideroll.slitting.regions import Change

__all__ = ["KnifeSet", "Rows", "Sharpen", "Stretch", "best_sets", "stops_within"]

Stretch = tuple[float, float]
"""Where a knife set begins and ends, in slitter metres."""

KnifeSet = tuple[Stretch, list[tuple[int, int]]]
"""Where a knife set begins and ends, and its lanes as (place, width number) from the datum edge."""

Rows = Callable[[Floats, Floats, Ints], Iterable[Floats]]
"""From where sets may begin (S,) and end (E,), both ascending, and the first end (S,) beyond each beginning, to the
worth (E − first, B) of a lane in each berth, for one beginning after the other."""

Sharpen = Callable[[int, list[tuple[int, int]]], bool]
"""Makes the worths of lanes, as (place, width number), from the beginning of that number on exact in their table; says
whether any wasn't. It may lower others, too."""

_SAME: Final = 1e-9


def stops_within(stretch: Stretch, rules: CutRules) -> int:
    """How often the wound rolls are taken off before the set ends."""
    length_m = stretch[1] - stretch[0]
    return max(math.ceil(length_m / rules.run_m - _SAME) - 1, 0) if math.isfinite(rules.run_m) else 0


def _are_exact(_start: int, _lanes: list[tuple[int, int]]) -> bool:
    return False


def best_sets(
    scale: Scale,
    changes: Sequence[Change],
    rows: Rows,
    *,
    rules: CutRules,
    length_m: float,
    sharpen: Sharpen = _are_exact,
) -> tuple[float, list[KnifeSet]]:
    """The sets worth most together, from the tail on, among all choices of changes; and what they are worth.

    The worth is that of the film less that of the slitter's time. It is NONE where no set can be laid at all. Worths
    may be too high where ``sharpen`` lowers them: the best sets are looked for again until their own are exact.
    """
    ordered = sorted(changes)
    starts = np.array([0.0, *(change.begin_m for change in ordered)])
    ends = np.array([*(change.end_m for change in ordered), length_m], dtype=np.float64)
    firsts = np.maximum(np.searchsorted(ends, starts, side="right"), np.arange(starts.size))
    stops = np.maximum(np.ceil((ends - starts[:, None]) / rules.run_m - _SAME) - 1.0, 0.0)
    costs, table = stops * (rules.stop_minutes * rules.value_per_minute), list(rows(starts, ends, firsts))
    found, stale = np.full((starts.size, ends.size), NONE), np.zeros((starts.size, ends.size), dtype=np.bool_)
    for start, worths in enumerate(table):
        found[start, firsts[start] :] = best_worths(scale, worths)
    while True:
        value, sets = _best_path(found, found - costs, firsts, rules)
        again = False
        laid = [(start, end, table[start][end - int(firsts[start])]) for start, end in sets]
        lanes = [best_lanes(scale, worth) for _, _, worth in laid]
        for (start, end, worth), own in zip(laid, lanes, strict=True):
            if sharpen(start, own):
                stale[:] = True
            if stale[start, end]:
                found[start, end], stale[start, end], again = best_worths(scale, worth[None])[0], False, True
        if not again:
            stretches = [(float(starts[start]), float(ends[end])) for start, end in sets]
            return value, list(zip(stretches, lanes, strict=True))


def _best_path(found: Floats, gains: Floats, firsts: Ints, rules: CutRules) -> tuple[float, list[tuple[int, int]]]:
    """The best sets as the numbers of their beginnings and ends, where between each (S, E) so much is found."""
    change_cost = rules.setup_minutes * rules.value_per_minute
    # for each end the worth, the start it comes from and whether that set is slit: first while nothing is, then else
    value = np.full((2, found.shape[1]), -math.inf)
    before = np.zeros((2, found.shape[1], 3), dtype=np.int64)
    for start, first in enumerate(firsts.tolist()):
        reached = value[:, start - 1].tolist() if start else [0.0, -math.inf]
        gain, can = gains[start, first:], found[start, first:] > NONE
        pays = can & (gain > 0.0)
        # what isn't worth its stops and the change isn't slit
        steps = ((0, 0, 0.0 * gain, 0, can), (1, 1, 0.0 * gain, 0, can), (1, 1, gain - change_cost, 1, pays))
        for came, goes, more, slit, may in (*steps, (0, 1, gain, 1, pays)):
            if reached[came] > -math.inf:
                total = reached[came] + more
                # on a tie the earlier start stays: the fewest changes of knives
                better = may & (total - _SAME * np.abs(total) > value[goes, first:])
                value[goes, first:][better], before[goes, first:][better] = total[better], (start, came, slit)
    state = int(value[1, -1] > max(value[0, -1], 0.0)) if value.max() > -math.inf else -1
    if state < 0 or value[state, -1] == -math.inf:
        return NONE, []
    return float(value[state, -1]), _way_back(before, state)


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
