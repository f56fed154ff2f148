"""Worked values of JCGM 106:2012 as remembered; SOURCE.md says how surely."""

import pytest

from wideroll.release.conformance import conformance_probability, global_risks, guard_band


def test_breakdown_voltage():
    """One upper limit, 1.4 uncertainties away."""
    assert conformance_probability(-5.47, 0.05, upper=-5.40) == pytest.approx(0.9192, abs=5e-5)


def test_viscosity():
    """Two limits, of which the lower is the nearer."""
    assert conformance_probability(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(0.66, abs=0.005)
    assert conformance_probability(13.6, 1.8, upper=16.3) == pytest.approx(0.9332, abs=5e-5)
    assert conformance_probability(13.6, 1.8, upper=12.5) == pytest.approx(0.2706, abs=5e-5)


@pytest.mark.parametrize(
    ("probability", "in_uncertainties"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_guard_bands(probability, in_uncertainties):
    """The table of guard bands, to its two decimals; a second limit that is far away changes none of them."""
    for width in (float("inf"), 40.0):
        assert guard_band(1.0, 1.0 - probability, width=width) == pytest.approx(in_uncertainties, abs=0.0051)


@pytest.mark.parametrize(("freedom", "quantile"), [(8, 1.860), (3, 2.353)])
def test_guard_bands_with_few_degrees_of_freedom(freedom, quantile):
    """Student's quantile takes the normal one's place."""
    assert guard_band(2.0, 0.05, degrees_of_freedom=freedom) == pytest.approx(2.0 * quantile, abs=0.0011)


def test_resistors():
    """Simple acceptance of resistors: one in ten is out of tolerance, 1 % get through, 2 % are lost."""
    made = conformance_probability(1500.0, 0.12, lower=1499.8, upper=1500.2)
    risks = global_risks(1500.0, 0.12, 0.02, lower=1499.8, upper=1500.2)
    assert 1.0 - made == pytest.approx(0.10, abs=0.005)
    assert (round(risks.consumer, 2), round(risks.producer, 2)) == (0.01, 0.02)
