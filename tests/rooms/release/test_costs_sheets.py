"""Further sheets before a choice, and sums of doubtful costs, against brute force."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.release.costs_sheets import best_sheets, cost_after
from wideroll.release.costs_sums import Chance, Rate, add_up, further_counts, quantiles

DRAWS = 400_000


def _rate(count, looked, film, cost, share=1.0):
    return Rate(criterion="c", shape=count + 0.5, looked_m2=looked, film_m2=film, cost=cost, sheet_share=share)


@pytest.mark.parametrize("rates", [[(3, 4.0, 40.0, 1.0, 1.0)], [(3, 4.0, 40.0, 1.0, 1.0), (0, 2.0, 30.0, 2.0, 0.5)]])
@pytest.mark.parametrize("sheets_m2", [0.3, 3.0])
def test_the_worth_of_sheets_is_that_of_drawing_them(rates, sheets_m2):
    """The exact sum agrees with drawing a rate, then a count, then choosing by what is known after it."""
    generator = np.random.Generator(np.random.PCG64(11))
    scrap, known = 42.0, 3.0
    after = np.full(DRAWS, known)
    truth = np.full(DRAWS, known)
    for count, looked, film, cost, share in rates:
        rate = generator.gamma(count + 0.5, 1.0 / looked, DRAWS)
        found = generator.poisson(rate * sheets_m2 * share)
        after += cost * film * (count + 0.5 + found) / (looked + sheets_m2 * share)
        truth += cost * film * rate
    drawn = np.where(after < scrap, truth, scrap)  # what is really paid, by the choice made
    exact = cost_after(known, [_rate(*one) for one in rates], scrap, sheets_m2)
    assert exact == pytest.approx(drawn.mean(), abs=5.0 * drawn.std() / DRAWS**0.5 + 1e-9)


def test_the_best_number_of_sheets_is_the_best_of_all():
    """The search, which stops when the sheets alone cost too much, finds what trying all finds."""
    rates = [_rate(1, 4.0, 40.0, 3.0)]
    best, cost = best_sheets(0.0, rates, 45.0, sheet=0.4, sheet_m2=0.3, most=60)
    totals = [0.4 * n + cost_after(0.0, rates, 45.0, 0.3 * n) for n in range(1, 61)]
    assert (best, cost) == (int(np.argmin(totals)) + 1, pytest.approx(min(totals)))
    assert 1 < best < 60


def test_no_sheet_is_taken_where_none_pays():
    """Where a release is far cheaper than scrap whatever is found, the choice is made now."""
    assert best_sheets(0.0, [_rate(1, 40.0, 40.0, 0.1)], 1000.0, sheet=1.0, sheet_m2=0.3) == (0, pytest.approx(0.15))


@settings(deadline=None, max_examples=25)
@given(
    count=st.integers(0, 50),
    looked=st.floats(0.1, 100.0),
    film=st.floats(0.1, 100.0),
    more=st.floats(0.01, 50.0),
    scrap=st.floats(0.0, 1000.0),
)
def test_what_is_expected_after_a_look_is_what_is_expected_now(count, looked, film, more, scrap):
    """Looking changes no mean, and with a choice after it the cost can't rise."""
    rate = _rate(count, looked, film, 1.0)
    after = further_counts(rate, more)
    assert after.values @ after.probabilities == pytest.approx(rate.expected, rel=1e-6)
    assert cost_after(0.0, [rate], scrap, more) <= min(rate.expected, scrap) * (1.0 + 1e-6)


@settings(deadline=None, max_examples=25)
@given(count=st.integers(0, 20), cost=st.floats(0.1, 10.0), known=st.floats(0.0, 50.0))
def test_more_sheets_never_know_less(count, cost, known):
    """Free sheets: the expected cost falls with their number."""
    costs = [cost_after(known, [_rate(count, 3.0, 40.0, cost)], 60.0, area) for area in (0.3, 0.6, 1.2, 2.4)]
    assert all(later <= earlier + 1e-7 for earlier, later in itertools.pairwise(costs))


def test_quantiles_of_a_sum_are_those_of_drawing_it():
    """The distribution on a grid agrees with drawing gamma rates and chances, to two hundredths of the spread."""
    generator = np.random.Generator(np.random.PCG64(5))
    chances = [Chance(criterion="a", probability=0.3, number=10.0, cost=2.0)]
    chances += [Chance(criterion="b", probability=1.0, number=4.0, cost=1.0)]
    rates = [_rate(0, 4.0, 36.0, 5.0), _rate(12, 40.0, 40.0, 0.5)]
    drawn = 4.0 + 20.0 * (generator.random(DRAWS) < 0.3)
    for rate in rates:
        drawn += generator.gamma(rate.shape, 1.0 / rate.looked_m2, DRAWS) * rate.film_m2 * rate.cost
    found = quantiles(chances, rates, (0.05, 0.5, 0.95))
    assert found == pytest.approx(tuple(np.quantile(drawn, (0.05, 0.5, 0.95))), abs=0.02 * drawn.std())


def test_a_chance_alone_has_no_value_between():
    """A cost that comes or doesn't is either nothing or all of it at any quantile."""
    one = Chance(criterion="a", probability=0.03, number=10.0, cost=2.0)
    other = Chance(criterion="a", probability=0.5, number=10.0, cost=2.0)
    assert quantiles([one], [], (0.05, 0.95)) == (0.0, 0.0)
    assert quantiles([other], [], (0.05, 0.95)) == (0.0, 20.0)
    assert quantiles([], [], (0.05, 0.95)) == (0.0, 0.0)


@settings(deadline=None, max_examples=25)
@given(st.lists(st.tuples(st.integers(0, 10), st.floats(0.1, 10.0)), min_size=1, max_size=5))
def test_a_sum_keeps_the_mean(parts):
    """However many costs are put together on a grid, their mean is the sum of their means."""
    points = [_rate(count, 2.0, 10.0, cost).points() for count, cost in parts]
    total = add_up(points)
    assert total.probabilities.sum() == pytest.approx(1.0)
    assert total.values @ total.probabilities == pytest.approx(sum(one.values @ one.probabilities for one in points))
