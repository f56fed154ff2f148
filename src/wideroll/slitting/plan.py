"""The cut that keeps most value: cross-cuts and knife layouts chosen together, and proof of how good it is."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from wideroll.roll import Extent
from wideroll.slitting.across import NONE
from wideroll.slitting.along import stops_within
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import CutDesk, KnifeSet, best_knife_sets, prepare_cut
from wideroll.slitting.losses import charge_losses
from wideroll.slitting.model import Avoid, CountLimit, CutPlan, CutRules, SlitWidth, Wish
from wideroll.slitting.pieces import cut_sets
from wideroll.slitting.request import Request, check_request
from wideroll.slitting.wishes import bars_all, refuse_impossible

__all__ = ["finish_plan", "plan_cut", "plan_on"]

_USUAL: Final = CutRules()
_PROVEN: Final = 1e-9
_ROUNDING: Final = 1e-6


def plan_cut(
    whole: Extent,
    *,
    avoid: Sequence[Avoid],
    widths: Sequence[SlitWidth],
    rules: CutRules = _USUAL,
    counts: Sequence[CountLimit] = (),
    wishes: Sequence[Wish] = (),
) -> CutPlan:
    """The plan worth most under the rules, less what the slitter's time costs.

    Every lane yields the pieces that are worth most of what its width is sold as, from film that touches nothing
    avoided. Knives stay within a knife set; setting them anew costs a length of web and time, but for the set that the
    slitter meets first. Where runs have a greatest length, the wound rolls are taken off each time they are full.

    Args:
        whole: the wound roll, along in metres from its head and across in millimetres from the datum edge.
        avoid: parts that may be in no piece, or only in one of second quality; they may overlap, reach over the edge,
            or have no area.
        widths: what may be slit, with unlike names.
        rules: how the slitter may cut.
        counts: allowed marks of which a finished roll may carry only so many.
        wishes: what somebody wants to be so, whatever it costs (``price_wishes`` says how much).

    Returns:
        The plan, proven best for its knife step and its candidates for changes of knives (``changes_of`` in
        ``wideroll.slitting.regions``) unless there were more than ``most_cross_cuts``: then only the most promising
        were tried, and ``optimal`` is false unless the bound is reached. ``bound`` holds for every plan under the
        rules, wherever it cuts across. Where nothing can be kept the plan is empty.

    Raises:
        ArgumentError: when widths, rules or limits make no sense, no width fits, or a wish can't be met.

    Example:
        >>> from wideroll.slitting import ByMetre
        >>> whole = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=122.0)
        >>> streak = Extent(along_from_m=60.0, along_to_m=100.0, across_from_mm=50.0, across_to_mm=52.0)
        >>> film = ByMetre(value_per_m=1.0)
        >>> plan = plan_cut(
        ...     whole,
        ...     avoid=[Avoid(extent=streak, reason="streak")],
        ...     widths=[SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=film)],
        ... )
        >>> [(piece.number, piece.extent.across_from_mm, piece.extent.length_m) for piece in plan.pieces]
        [('001-01', 8.0, 100.0), ('001-03', 77.95, 100.0), ('002-02', 42.975, 60.0)]
        >>> plan.optimal, plan.value
        (True, 260.0)
    """
    request = Request(
        whole=whole,
        avoid=tuple(avoid),
        widths=tuple(widths),
        rules=rules,
        counts=tuple(counts),
        wishes=tuple(dict.fromkeys(wishes)),
    )
    check_request(request)
    if bars_all(request):
        refuse_impossible(request)
    return plan_on(prepare_cut(request), widths=request.widths)


def plan_on(desk: CutDesk, *, widths: Sequence[SlitWidth] = ()) -> CutPlan:
    """The best plan of a request made ready.

    Args:
        desk: the request.
        widths: those to name in the plan; the request's where left out.

    Raises:
        ArgumentError: when a wish can't be met.
    """
    net, sets = best_knife_sets(desk)
    if net <= NONE:
        refuse_impossible(desk.request)
    plan = finish_plan(desk, sets, bound=bound_of(desk))
    plan = replace(plan, widths=tuple(widths) or plan.widths)
    return replace(plan, optimal=not desk.others or plan.optimal)


def finish_plan(desk: CutDesk, sets: Sequence[KnifeSet], *, bound: float) -> CutPlan:
    """Knife sets to the plan with its pieces, value and losses; it counts as optimal where it reaches the bound.

    Raises:
        RuntimeError: when the plan is worth more than the bound by more than rounding can be: the search or the bound
            is wrong, and so may be the plan.
    """
    request, rules = desk.request, desk.request.rules
    cut = cut_sets(desk, sets)
    value = math.fsum(roll.value for roll in cut.rolls)
    laid = [stretch for stretch, lanes in sets if lanes]
    stops = sum(stops_within(stretch, rules) for stretch in laid)
    minutes = max(len(laid) - 1, 0) * rules.setup_minutes + stops * rules.stop_minutes
    net = value - minutes * rules.value_per_minute
    if net > bound + _ROUNDING * max(abs(net), 1.0):
        message = f"a plan worth {net!r} lies above the bound {bound!r}"
        raise RuntimeError(message)
    return CutPlan(
        whole=request.whole,
        runs=cut.runs,
        pieces=cut.pieces,
        rolls=cut.rolls,
        value=value,
        minutes=minutes,
        bound=max(bound, net),
        optimal=net >= bound - _PROVEN * abs(bound),
        losses=charge_losses(desk, cut),
        cross_cut_candidates=len(desk.changes),
        left_out=len(desk.others),
        widths=request.widths,
        avoid=request.avoid,
        rules=rules,
        counts=request.counts,
        wishes=request.wishes,
    )
