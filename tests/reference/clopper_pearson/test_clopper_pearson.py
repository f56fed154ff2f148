"""Exact limits of a share against printed values and statsmodels."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from wideroll.sampling import share_limits


@pytest.mark.parametrize(("of", "upper"), [(7, 0.348), (20, 0.139), (34, 0.0843), (38, 0.0758)])
def test_none_of_so_many(of, upper):
    """With none found the one-sided upper limit is the printed one."""
    assert share_limits(0, of, 0.90)[1] == pytest.approx(upper, abs=6e-4)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(0, 20, 0.0, 0.16843), (1, 20, 0.001265, 0.24873), (5, 50, 0.03328, 0.21814), (10, 100, 0.04900, 0.17622)],
)
def test_two_sided_values(count, of, low, high):
    """Both limits equal the listed ones to their digits."""
    assert share_limits(count, of) == pytest.approx((low, high), abs=5.1e-6)


@given(of=st.integers(1, 500), share=st.floats(0, 1), confidence=st.floats(0.5, 0.999))
def test_statsmodels_agrees(of, share, confidence):
    """Any count has the limits that statsmodels gives."""
    count = round(share * of)
    theirs = proportion_confint(count, of, alpha=1 - confidence, method="beta")
    assert share_limits(count, of, confidence) == pytest.approx(theirs, abs=1e-9)
