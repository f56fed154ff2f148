"""The plan is the best there is: against trying everything, and against an integer programme."""

import functools
import itertools
import random
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByMetre, CutRules, SlitWidth, greedy_cut, plan_cut


class Bench:
    """The rules of a request once more, in exact fractions and without any cleverness."""

    def __init__(self, whole, avoid, widths, rules):
        exact = Fraction
        self.along = exact(whole.along_from_m), exact(whole.along_to_m)
        self.low = exact(whole.across_from_mm) + exact(rules.edge_trim_mm)
        self.high = exact(whole.across_to_mm) - exact(rules.edge_trim_mm)
        self.step, self.between = exact(rules.knife_step_mm), exact(rules.trim_between_mm)
        self.least, self.setup = exact(rules.least_piece_m), exact(rules.setup_m)
        self.widths = [(exact(width.width_mm), exact(width.finish.value_per_m)) for width in widths]
        boxes = [part for one in avoid if (part := one.extent.meet(whole))]
        self.boxes = [
            tuple(map(exact, (box.along_from_m, box.along_to_m, box.across_from_mm, box.across_to_mm)))
            for box in boxes
            if box.across_to_mm > self.low and box.across_from_mm < self.high
        ]

    def worth(self, run, lane, per_m):
        """Value of a lane: the lengths of its clean stretches that are long enough."""
        touching = sorted(box for box in self.boxes if box[2] < lane[1] and box[3] > lane[0])
        total, reach = Fraction(0), run[0]
        for start, end in [*((box[0], box[1]) for box in touching), (run[1], run[1])]:
            gap = min(start, run[1]) - reach
            if gap > 0 and gap >= self.least:
                total += gap
            reach = max(reach, end)
        return total * per_m

    def places(self):
        """The knife scale."""
        count = int((self.high - self.low) / self.step)
        return [self.low + self.step * number for number in range(count + 1)]

    def layout(self, run):
        """The best value of any lanes side by side in a run."""
        scale = self.places()

        @functools.cache
        def best(reach, chained):
            starts = [place for place in scale if place >= reach] + ([reach] if chained else [])
            found = Fraction(0)
            for start in starts:
                for width, per_m in self.widths:
                    if start + width <= self.high:
                        value = self.worth(run, (start, start + width), per_m)
                        if value > 0:
                            found = max(found, value + best(start + width + self.between, True))  # noqa: FBT003
            return found

        return best(self.low, False)  # noqa: FBT003

    def changes(self):
        """Places to change the knives: (where the head side ends, where the tail side begins)."""
        edges = {edge for box in self.boxes for edge in box[:2]}
        tails = edges | {edge + self.setup for edge in edges}
        return sorted((t - self.setup, t) for t in tails if t - self.setup > self.along[0] and t < self.along[1])

    def runs(self, changes):
        """The runs between changes; one that the set-ups leave nothing of is left out."""
        starts = [self.along[0], *(tail for _, tail in changes)]
        ends = [*(head for head, _ in changes), self.along[1]]
        return [(start, end) for start, end in zip(starts, ends, strict=True) if end > start]

    def best(self):
        """The best value over all choices of changes and layouts."""
        layout = functools.cache(self.layout)
        changes = self.changes()
        return max(
            sum(layout(run) for run in self.runs(chosen))
            for count in range(len(changes) + 1)
            for chosen in itertools.combinations(changes, count)
        )


def test_the_plan_is_worth_as_much_as_the_best_of_all(small_requests):
    """On hundreds of small webs no choice of cross-cuts and lanes is worth more than the plan."""

    @settings(max_examples=150, deadline=None)
    @given(request=small_requests)
    def check(request):
        bench = Bench(**request)
        if len(bench.changes()) > 9:
            return
        plan = plan_cut(request["whole"], **{k: v for k, v in request.items() if k != "whole"})
        assert plan.optimal
        assert plan.value == pytest.approx(float(bench.best()), abs=1e-9)
        assert plan.bound >= plan.value

    check()


def _milp_value(bench):
    """The same optimum as an integer programme: runs form a path from head to tail, lanes fill the runs chosen."""
    changes = bench.changes()
    starts = [bench.along[0], *(tail for _, tail in changes)]
    ends = [*(head for head, _ in changes), bench.along[1]]
    runs = [(i, j) for i in range(len(starts)) for j in range(i, len(ends))]
    unit = Fraction(1, 4)
    count = int((bench.high - bench.low) / unit) + 1
    columns, cost, rows = len(runs), [0.0] * len(runs), []
    for node in range(len(starts) + 1):
        flow = [(r, (1.0 if i == node else 0.0) - (1.0 if j + 1 == node else 0.0)) for r, (i, j) in enumerate(runs)]
        need = 1.0 if node == 0 else -1.0 if node == len(starts) else 0.0
        rows.append(([pair for pair in flow if pair[1]], need, need))
    for number, (i, j) in enumerate(runs):
        run = starts[i], ends[j]
        lanes = []
        for place, (width, per_m) in itertools.product(range(count), bench.widths):
            start = bench.low + place * unit
            value = bench.worth(run, (start, start + width), per_m) if run[1] > run[0] else Fraction(0)
            if start + width <= bench.high and value > 0:
                lanes.append((columns, place, place + int((width + bench.between) / unit)))
                cost.append(-float(value))
                columns += 1
        rows += [
            ([(c, 1.0) for c, a, b in lanes if a <= cell < b] + [(number, -1.0)], -np.inf, 0.0) for cell in range(count)
        ]
        for column, place, _ in lanes:
            if (place * unit) % bench.step:
                rows.append(([(column, 1.0)] + [(c, -1.0) for c, _, b in lanes if b == place], -np.inf, 0.0))
    entries = [(row, column, value) for row, (pairs, _, _) in enumerate(rows) for column, value in pairs]
    where, which, what = zip(*entries, strict=True)
    matrix = coo_array((what, (where, which)), shape=(len(rows), columns)).tocsr()
    limits = LinearConstraint(matrix, [low for _, low, _ in rows], [high for _, _, high in rows])
    solved = milp(np.array(cost), constraints=limits, integrality=np.ones(columns), bounds=Bounds(0, 1))
    assert solved.status == 0
    return -solved.fun


