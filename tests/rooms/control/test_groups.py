"""Charts of groups know how many values each group has."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.control import range_chart, range_constants, xbar_chart
from wideroll.errors import ArgumentError

# ASTM E2587 and textbooks, from memory: size, d2, d3, D3, D4
_TABLED = [
    (2, 1.128, 0.853, 0.0, 3.267),
    (3, 1.693, 0.888, 0.0, 2.574),
    (4, 2.059, 0.880, 0.0, 2.282),
    (5, 2.326, 0.864, 0.0, 2.114),
    (7, 2.704, 0.833, 0.076, 1.924),
    (10, 3.078, 0.797, 0.223, 1.777),
    (25, 3.931, 0.708, 0.459, 1.541),
]


@pytest.mark.parametrize(("size", "d2", "d3", "low", "high"), _TABLED)
def test_constants_of_ranges_are_the_tabled_ones(size, d2, d3, low, high):
    """Constants computed from the range's distribution are the tabled ones, but for one of the last digit."""
    found = range_constants(size)
    assert (round(found.d2, 3), found.d3) == (d2, pytest.approx(d3, abs=5.1e-4))
    assert (found.low_factor, found.high_factor) == (pytest.approx(low, abs=1e-3), pytest.approx(high, abs=1e-3))


def test_constants_of_two_are_exact():
    """For two values d2 is 2⁄√π and d3 √(2 − 4⁄π)."""
    found = range_constants(2)
    assert found.d2 == pytest.approx(2.0 / np.pi**0.5, abs=1e-9)
    assert found.d3 == pytest.approx((2.0 - 4.0 / np.pi) ** 0.5, abs=1e-9)


def test_a_small_group_is_given_wider_limits():
    """Where groups differ in size each has its own limits, narrower for the mean of more values."""
    groups = [[1.0, 1.4], [0.9, 1.1, 1.2, 1.0], [1.1, 1.3, 0.8]]
    means, ranges = xbar_chart(groups), range_chart(groups)
    widths = [one.high - one.low for one in means.each]
    assert widths[0] > widths[2] > widths[1]
    assert ranges.each[1].centre > ranges.each[2].centre > ranges.each[0].centre
    assert xbar_chart([[1.0, 1.4], [0.9, 1.1]]).each == ()


def test_steady_groups_rarely_pass_a_limit():
    """Of 4000 steady groups of unequal size about 0.27 % of the means lie beyond, and few ranges."""
    generator = np.random.Generator(np.random.PCG64(6))
    groups = [generator.normal(size=2 + number % 4).tolist() for number in range(4000)]
    beyond = [one for one in xbar_chart(groups).breaks if one.rule.startswith("one point")]
    assert 2 <= len(beyond) <= 22
    assert len(range_chart(groups).breaks) < 60


@given(
    groups=st.lists(st.lists(st.floats(-10, 10), min_size=3, max_size=3), min_size=2, max_size=8),
    shift=st.floats(-5, 5),
    scale=st.floats(0.1, 10),
)
def test_a_change_of_unit_changes_group_charts_alike(groups, shift, scale):
    """Limits of means move and stretch with the unit, those of ranges stretch only."""
    moved = [[shift + scale * value for value in group] for group in groups]
    mean, other = xbar_chart(groups).limits, xbar_chart(moved).limits
    assert other.high == pytest.approx(shift + scale * mean.high, abs=1e-6)
    assert range_chart(moved).limits.high == pytest.approx(scale * range_chart(groups).limits.high, abs=1e-6)


@pytest.mark.parametrize("size", [1, 101])
def test_groups_of_impossible_size_are_refused(size):
    """A single value has no range, and more than 100 want another chart."""
    with pytest.raises(ArgumentError, match="2 to 100 values"):
        xbar_chart([[1.0] * size])
