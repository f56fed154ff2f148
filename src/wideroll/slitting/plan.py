"""The cut that keeps most value: cross-cuts and knife layouts chosen together, and proof of how good it is."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting.clean import LaneTable, tabulate_lanes
from wideroll.slitting.knives import Knives, set_knives
from wideroll.slitting.layout import best_layout, best_values, scale_of
from wideroll.slitting.losses import charge_losses
from wideroll.slitting.model import Avoid, CutPlan, CutRules, SlitWidth
from wideroll.slitting.pieces import Laid, cut_runs
from wideroll.slitting.regions import CrossCut, Region, cross_cuts, largest_first
from wideroll.slitting.request import Request, check_request

__all__ = ["best_runs", "finish_plan", "plan_cut"]

_USUAL: Final = CutRules()
_PROVEN: Final = 1e-9
_BOUND_CUTS: Final = 2
"""Candidates kept for the bound of a thinned search, as a multiple of those kept for the plan."""


def plan_cut(
    whole: Extent, *, avoid: Sequence[Avoid], widths: Sequence[SlitWidth], rules: CutRules = _USUAL
) -> CutPlan:
    """The plan worth most under the rules.

    Every lane of every run yields the stretches that touch nothing avoided and are at least the least piece long; each
    is worth its length times the value per metre of its width. Knives stay within a run; changing them costs a length
    of web, but for the run that the slitter meets first.

    Args:
        whole: the wound roll, along in metres from its head and across in millimetres from the datum edge.
        avoid: parts that may be in no piece; they may overlap, reach over the edge, or have no area.
        widths: what may be slit, with unlike names.
        rules: how the slitter may cut.

    Returns:
        The plan, proven best for its knife step and its candidates for cross-cuts (``cross_cuts`` in
        ``wideroll.slitting.regions``) unless there were more than ``most_cross_cuts``: then only the most promising
        were tried, and ``optimal`` is false unless the bound is reached. ``bound`` holds for every plan under the
        rules, wherever it cuts across. Where nothing can be kept the plan is empty.

    Raises:
        ArgumentError: when widths or rules make no sense, or no width fits.

    Example:
        >>> whole = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=122.0)
        >>> streak = Extent(along_from_m=60.0, along_to_m=100.0, across_from_mm=50.0, across_to_mm=52.0)
        >>> from wideroll.slitting import ByMetre
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
    request = Request(whole=whole, avoid=tuple(avoid), widths=tuple(widths), rules=rules)
    check_request(request)
    knives = set_knives(request)
    regions = largest_first(request, knives)
    table = tabulate_lanes(request, regions, knives)
    cuts = cross_cuts(request, regions)
    kept = cuts[: rules.most_cross_cuts]
    proven = len(kept) == len(cuts)
    runs = best_runs(whole, table, kept, least_m=request.least_m)[1]
    laid = [(along_m, best_layout(table, along_m, least_m=request.least_m)) for along_m in runs]
    bound = best_runs(whole, table, kept, least_m=0.0)[0] if proven else _bound_of_the_largest(request, regions, knives)
    plan = finish_plan(request, table, laid, bound=bound, candidates=len(kept))
    return replace(plan, optimal=proven or plan.optimal)


def best_runs(
    whole: Extent, table: LaneTable, cuts: Sequence[CrossCut], *, least_m: float
) -> tuple[float, list[tuple[float, float]]]:
    """The runs worth most together, from the head on, among all choices of cross-cuts; and their value.

    With ``least_m`` 0 and all candidates of the table's regions the value is a bound: the pieces of any plan are parts
    of stretches that the table doesn't block, so they can't be worth more than those; and with no least length the
    candidates hold a best place for every change (see ``cross_cuts``), so no other change can be worth more.
    """
    ordered = sorted(cuts)
    starts = [float(whole.along_from_m), *(cut.tail_from_m for cut in ordered)]
    ends = np.array([*(cut.head_to_m for cut in ordered), whole.along_to_m], dtype=np.float64)
    scale = scale_of(table)
    value, before = np.full(ends.size, -math.inf), np.zeros(ends.size, dtype=np.int64)
    for start, from_m in enumerate(starts):
        reached = value[start - 1] if start else 0.0
        values = reached + best_values(scale, table.blocked, from_m, ends[start:], least_m)
        # on a tie the earlier start stays: the fewest changes of knives
        better = np.flatnonzero(values > value[start:] + _PROVEN * np.abs(values)) + start
        value[better], before[better] = values[better - start], start
    runs: list[tuple[float, float]] = []
    end = ends.size
    while end > 0:
        start = int(before[end - 1])
        runs.append((starts[start], float(ends[end - 1])))
        end = start
    return float(value[-1]), runs[::-1]


def finish_plan(request: Request, table: LaneTable, laid: Sequence[Laid], *, bound: float, candidates: int) -> CutPlan:
    """Runs and lanes to the plan with its pieces, value and losses; it counts as optimal where it reaches the bound."""
    runs, pieces = cut_runs(request, table, [(along_m, lanes) for along_m, lanes in laid if lanes])
    value = math.fsum(piece.value for piece in pieces)
    return CutPlan(
        whole=request.whole,
        runs=runs,
        pieces=pieces,
        value=value,
        bound=max(bound, value),
        optimal=value >= bound * (1.0 - _PROVEN),
        losses=charge_losses(request, table.knives, runs, pieces),
        cross_cut_candidates=candidates,
        widths=request.widths,
        avoid=request.avoid,
        rules=request.rules,
    )


def _bound_of_the_largest(request: Request, regions: Sequence[Region], knives: Knives) -> float:
    """A bound with only the largest regions avoided, as many as their candidates may be: avoiding less can't cost."""
    most = _BOUND_CUTS * request.rules.most_cross_cuts
    few = list(regions)
    while len(cuts := cross_cuts(request, few)) > most:
        few = few[: min(len(few) - 1, len(few) * most // len(cuts))]
    return best_runs(request.whole, tabulate_lanes(request, few, knives), cuts, least_m=0.0)[0]