@pytest.mark.parametrize("seed", range(3))
def test_the_plan_is_worth_as_much_as_an_integer_programme_finds(seed):
    """HiGHS, told the rules as linear constraints, finds the same value on webs too large to try everything."""
    draw = random.Random(seed)  # noqa: S311
    whole = Extent(along_from_m=0.0, along_to_m=60.0, across_from_mm=0.0, across_to_mm=30.0)
    avoid = []
    for _ in range(2):
        a, x = draw.randrange(0, 55), draw.randrange(0, 25)
        extent = Extent(
            along_from_m=a,
            along_to_m=a + draw.randrange(1, 25),
            across_from_mm=x,
            across_to_mm=x + draw.randrange(1, 6),
        )
        avoid.append(Avoid(extent=extent, reason="spot"))
    widths = [
        SlitWidth(name="a", width_mm=6.75, tolerance_mm=0.0, finish=ByMetre(value_per_m=3.0)),
        SlitWidth(name="b", width_mm=4.25, tolerance_mm=0.0, finish=ByMetre(value_per_m=1.7)),
    ]
    rules = CutRules(edge_trim_mm=1.0, trim_between_mm=draw.choice([0.0, 0.25]), least_piece_m=5.0, setup_m=2.0)
    plan = plan_cut(whole, avoid=avoid, widths=widths, rules=rules)
    assert plan.optimal
    assert plan.value == pytest.approx(_milp_value(Bench(whole, avoid, widths, rules)), rel=1e-6)


def test_no_plan_exceeds_the_bound_wherever_it_cuts(small_requests):
    """Plans that change knives at places drawn at random stay below the bound, thinned or not."""

    @settings(max_examples=200, deadline=None)
    @given(
        request=small_requests,
        tails=st.lists(st.fractions(0, 30, max_denominator=5), max_size=3, unique=True),
        most=st.sampled_from([0, 2, 40]),
    )
    def check(request, tails, most):
        bench = Bench(**request)
        changes = [(t - bench.setup, t) for t in sorted(tails) if t - bench.setup > 0 and t < bench.along[1]]
        rules = replace(request["rules"], most_cross_cuts=most)
        plan = plan_cut(request["whole"], avoid=request["avoid"], widths=request["widths"], rules=rules)
        value = float(sum(bench.layout(run) for run in bench.runs(changes)))
        assert value <= plan.bound + 1e-9
        assert plan.value <= plan.bound
        assert plan.cross_cut_candidates <= most

    check()


def test_an_operator_never_gets_more(small_requests):
    """Laying lane beside lane from either edge is never worth more than the plan under the same rules."""

    @settings(max_examples=100, deadline=None)
    @given(request=small_requests, most=st.sampled_from([0, 3, 40]))
    def check(request, most):
        rules = replace(request["rules"], most_cross_cuts=most)
        asked = {"avoid": request["avoid"], "widths": request["widths"], "rules": rules}
        by_hand = greedy_cut(request["whole"], **asked)
        assert by_hand.value <= plan_cut(request["whole"], **asked).value + 1e-9
        assert by_hand.value <= by_hand.bound

    check()


def test_a_thinned_search_says_so():
    """With more places worth a change than may be tried, the plan isn't called optimal and its bound is above."""
    whole = Extent(along_from_m=0.0, along_to_m=600.0, across_from_mm=0.0, across_to_mm=120.0)
    avoid = [
        Avoid(
            extent=Extent(
                along_from_m=100.0 * n, along_to_m=100.0 * n + 60, across_from_mm=20.0 * n, across_to_mm=20.0 * n + 9
            ),
            reason="streak",
        )
        for n in range(6)
    ]
    widths = [SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0))]
    few = plan_cut(whole, avoid=avoid, widths=widths, rules=CutRules(most_cross_cuts=1))
    many = plan_cut(whole, avoid=avoid, widths=widths)
    assert not few.optimal
    assert many.optimal
    assert few.value <= many.value <= few.bound
    assert few.cross_cut_candidates == 1
