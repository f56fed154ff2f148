"""The plan is the best there is: against trying everything, and against an integer programme."""

import math
import random
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from oracle_bench import Bench, candidates
from oracle_programme import best_net

from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CutRules,
    FinishedLength,
    SlitWidth,
    greedy_cut,
    plan_cut,
)

MOST_CANDIDATES = 10
"""So many places to set the knives anew can all be tried with and without each other."""


def _check_best(request):
    """The plan of a request is worth what the best of all choices is, and says so."""
    changes = candidates(request)
    assume(len(changes) <= MOST_CANDIDATES)
    plan = plan_cut(**request)
    assert plan.optimal
    assert plan.net == pytest.approx(float(Bench(**request).best(changes)), abs=1e-6)
    assert plan.bound >= plan.net - 1e-9


def test_the_plan_is_worth_as_much_as_the_best_of_all(small_requests):
    """On hundreds of small webs no choice of cross-cuts and lanes is worth more than the plan."""

    @settings(max_examples=100, deadline=None)
    @given(request=small_requests)
    def check(request):
        _check_best(request)

    check()


def test_the_plan_is_the_best_of_all_however_film_is_sold(finishing_requests):
    """By the metre, by length and spliced, with second quality, counts, stops and time, nothing is worth more."""

    @settings(max_examples=200, deadline=None)
    @given(request=finishing_requests)
    def check(request):
        _check_best(request)

    check()


def test_the_plan_is_the_best_of_all_where_widths_are_sold_in_different_ways(mixed_requests):
    """Widths with different finishes compete for the same web, and the plan weighs them rightly."""

    @settings(max_examples=100, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        _check_best(request)

    check()


def _random_extent(draw, length_m, width_mm, longest_m, widest_mm):
    a, x = draw.randrange(length_m), draw.randrange(width_mm)
    return Extent(
        along_from_m=float(a),
        along_to_m=float(min(a + draw.randrange(1, longest_m + 1), length_m)),
        across_from_mm=float(x),
        across_to_mm=float(min(x + draw.randrange(1, widest_mm + 1), width_mm)),
    )


def _random_finish(draw):
    if draw.random() < 0.3:
        return ByMetre(value_per_m=draw.choice([1.0, 1.75, 3.0]), second_per_m=draw.choice([0.0, 0.5]))
    lengths = draw.sample(range(2, 7), 2)
    return ByLength(
        lengths=tuple(
            FinishedLength(
                length_m=float(n), value=n * draw.choice([1.0, 1.5, 2.25]), second_value=draw.choice([0.0, 1.5])
            )
            for n in lengths
        )
    )


def _random_request(draw):
    """A request in whole metres and millimetres."""
    length_m, width_mm = draw.randrange(8, 16), draw.randrange(8, 13)
    limits = [
        (draw.randrange(3), tuple(_random_extent(draw, length_m, width_mm, 2, 3) for _ in range(draw.randrange(6))))
        for _ in range(draw.randrange(3))
    ]
    return {
        "whole": Extent(along_from_m=0.0, along_to_m=float(length_m), across_from_mm=0.0, across_to_mm=float(width_mm)),
        "avoid": [
            Avoid(
                extent=_random_extent(draw, length_m, width_mm, length_m, 4), reason="r", downgrade=draw.random() < 0.4
            )
            for _ in range(draw.randrange(1, 4))
        ],
        "counts": [CountLimit(name=f"c{n}", most=most, marks=marks) for n, (most, marks) in enumerate(limits)],
        "widths": [
            SlitWidth(name=f"w{size}", width_mm=float(size), tolerance_mm=0.0, finish=_random_finish(draw))
            for size in draw.sample([2, 3, 4, 5], 2)
        ],
        "rules": CutRules(
            knife_step_mm=draw.choice([1.0, 2.0]),
            edge_trim_mm=draw.choice([0.0, 1.0]),
            trim_between_mm=draw.choice([0.0, 1.0]),
            least_strip_mm=draw.choice([0.0, 2.0, 3.0]),
            least_piece_m=float(draw.randrange(1, 4)),
            setup_m=float(draw.randrange(3)),
            setup_minutes=draw.choice([0.0, 1.0]),
            stop_minutes=draw.choice([0.0, 0.5]),
            value_per_minute=draw.choice([0.0, 1.0, 3.0]),
            most_run_m=draw.choice([math.inf, 4.0, 7.0]),
        ),
    }


@pytest.mark.parametrize("seed", range(10))
def test_the_plan_is_worth_as_much_as_an_integer_programme_finds(seed):
    """HiGHS, told the rules as linear constraints, finds the same net value on 20 random webs a seed."""
    draw, done = random.Random(seed), 0  # noqa: S311
    while done < 20:
        request = _random_request(draw)
        changes = candidates(request)
        if len(changes) > 4:
            continue
        plan = plan_cut(**request)
        assert plan.optimal
        assert plan.net == pytest.approx(best_net(request, changes, unit_mm=1.0), abs=1e-6)
        done += 1


def test_no_plan_exceeds_the_bound_wherever_it_cuts(mixed_requests, small_requests):
    """Plans that change knives at places drawn at random stay below the bound, thinned or not."""

    @settings(max_examples=200, deadline=None)
    @given(
        request=st.one_of(mixed_requests, small_requests),
        ends=st.lists(st.integers(1, 58), max_size=3, unique=True),
        most=st.sampled_from([0, 2, 40]),
    )
    def check(request, ends, most):
        whole, setup_m = request["whole"], request["rules"].setup_m
        changes = [(end / 2 - setup_m, end / 2) for end in sorted(ends)]
        changes = [change for change in changes if change[0] > 0.0 and change[1] < whole.along_to_m]
        request |= {"rules": replace(request["rules"], most_cross_cuts=most)}
        plan = plan_cut(**request)
        net = Bench(**request, unit_m=0.5).net(changes)
        assert net is None or float(net) <= plan.bound + 1e-9
        assert plan.net <= plan.bound + 1e-9
        assert plan.cross_cut_candidates <= most

    check()


def test_an_operator_never_gets_more(mixed_requests, small_requests):
    """Laying lane beside lane from either edge is never worth more than the plan under the same rules."""

    @settings(max_examples=150, deadline=None)
    @given(request=st.one_of(mixed_requests, small_requests), most=st.sampled_from([0, 3, 40]))
    def check(request, most):
        request |= {"rules": replace(request["rules"], most_cross_cuts=most)}
        by_hand = greedy_cut(**request)
        assert by_hand.net <= plan_cut(**request).net + 1e-9
        assert by_hand.net <= by_hand.bound + 1e-9

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
