"""Models through strips in their places."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from wideroll.errors import ArgumentError
from wideroll.sensitometry import DeviationSeries, PlacedDeviation, Record, StripScatter, fit_places, term
from wideroll.sensitometry.placed import measured_covariance
from wideroll.synthetic.placed_strips import PlacedRecipe, make_series

_SUPPOSED = StripScatter(sd=0.01, degrees_of_freedom=4.0)


def _series(values, errors, *, runs=None, shared=0.0, scatter=_SUPPOSED, freedom=np.inf):
    points = tuple(
        PlacedDeviation(
            strip=str(n),
            run=(runs or "abcdefghijkl")[n],
            along_m=float(n),
            across_mm=0.0,
            value=float(value),
            standard_uncertainty=float(error),
            degrees_of_freedom=freedom,
            shared_uncertainty=shared,
        )
        for n, (value, error) in enumerate(zip(values, errors, strict=True))
    )
    return DeviationSeries(measure="speed", record=Record.RED, unit="log H", points=points, scatter=scatter)


def _restricted(log_variance, design, values, measured, scatter):
    """Minus twice the restricted log likelihood, straight from its definition."""
    variance = np.exp(log_variance)
    full = measured + variance * np.eye(len(values))
    inverse = np.linalg.inv(full)
    normal = design.T @ inverse @ design
    residual = values - design @ np.linalg.solve(normal, design.T @ inverse @ values)
    before = scatter.degrees_of_freedom * (log_variance + scatter.sd**2 / variance)
    return np.linalg.slogdet(full)[1] + np.linalg.slogdet(normal)[1] + residual @ inverse @ residual + before


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000), known=st.sampled_from([1.0, 4.0, 30.0]))
def test_the_scatter_is_the_one_of_greatest_restricted_likelihood(seed, known):
    """No other sd between strips gives a greater restricted likelihood than the one found."""
    rng = np.random.default_rng(seed)
    scatter = StripScatter(sd=0.01, degrees_of_freedom=known)
    series = _series(rng.normal(0, 0.03, 7), rng.uniform(0.005, 0.03, 7), runs="aabbcca", shared=0.004, scatter=scatter)
    design = np.stack([np.ones(7), np.arange(7) > 2], axis=-1).astype(float)
    fit = fit_places(series, design)
    measured = measured_covariance(series.points)
    best = optimize.minimize_scalar(
        _restricted, bounds=(-18, 0), args=(design, series.values, measured, scatter), method="bounded"
    )
    ours = _restricted(2.0 * np.log(fit.scatter_sd), design, series.values, measured, scatter)
    assert ours <= best.fun + 1e-6


def test_coefficients_are_those_of_generalised_least_squares():
    """At the scatter found, coefficients and their covariance are those of ``statsmodels`` GLS."""
    rng = np.random.default_rng(5)
    series = _series(rng.normal(0, 0.03, 8), rng.uniform(0.01, 0.03, 8), runs="aabbaabb", shared=0.008)
    design = np.stack([np.ones(8), np.arange(8) > 3, np.arange(8) - 3.5], axis=-1).astype(float)
    fit = fit_places(series, design)
    theirs = sm.GLS(
        series.values, design, sigma=measured_covariance(series.points) + fit.scatter_sd**2 * np.eye(8)
    ).fit()
    np.testing.assert_allclose(fit.coefficients, theirs.params, rtol=1e-8)
    np.testing.assert_allclose(fit.covariance, theirs.normalized_cov_params, rtol=1e-8)
    np.testing.assert_allclose(fit.weights @ series.values, fit.coefficients, rtol=1e-8)


def test_without_any_uncertainty_a_fit_is_ordinary_least_squares():
    """With nothing measured and nothing supposed, intervals and p-values are the exact t ones of OLS."""
    rng = np.random.default_rng(6)
    unknown = StripScatter(sd=0.0, degrees_of_freedom=0.0)
    series = _series(rng.normal(0, 0.03, 9), np.zeros(9), scatter=unknown)
    design = np.stack([np.ones(9), np.arange(9.0)], axis=-1)
    found = term(fit_places(series, design), np.array([0.0, 1.0]))
    theirs = sm.OLS(series.values, design).fit()
    assert found.p_value == pytest.approx(theirs.pvalues[1], rel=1e-6)
    assert (found.low, found.high) == pytest.approx(tuple(theirs.conf_int()[1]), rel=1e-6)


def test_what_strips_of_a_run_share_is_not_averaged_away():
    """However many strips one run has, their mean is known no better than the run's shared error."""
    alike = _series(np.zeros(12), np.full(12, 0.02), runs="a" * 12, shared=0.015)
    apart = _series(np.zeros(12), np.full(12, 0.02), shared=0.015)
    errors = [term(fit_places(one, np.ones((12, 1))), np.ones(1)).standard_error for one in (alike, apart)]
    assert errors[0] > 0.015
    assert errors[1] < 0.008


