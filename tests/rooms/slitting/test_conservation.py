"""Whatever is asked, a plan keeps the slitter's rules, and value, area, length and time add up."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from oracle_rules import check_keeps_rules

from wideroll.roll import Extent
from wideroll.slitting import Avoid, ByMetre, CutRules, SlitWidth, greedy_cut, plan_cut

MAKERS = pytest.mark.parametrize("make", [plan_cut, greedy_cut])


@MAKERS
def test_a_small_plan_keeps_the_rules(mixed_requests, make):
    """On small webs with everything that may be asked, each piece, roll, run and number is as the rules say."""

    @settings(max_examples=200, deadline=None)
    @given(request=mixed_requests)
    def check(request):
        check_keeps_rules(make(**request))

    check()


@MAKERS
def test_a_wide_plan_keeps_the_rules(wide_requests, make):
    """So it is on rolls of 1.38 m by 50 to 500 m, with true film widths and places that aren't round."""

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.data_too_large, HealthCheck.too_slow])
    @given(request=wide_requests)
    def check(request):
        check_keeps_rules(make(**request))

    check()


def test_planning_is_never_worth_less_than_laying_by_eye(wide_requests):
    """On wide rolls the operator's layout never nets more than the plan, whatever the finish."""

    @settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.data_too_large, HealthCheck.too_slow])
    @given(request=wide_requests)
    def check(request):
        assert greedy_cut(**request).net <= plan_cut(**request).net + 1e-6

    check()


@pytest.mark.parametrize(("least_mm", "lanes"), [(0.0, 2), (0.1, 2), (0.2, 1)])
@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
def test_no_strip_is_left_that_is_too_narrow(make, least_mm, lanes):
    """A scratch of a tenth of a millimetre between two lanes costs one of them where such a strip can't be cut off."""
    web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=100.1)
    scratch = Avoid(extent=replace(web, across_from_mm=50.0, across_to_mm=50.1), reason="scratch")
    film = SlitWidth(name="50 mm", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
    rules = CutRules(edge_trim_mm=0.0, knife_step_mm=0.1, least_strip_mm=least_mm)
    plan = make(web, avoid=[scratch], widths=[film], rules=rules)
    assert plan.net == pytest.approx(100.0 * lanes)
    check_keeps_rules(plan)


@pytest.mark.parametrize(("edge_mm", "starts"), [(0.0, (2.0, 10.0)), (1.0, (1.0, 9.0)), (2.0, (2.0, 10.0))])
def test_the_edge_strip_is_the_trim_or_wide_enough(edge_mm, starts):
    """With a bad edge of half a millimetre lanes move in by the least strip, unless the trim takes the edge anyway."""
    web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=20.0)
    edge = Avoid(extent=replace(web, across_to_mm=0.5), reason="edge")
    film = SlitWidth(name="8 mm", width_mm=8.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
    rules = CutRules(edge_trim_mm=edge_mm, knife_step_mm=0.5, least_strip_mm=2.0)
    plan = plan_cut(web, avoid=[edge], widths=[film], rules=rules)
    assert tuple(low for _, low, _ in plan.runs[0].lanes) == starts
    check_keeps_rules(plan)
