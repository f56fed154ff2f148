"""From which size on marks are seen."""

import math

import numpy as np
import pytest
import statsmodels.api as sm

from wideroll.errors import ArgumentError
from wideroll.scan.detection import FitMethod, Reach
from wideroll.workflow.hit_miss import fit_sizes


def trials(seed=1, count=300, half_mm=0.3, steep=4.0):
    """Sizes, and whether each was seen."""
    random = np.random.Generator(np.random.PCG64(seed))
    sizes = np.round(np.exp(random.uniform(math.log(0.1), math.log(2.0), count)), 2)
    seen = random.random(count) < 1.0 / (1.0 + (half_mm / sizes) ** steep)
    return sizes.tolist(), seen.tolist()


def test_the_fit_is_that_of_statsmodels():
    """Coefficients and the probability that size makes no difference agree."""
    sizes, seen = trials()
    other = sm.Logit(np.array(seen, float), sm.add_constant(np.log(sizes))).fit(disp=0)
    found = fit_sizes(sizes, seen)
    assert found.coefficients == pytest.approx(tuple(other.params), rel=1e-6)
    assert found.slope_p == pytest.approx(other.llr_pvalue, rel=1e-4, abs=1e-30)
    assert found.method is FitMethod.LIKELIHOOD


def test_the_bound_is_where_the_likelihood_ratio_says():
    """At a90/95 the likelihood with 0.9 held there is less by z²/2 (oracle: a fit with an offset)."""
    sizes, seen = trials()
    found = fit_sizes(sizes, seen)
    assert found.a50.size_mm < found.a90.size_mm < found.a90_95.size_mm
    x = np.log(sizes) - math.log(found.a90_95.size_mm)
    held = sm.GLM(
        np.array(seen, float), x[:, None], family=sm.families.Binomial(), offset=np.full(len(x), math.log(9.0))
    ).fit()
    free = sm.GLM(np.array(seen, float), sm.add_constant(x), family=sm.families.Binomial()).fit()
    assert 2.0 * (free.llf - held.llf) == pytest.approx(1.644854**2, rel=1e-4)


def test_the_true_size_is_below_the_bound_nine_times_of_ten_or_more():
    """Over 120 invented examiners a90/95 lies above the true a90 in at least 90 of 100."""
    true = 0.3 * 9.0 ** (1.0 / 4.0)
    above = sum(fit_sizes(*trials(seed, 120)).a90_95.size_mm >= true for seed in range(120))
    assert above >= 108


def test_separated_sizes_are_fitted_all_the_same():
    """Where all above a size were seen and none below, the penalised likelihood is used and named."""
    sizes = [0.1 + 0.01 * n for n in range(80)]
    found = fit_sizes(sizes, [size > 0.5 for size in sizes])
    assert found.method is FitMethod.FIRTH
    assert found.a50.size_mm == pytest.approx(0.5, abs=0.02)
    assert found.rises


def test_nothing_is_extrapolated():
    """Where even the largest is seen too seldom, the size is that of the largest, and the sign says so."""
    sizes, seen = trials(half_mm=3.0)
    found = fit_sizes(sizes, seen)
    assert (found.a90.reach, found.a90.size_mm) == (Reach.ABOVE, max(sizes))


def test_sizes_that_make_no_difference_rise_nowhere():
    """Where large ones aren't seen more often, the curve says so."""
    random = np.random.Generator(np.random.PCG64(5))
    sizes, _ = trials()
    assert not fit_sizes(sizes, (random.random(len(sizes)) < 0.5).tolist()).rises


@pytest.mark.parametrize(
    ("sizes", "seen"),
    [
        ([0.5] * 80, [True, False] * 40),
        ([0.1, 0.2] * 20, [True, False] * 20),
        ([0.1, 0.2] * 40, [True] * 78 + [False] * 2),
    ],
)
def test_too_little_is_refused_with_what_is_needed(sizes, seen):
    """One size, too few marks, or too few not seen: the number needed is said."""
    with pytest.raises(ArgumentError, match="at least 60 marks of several sizes, 5 of them seen and 5 not"):
        fit_sizes(sizes, seen)
