"""The cut that an operator would set by eye: the baseline that planning is measured against."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit

from wideroll.roll import Extent
from wideroll.slitting.across import Scale
from wideroll.slitting.along import Stretch, stops_within
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import CutDesk, KnifeSet, prepare_cut, rows_of
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.model import Avoid, CountLimit, CutPlan, CutRules, SlitWidth
from wideroll.slitting.plan import finish_plan
from wideroll.slitting.regions import Change
from wideroll.slitting.request import Request

__all__ = ["greedy_cut"]

_USUAL: Final = CutRules()
_CHANGES: Final = (0, 1, 2, 3, 4, 6, 8, 12)
"""With how many of the most promising changes of knives the operator begins."""
_PAYS: Final = 1e-9


def greedy_cut(
    whole: Extent,
    *,
    avoid: Sequence[Avoid],
    widths: Sequence[SlitWidth],
    rules: CutRules = _USUAL,
    counts: Sequence[CountLimit] = (),
) -> CutPlan:
    """The plan of an operator who lays lane beside lane and takes what fits, under the same rules as ``plan_cut``.

    Each next lane is the one worth most for its width at that place, or always a favourite width where it fits; what is
    worth nothing is stepped over. The operator gets every fair chance: the best of all first places up to the widest
    lane, from both edges, with each favourite and without; with no, one or several changes of knives at the places that
    ``plan_cut`` finds most promising, of which another one of all that ``plan_cut`` tries is added or one taken away as
    long as that pays. Web that isn't worth its stops and its change of knives isn't slit. Each lane is cut into pieces
    as well as ``plan_cut`` would cut it.

    Returns:
        The plan, with the bound of ``plan_cut``.

    Raises:
        ArgumentError: as ``plan_cut``.

    Example:
        >>> from wideroll.slitting import ByMetre
        >>> film = ByMetre(value_per_m=1.0)
        >>> whole = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=122.0)
        >>> streak = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=50.0, across_to_mm=52.0)
        >>> width = SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=film)
        >>> greedy_cut(whole, avoid=[Avoid(extent=streak, reason="streak")], widths=[width]).value
        200.0
    """
    request = Request(whole=whole, avoid=tuple(avoid), widths=tuple(widths), rules=rules, counts=tuple(counts))
    desk = prepare_cut(request)
    operator = _Operator(desk=desk, worths=_worths_between(desk), laid={})
    tried = sorted({min(count, len(desk.changes)) for count in _CHANGES})
    _, changes = operator.improved(max(operator.net(desk.changes[:count]) for count in tried), desk.changes)
    return finish_plan(desk, operator.slit(changes), bound=bound_of(desk))


def _worths_between(desk: CutDesk) -> dict[Stretch, Floats]:
    """(B,) what a lane is worth in each berth, from each change to each later one."""
    starts = [0.0, *sorted({change.begin_m for change in desk.changes})]
    ends = sorted({*(change.end_m for change in desk.changes), desk.web.length_m})
    firsts = np.searchsorted(ends, starts, side="right")
    rows = rows_of(desk, np.array(starts), np.array(ends), firsts)
    return {
        (start, end): row
        for start, first, some in zip(starts, firsts.tolist(), rows, strict=True)
        for end, row in zip(ends[first:], some, strict=True)
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Operator:
    """``worths`` are those of the berths between any two changes.

    ``laid`` keeps what was found for a stretch: value less that of its stops, and the lanes.
    """

    desk: CutDesk
    worths: dict[Stretch, Floats]
    laid: dict[Stretch, tuple[float, list[tuple[int, int]]]]

    def lay(self, stretch: Stretch) -> tuple[float, list[tuple[int, int]]]:
        """The best layout by eye between two changes."""
        if stretch not in self.laid:
            desk, rules = self.desk, self.desk.request.rules
            value, best = _best_layout(desk.scale, self.worths[stretch])
            lanes = [(int(place), int(width)) for place, width in best]
            minutes = rules.stop_minutes * stops_within(stretch, rules)
            self.laid[stretch] = (value - minutes * rules.value_per_minute if lanes else 0.0, lanes)
        return self.laid[stretch]

    def stretches(self, changes: Sequence[Change]) -> list[Stretch]:
        """What lies between changes; one too near to another is left out."""
        from_m, found = 0.0, list[Stretch]()
        for change in sorted(changes):
            if change.end_m > from_m:
                found.append((from_m, change.end_m))
                from_m = change.begin_m
        return [*found, (from_m, self.desk.web.length_m)] if from_m < self.desk.web.length_m else found

    def slit(self, changes: Sequence[Change]) -> list[KnifeSet]:
        """The knife sets that are worth their stops and their change of knives; at least the best one."""
        rules = self.desk.request.rules
        change_costs = rules.setup_minutes * rules.value_per_minute
        sets = [(stretch, *self.lay(stretch)) for stretch in self.stretches(changes)]
        worthy = [one for one in sets if one[1] > change_costs] or [max(sets, key=lambda one: one[1])]
        return [(stretch, lanes) for stretch, value, lanes in worthy if value > 0.0 and lanes]

    def net(self, changes: Sequence[Change]) -> tuple[float, tuple[Change, ...]]:
        """Net value with the knives set anew at these changes; and the changes."""
        rules, sets = self.desk.request.rules, self.slit(changes)
        cost = rules.setup_minutes * rules.value_per_minute * max(len(sets) - 1, 0)
        return sum(self.lay(stretch)[0] for stretch, _ in sets) - cost, tuple(sorted(changes))

    def improved(
        self, begun: tuple[float, tuple[Change, ...]], candidates: Sequence[Change]
    ) -> tuple[float, tuple[Change, ...]]:
        """One change at a time added or taken away, each time the one that pays most."""
        while True:
            held = set(begun[1])
            found = max((self.net(tuple(held ^ {one})) for one in candidates), default=begun)
            if found[0] <= begun[0] + _PAYS * abs(begun[0]):
                return begun
            begun = found


@njit(cache=True, nogil=True)
def _worth_at(scale: Scale, worth: Floats, place: int, width: int) -> float:
    first, end = scale.offsets[width], scale.offsets[width + 1]
    return float(worth[first + np.searchsorted(scale.breaks[first:end], place, side="right") - 1])


@njit(cache=True, nogil=True)
def _value(scale: Scale, worth: Floats, lanes: Ints) -> float:
    total = 0.0
    for lane in range(lanes.shape[0]):
        total += _worth_at(scale, worth, lanes[lane, 0], lanes[lane, 1])
    return total


@njit(cache=True, nogil=True)
def _from_datum(scale: Scale, worth: Floats, start: int, favourite: int) -> Ints:
    """Lanes (n, 2) as (place, width), laid from the first usable place."""
    lanes = np.empty((scale.lasts.max() // scale.spans.min() + 2, 2), dtype=np.int64)
    count, end, place = 0, 0, start if start == 0 else max(start, -(-scale.lead // scale.step) * scale.step)
    while place <= scale.lasts.max():
        chosen, best = -1, 0.0
        for width in range(scale.spans.size):
            if place <= scale.lasts[width]:
                rate = _worth_at(scale, worth, place, width) / scale.spans[width]
                rate *= 1e9 if width == favourite else 1.0
                if rate > best:
                    chosen, best = width, rate
        if chosen < 0:
            place = max(place + 1, end + scale.apart if count else scale.lead)
            place = -(-place // scale.step) * scale.step
            continue
        lanes[count, 0], lanes[count, 1] = place, chosen
        count += 1
        place += scale.spans[chosen]
        end = place
    while count and not _edge_is_good(scale, lanes[count - 1, 0] + scale.spans[lanes[count - 1, 1]]):
        count -= 1
    return lanes[:count]


@njit(cache=True, nogil=True)
def _edge_is_good(scale: Scale, end: int) -> bool:
    """Whether the last lane may end there: behind it lies no strip that is too narrow."""
    return bool(end == scale.flush or end <= scale.tail)


@njit(cache=True, nogil=True)
def _from_far_edge(scale: Scale, worth: Floats, start: int, favourite: int) -> Ints:
    """Lanes (n, 2) as (place, width), laid from the last usable place towards the datum edge.

    A pack that is complete moves towards the datum edge until it starts on the knife scale.
    """
    lanes = np.empty((scale.lasts.max() // scale.spans.min() + 2, 2), dtype=np.int64)
    count, pack, limit = 0, 0, (scale.lasts + scale.spans).max() - start
    while limit > 0 or pack < count:
        chosen, best, at = -1, 0.0, 0
        for width in range(scale.spans.size):
            place = min(limit - scale.spans[width], scale.lasts[width])
            # inside a pack, the next lane must touch the one before
            if place >= 0 and (pack == count or place + scale.spans[width] == limit):
                rate = _worth_at(scale, worth, place, width) / scale.spans[width]
                rate *= 1e9 if width == favourite else 1.0
                if rate > best:
                    chosen, best, at = width, rate, place
        if chosen >= 0:
            lanes[count, 0], lanes[count, 1] = at, chosen
            count += 1
            limit = at
        elif pack < count:
            count = _settle(scale, worth, lanes, pack, count)
            limit = min(limit, lanes[count - 1, 0] - scale.apart) if count else limit
            limit = (limit // scale.step) * scale.step
            pack = count
        else:
            limit = (limit - 1) // scale.step * scale.step
    return lanes[:count]


@njit(cache=True, nogil=True)
def _settle(scale: Scale, worth: Floats, lanes: Ints, pack: int, count: int) -> int:
    """Move the pack onto the knife scale; lanes on its datum side that would lose all worth by it are given up."""
    while count > pack:
        shift = lanes[count - 1, 0] % scale.step
        end = lanes[pack, 0] + scale.spans[lanes[pack, 1]]
        while pack == 0 and not _edge_is_good(scale, end - shift):
            shift += scale.step
        first = lanes[count - 1, 0] - shift
        good = first == 0 or first >= scale.lead
        for lane in range(pack, count if good else pack):
            good = good and _worth_at(scale, worth, lanes[lane, 0] - shift, lanes[lane, 1]) > 0.0
        if good:
            lanes[pack:count, 0] -= shift
            break
        count -= 1
    return count


@njit(cache=True, nogil=True)
def _best_layout(scale: Scale, worth: Floats) -> tuple[float, Ints]:
    """The best of all first places and favourites from either edge, its lanes from the datum edge on."""
    most, best = 0.0, np.zeros((0, 2), dtype=np.int64)
    for favourite in range(-1, scale.spans.size):
        for start in range(0, scale.spans.max() + scale.step, scale.step):
            for edge in range(2):
                lay = (
                    _from_datum(scale, worth, start, favourite)
                    if edge == 0
                    else _from_far_edge(scale, worth, start, favourite)
                )
                value = _value(scale, worth, lay)
                if value > most:
                    most, best = value, lay if edge == 0 else lay[::-1].copy()
    return most, best
