"""Whatever is asked, a plan keeps the slitter's rules, and value, area, length and time add up."""

import pytest
from hypothesis import HealthCheck, given, settings
from oracle_rules import check_keeps_rules

from wideroll.slitting import greedy_cut, plan_cut

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
