"""The cut that an operator would set by eye: the baseline that planning is measured against."""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numba import njit

from wideroll.roll import Extent
from wideroll.slitting.across import Scale
from wideroll.slitting.along import stops_within
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import CutDesk, KnifeSet, prepare_cut, worths_of
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.model import Avoid, CountLimit, CutPlan, CutRules, SlitWidth
from wideroll.slitting.plan import finish_plan
from wideroll.slitting.regions import Change
from wideroll.slitting.request import Request

__all__ = ["greedy_cut"]

_USUAL: Final = CutRules()
_CHANGES: Final = (0, 1, 2, 3, 4, 6, 8, 12)
"""How many of the most promising changes of knives the operator tries."""


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
    lane, from both edges, with each favourite and without, and with no, one or several changes of knives at the places
    that ``plan_cut`` finds most promising. Each lane is cut into pieces as well as ``plan_cut`` would cut it.

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
    tried = sorted({min(count, len(desk.changes)) for count in _CHANGES})
    laid = max((_lay_sets(desk, desk.changes[:count]) for count in tried), key=lambda one: one[0])
    return finish_plan(desk, laid[1], bound=bound_of(desk))


def _lay_sets(desk: CutDesk, changes: Sequence[Change]) -> tuple[float, list[KnifeSet]]:
    """The knife sets between the given changes and their net value; changes too near to another are left out."""
    rules, net, laid = desk.request.rules, 0.0, list[KnifeSet]()
    from_m = 0.0
    for change in [*sorted(changes), None]:
        to_m = desk.web.length_m if change is None else change.end_m
        if to_m <= from_m:
            continue
        worth = worths_of(desk, (from_m, to_m))
        value, lanes = max(_layouts(desk.scale, worth, len(desk.request.widths)), key=lambda one: one[0])
        stops = stops_within((from_m, to_m), rules) if lanes else 0
        minutes = rules.stop_minutes * stops + (rules.setup_minutes if laid else 0.0)
        net += value - minutes * rules.value_per_minute
        laid.append(((from_m, to_m), lanes))
        from_m = to_m if change is None else change.begin_m
    return net, laid


def _layouts(scale: Scale, worth: Floats, widths: int) -> Iterator[tuple[float, list[tuple[int, int]]]]:
    starts = range(0, int(scale.spans.max()) + scale.step, scale.step)
    for favourite in range(-1, widths):
        for start in starts:
            for lay in (_from_datum, _from_far_edge):
                lanes = lay(scale, worth, start, favourite)
                places = [(int(place), int(width)) for place, width in lanes]
                yield _value(scale, worth, lanes), sorted(places)


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
    count, place = 0, start
    while place <= scale.lasts.max():
        chosen, best = -1, 0.0
        for width in range(scale.spans.size):
            if place <= scale.lasts[width]:
                rate = _worth_at(scale, worth, place, width) / scale.spans[width]
                rate *= 1e9 if width == favourite else 1.0
                if rate > best:
                    chosen, best = width, rate
        if chosen < 0:
            place = (place // scale.step + 1) * scale.step
            continue
        lanes[count, 0], lanes[count, 1] = place, chosen
        count += 1
        place += scale.spans[chosen]
    return lanes[:count]


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
        good = True
        for lane in range(pack, count):
            good = good and _worth_at(scale, worth, lanes[lane, 0] - shift, lanes[lane, 1]) > 0.0
        if good:
            lanes[pack:count, 0] -= shift
            break
        count -= 1
    return count
