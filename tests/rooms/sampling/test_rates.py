"""Rates and the area that proves a limit."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from wideroll.errors import ArgumentError
from wideroll.sampling import area_needed, rate_limits

COUNTS = st.integers(0, 200)
EXTENTS = st.floats(0.01, 1e4)
CONFIDENCES = st.floats(0.5, 0.999)


@given(count=COUNTS, extent=EXTENTS, confidence=CONFIDENCES)
def test_limits_have_the_tails_they_state(count, extent, confidence):
    """At each limit a count as extreme as the one found has just the stated tail (oracle: Poisson tails)."""
    found = rate_limits(count, extent, confidence)
    tail = (1 - confidence) / 2
    assert poisson.cdf(count, found.high * extent) == pytest.approx(tail, rel=1e-6)
    if count:
        assert poisson.sf(count - 1, found.low * extent) == pytest.approx(tail, rel=1e-6)
    else:
        assert found.low == 0.0


@given(count=COUNTS, extent=EXTENTS, factor=st.floats(0.001, 1000))
def test_changing_the_unit_of_extent_scales_the_rate(count, extent, factor):
    """The same look stated in another unit gives the same limits in that unit."""
    one, other = rate_limits(count, extent), rate_limits(count, extent * factor)
    assert other.low * factor == pytest.approx(one.low, rel=1e-9)
    assert other.high * factor == pytest.approx(one.high, rel=1e-9)


@given(count=COUNTS, confidence=CONFIDENCES)
def test_more_marks_and_more_confidence(count, confidence):
    """A further mark raises both limits, more confidence widens the interval, and the rate lies inside."""
    one, more, surer = (
        rate_limits(count, 1.0, confidence),
        rate_limits(count + 1, 1.0, confidence),
        rate_limits(count, 1.0, (1 + confidence) / 2),
    )
    assert one.low <= one.rate <= one.high
    assert more.low > one.low
    assert more.high > one.high
    assert surer.low <= one.low
    assert surer.high > one.high


@given(limit=st.floats(1e-3, 1e3), confidence=st.floats(0.51, 0.999))
def test_no_mark_in_the_area_needed_proves_the_limit(limit, confidence):
    """With no mark in just that area, the one-sided upper limit is the limit itself."""
    area = area_needed(limit, confidence)
    assert math.exp(-limit * area) == pytest.approx(1 - confidence, rel=1e-9)
    assert rate_limits(0, area, 2 * confidence - 1).high == pytest.approx(limit, rel=1e-6)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: rate_limits(-1, 1.0), "count"),
        (lambda: rate_limits(1, 0.0), "extent"),
        (lambda: rate_limits(1, math.nan), "extent"),
        (lambda: rate_limits(1, 1.0, 1.0), "confidence"),
        (lambda: area_needed(0.0), "limit"),
        (lambda: area_needed(1.0, 0.0), "confidence"),
    ],
)
def test_impossible_arguments_are_named(call, named):
    """An impossible argument gives an error that names it."""
    with pytest.raises(ArgumentError, match=f"^{named}:"):
        call()
