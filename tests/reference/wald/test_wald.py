"""The sequential test against Wald's closed forms and against simulation."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import poisson

from wideroll.sampling import Settled, approximate_point, fixed_plan, operating_points, sequential_plan, settle

RISKS = st.floats(0.005, 0.3)


@given(good=st.floats(0.01, 10), ratio=st.floats(1.2, 10), alpha=RISKS, beta=RISKS)
def test_lines_are_those_of_the_likelihood_ratio(good, ratio, alpha, beta):
    """On each line the probability ratio of the count equals Wald's bound A or B."""
    bad = good * ratio
    plan = sequential_plan(good, bad, alpha, beta)
    for count, bound in (
        (plan.slope * 7.0 + plan.reject_offset, (1 - beta) / alpha),
        (plan.slope * 7.0 - plan.accept_offset, beta / (1 - alpha)),
    ):
        log_ratio = count * math.log(bad / good) - (bad - good) * 7.0
        assert log_ratio == pytest.approx(math.log(bound), abs=1e-6)


@given(h=st.floats(-4, 4), ratio=st.floats(1.5, 6), alpha=RISKS, beta=RISKS)
def test_closed_form_of_the_curves(h, ratio, alpha, beta):
    """Acceptance and mean area equal Wald's formulas in the parameter h."""
    assume(abs(h) > 0.01)
    plan = sequential_plan(1.0, ratio, alpha, beta)
    top, bottom = (1 - beta) / alpha, beta / (1 - alpha)
    rate = (ratio - 1.0) * h / (ratio**h - 1.0)
    accept = (top**h - 1.0) / (top**h - bottom**h)
    area = (accept * math.log(bottom) + (1 - accept) * math.log(top)) / (rate * math.log(ratio) - (ratio - 1.0))
    assert approximate_point(plan, rate) == pytest.approx((accept, area), rel=1e-5, abs=1e-9)


def test_at_the_slope_the_curves_have_no_gap():
    """At the rate where the formula is 0/0 the limits join their neighbours."""
    plan = sequential_plan(1.0, 3.0, 0.05, 0.1)
    middle, beside = approximate_point(plan, plan.slope), approximate_point(plan, plan.slope * (1 + 1e-5))
    assert middle == pytest.approx(beside, rel=1e-3)
    assert middle[0] == pytest.approx(plan.reject_offset / (plan.reject_offset + plan.accept_offset))


def test_exact_curves_go_over_into_the_closed_form():
    """With small sheets and close rates a line is hardly overshot, and recursion and closed form agree."""
    plan = sequential_plan(20.0, 22.0, 0.05, 0.1)
    (point,) = operating_points(plan, [21.0], 0.1, 2000)
    assert point.undecided < 2e-3
    accept, area = approximate_point(plan, 21.0)
    assert point.accept == pytest.approx(accept, abs=0.03)
    assert point.mean_m2 == pytest.approx(area, rel=0.08)


@pytest.mark.parametrize("sheet_m2", [0.1, 0.4, 1.1])
@pytest.mark.parametrize(("good", "bad"), [(0.5, 2.0), (1.0, 3.0), (2.0, 3.0)])
def test_risks_stay_within_what_is_stated(sheet_m2, good, bad):
    """By exact recursion neither risk is greater than stated by more than Wald allows, with any size of sheet."""
    plan = sequential_plan(good, bad, 0.05, 0.10)
    at_good, at_bad = operating_points(plan, [good, bad], sheet_m2, int(160 / sheet_m2))
    assert at_good.reject <= 0.05 / 0.90
    assert at_bad.accept <= 0.10 / 0.95
    assert at_good.undecided + at_bad.undecided < 1e-6


def test_simulated_sheets_do_what_the_recursion_says():
    """Drawn sheets, followed one by one, are accepted as often as computed (1500 rolls, 4 standard errors)."""
    plan = sequential_plan(1.0, 3.0, 0.05, 0.10)
    rng = np.random.Generator(np.random.PCG64(11))
    for rate in (1.0, 1.8, 3.0):
        (point,) = operating_points(plan, [rate], 0.4, 60)
        ends = [settle(plan, rng.poisson(rate * 0.4, 60).tolist(), [0.4] * 60) for _ in range(1500)]
        share = sum(end.settled is Settled.ACCEPT for end in ends) / 1500
        assert abs(share - point.accept) < 4 * math.sqrt(point.accept * (1 - point.accept) / 1500) + 1e-3
        area = sum(end.area_m2 for end in ends) / 1500
        assert area == pytest.approx(point.mean_m2, rel=0.05)


@given(good=st.floats(0.05, 5), ratio=st.floats(1.3, 10), alpha=RISKS, beta=RISKS)
def test_fixed_area_keeps_both_risks_by_poisson(good, ratio, alpha, beta):
    """The fixed area keeps both risks (oracle: Poisson), and one mark fewer could not."""
    plan = fixed_plan(good, good * ratio, alpha, beta)
    assert poisson.sf(plan.accept, good * plan.area_m2) <= alpha + 1e-9
    assert poisson.cdf(plan.accept, good * ratio * plan.area_m2) == pytest.approx(beta, rel=1e-6)
    if plan.accept:
        fewer = _area(good * ratio, plan.accept - 1, beta)
        assert poisson.sf(plan.accept - 1, good * fewer) > alpha - 1e-9


def _area(rate, accept, beta):
    low, high = 0.0, 1000.0 * (accept + 1) / rate
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if poisson.cdf(accept, rate * middle) > beta else (low, middle)
    return high