def test_a_step_within_one_run_does_not_feel_the_shared_error():
    """Strips of one run on both sides of a border tell a step as well as if they shared nothing."""
    design = np.stack([np.ones(8), np.arange(8) > 3], axis=-1).astype(float)
    errors = [
        term(fit_places(_series(np.zeros(8), np.full(8, whole), runs="a" * 8, shared=shared), design), np.eye(2)[1])
        for whole, shared in ((0.01, 0.0), (np.hypot(0.01, 0.03), 0.03))
    ]
    assert errors[0].standard_error == pytest.approx(errors[1].standard_error, rel=1e-4)


@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.01, 100.0), lift=st.floats(-1.0, 1.0))
def test_units_and_level_do_not_matter(seed, scale, lift):
    """In other units, or with a level added to all strips, a step has the same p-value."""
    series = make_series(PlacedRecipe(places=[(float(n), 0.0) for n in range(6)], seed=seed, scatter_sd=0.01))
    moved = DeviationSeries(
        measure="speed",
        record=Record.RED,
        unit="",
        scatter=StripScatter(sd=0.01 * scale, degrees_of_freedom=4.0),
        points=tuple(
            PlacedDeviation(
                strip=p.strip,
                run=p.run,
                along_m=p.along_m,
                across_mm=p.across_mm,
                value=scale * (p.value + lift),
                standard_uncertainty=scale * p.standard_uncertainty,
                degrees_of_freedom=p.degrees_of_freedom,
                shared_uncertainty=scale * p.shared_uncertainty,
            )
            for p in series.points
        ),
    )
    design = np.stack([np.ones(6), np.arange(6) > 2], axis=-1).astype(float)
    one, other = (term(fit_places(s, design), np.eye(2)[1]) for s in (series, moved))
    assert other.p_value == pytest.approx(one.p_value, rel=1e-4)
    assert other.value == pytest.approx(scale * one.value, rel=1e-4, abs=1e-9 * scale)


def test_columns_that_places_cannot_tell_apart_are_refused():
    """A model finer than the strips support is an error that says how many strips there are."""
    series = _series(np.zeros(3), np.full(3, 0.01))
    with pytest.raises(ArgumentError, match="tell apart") as refused:
        fit_places(series, np.ones((3, 2)))
    assert refused.value.value == "2 columns, 3 strips"


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"value": float("nan")}, "a number"),
        ({"standard_uncertainty": float("inf")}, "a number"),
        ({"shared_uncertainty": 0.03}, "from 0 to the whole"),
        ({"shared_uncertainty": -0.01}, "from 0 to the whole"),
    ],
)
def test_impossible_uncertainties_are_refused(changed, rule):
    """A value that isn't a number, or a shared part greater than the whole, is named with its strip."""
    good = {"strip": "S-7", "run": "1", "along_m": 1.0, "across_mm": 0.0, "value": 0.0, "standard_uncertainty": 0.02}
    with pytest.raises(ArgumentError, match=rule) as refused:
        measured_covariance([PlacedDeviation(**(good | changed))])
    assert "S-7" in refused.value.where
