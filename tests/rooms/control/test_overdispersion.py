"""Counts that come in clusters widen their limits, and are said to."""

import numpy as np
import pytest

from wideroll.control import c_chart, freeze_counts, u_chart
from wideroll.errors import ArgumentError


def _counts(clusters, areas, seed=1):
    """Counts of 2 a unit of area; clusters above 0 make the rate itself vary by so much."""
    generator = np.random.Generator(np.random.PCG64(seed))
    rates = 2.0 * (generator.gamma(1.0 / clusters, clusters, len(areas)) if clusters else np.ones(len(areas)))
    return generator.poisson(rates * areas).tolist()


def test_clustered_counts_are_corrected_and_poisson_counts_are_not():
    """Sigma of z is near 1 for Poisson counts and far above for clusters, which then rarely break the wider limits."""
    areas = [10.0 + 5.0 * (n % 7) for n in range(300)]
    plain, clustered = (u_chart(_counts(clusters, areas), areas) for clusters in (0.0, 0.1))
    assert plain.spread.sigma_z == pytest.approx(1.0, abs=0.1)
    assert not plain.spread.corrected
    assert clustered.spread.sigma_z > 1.8
    assert clustered.spread.corrected
    assert "as wide as Poisson's (Laney)" in clustered.limits.basis
    beyond = [
        sum("one point" in one.rule for one in chart.breaks)
        for chart in (clustered, u_chart(_counts(0.1, areas), areas, correction="never"))
    ]
    assert beyond[0] < 8
    assert beyond[1] > 30


def test_the_test_calls_poisson_counts_clustered_as_seldom_as_it_says():
    """Of 1000 base periods of 25 Poisson counts at most about 1 % are corrected."""
    corrected = sum(u_chart(_counts(0.0, [4.0] * 25, seed), [4.0] * 25).spread.corrected for seed in range(1000))
    assert corrected <= 20


def test_a_step_alone_is_no_overdispersion():
    """A rate that steps once is overdispersed as a whole, but sigma of z, from neighbours, stays near 1."""
    spread = u_chart([*_counts(0.0, [10.0] * 50), *_counts(0.0, [20.0] * 50)], [10.0] * 100).spread
    assert spread.p_value < 1e-6
    assert spread.sigma_z < 1.6


def test_limits_widen_by_exactly_sigma_z():
    """Always corrected limits lie sigma of z times as far from the centre as never corrected ones."""
    counts, areas = [40, 90, 35, 80, 50], [20.0, 30.0, 20.0, 30.0, 25.0]
    wide, narrow = (u_chart(counts, areas, correction=how) for how in ("always", "never"))
    for one, other in zip(wide.each, narrow.each, strict=True):
        assert one.high - one.centre == pytest.approx(wide.spread.sigma_z * (other.high - other.centre))
    assert (wide.spread.corrected, narrow.spread.corrected) == (True, False)
    assert narrow.spread.sigma_z == wide.spread.sigma_z


def test_one_point_says_nothing_of_the_spread():
    """With a single point, or none found, there is no sigma of z, and asking for it is refused."""
    assert c_chart([4]).spread is None
    assert c_chart([0, 0, 0]).spread is None
    with pytest.raises(ArgumentError, match="sigma of z needs at least two points"):
        c_chart([4], correction="always")


def test_frozen_spread_judges_later_counts():
    """The spread of a frozen base period widens the limits of rolls that came after."""
    areas = [10.0] * 40
    frozen = freeze_counts(_counts(0.2, areas), areas, labels=[str(n) for n in range(40)], name="spring")
    chart = u_chart([38], [10.0], frozen=frozen)
    assert chart.spread == frozen.spread
    assert chart.breaks == ()
    assert u_chart([38], [10.0], frozen=frozen, correction="never").breaks[0].rule == "one point above the upper limit"
