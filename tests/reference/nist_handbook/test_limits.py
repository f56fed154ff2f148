"""Limits for a new value and for an outlier agree with the handbook's tables and examples."""

import pytest

from wideroll.control import outlier_limit, prediction_factor

_ROSNER_LIMITS = (3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085)


def test_grubbs_limit_is_the_published_one():
    """Eight masses, one-sided at 5 % (two-sided at 10 %): the handbook prints 2.032 (1.3.5.17.1)."""
    assert outlier_limit(8, 0.10) == pytest.approx(2.032, abs=5e-4)


@pytest.mark.parametrize(("taken", "limit"), list(enumerate(_ROSNER_LIMITS)))
def test_limits_of_extreme_studentised_deviates_are_the_published_ones(taken, limit):
    """With so many of 54 values taken away, at 5 %: the handbook's ten limits, cut to three decimals (1.3.5.17.3)."""
    assert 0.0 <= outlier_limit(54 - taken, 0.05) - limit < 0.001


@pytest.mark.parametrize(
    ("freedom", "level", "t"), [(9, 0.05, 2.262), (19, 0.01, 2.861), (10, 0.002, 4.144), (30, 0.002, 3.385)]
)
def test_prediction_factor_is_students_t_widened(freedom, level, t):
    """The factor is the tabled t (1.3.6.7.2) times √(1 + 1/n)."""
    count = freedom + 1
    assert prediction_factor(count, level) == pytest.approx(t * (1.0 + 1.0 / count) ** 0.5, abs=6e-4)
