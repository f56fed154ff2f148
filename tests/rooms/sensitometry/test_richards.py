import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.sensitometry.richards import (
    density_of,
    gradient_of,
    inflection_of,
    jacobian_of,
    log_h_of,
    slope_place_on,
)
from wideroll.sensitometry.shape import inner_of, natural_of

PLACES = np.linspace(-3.0, 0.5, 29)
SKEWS = st.one_of(st.floats(-0.45, -0.01), st.floats(0.01, 4.0), st.just(0.0))
CURVES = st.tuples(st.floats(0.0, 1.0), st.floats(0.3, 4.0), st.floats(-3.0, 0.0), st.floats(0.4, 8.0), SKEWS).map(
    np.array
)


def plain(p, x):
    """The formula as it is written; Gompertz's where the skew is nil, the minimum before the toe begins."""
    low, rise, place, k, q = p
    e = np.exp(-k * (x - place))
    if q == 0.0:
        return low + rise * np.exp(-e)
    return low + rise * np.maximum(1.0 + q * e, 0.0) ** (-1.0 / q)


@given(CURVES, st.sampled_from([1.0, -1.0]))
@settings(max_examples=60, deadline=None)
def test_density_is_the_plain_formula(parameters, sign):
    """The guarded form equals the formula as it is written, rising or falling."""
    parameters = parameters * [1, 1, 1, sign, 1]
    assert density_of(parameters, PLACES) == pytest.approx(plain(parameters, PLACES), abs=1e-10)


@given(CURVES, st.sampled_from([1.0, -1.0]))
@settings(max_examples=60, deadline=None)
def test_log_h_undoes_density(parameters, sign):
    """Reading log H at the density of a place gives the place, wherever the curve isn't flat."""
    parameters = parameters * [1, 1, 1, sign, 1]
    steep = np.abs(gradient_of(parameters, PLACES)) > 1e-4
    share = (density_of(parameters, PLACES) - parameters[0]) / parameters[1]
    steep &= (share > 1e-6) & (share < 1.0 - 1e-6)
    back = log_h_of(parameters, density_of(parameters, PLACES))
    assert back[steep] == pytest.approx(PLACES[steep], abs=1e-6)


@given(CURVES)
@settings(max_examples=40, deadline=None)
def test_derivatives_agree_with_differences(parameters):
    """Slope and Jacobian agree with central differences, on both sides of Gompertz's curve and on it."""
    step = 1e-6
    slope = (density_of(parameters, PLACES + step) - density_of(parameters, PLACES - step)) / (2 * step)
    assert gradient_of(parameters, PLACES) == pytest.approx(slope, abs=2e-6)
    jacobian = jacobian_of(parameters, PLACES)
    for column in range(5):
        move = np.zeros(5)
        move[column] = step
        change = (density_of(parameters + move, PLACES) - density_of(parameters - move, PLACES)) / (2 * step)
        assert jacobian[:, column] == pytest.approx(change, rel=1e-4, abs=1e-4)


@pytest.mark.parametrize("skew", [1e-10, 1e-7, 1e-4])
def test_the_family_runs_smoothly_through_gompertz(skew):
    """A hair's breadth to either side of skew 0 the curve and its slope by the skew are Gompertz's, to rounding."""
    around = [np.array([0.2, 2.0, -1.2, 3.0, q]) for q in (-skew, 0.0, skew)]
    below, at, above = (density_of(p, PLACES) for p in around)
    assert below == pytest.approx(at, abs=30 * skew + 1e-9)
    assert above == pytest.approx(at, abs=30 * skew + 1e-9)
    slopes = [jacobian_of(p, PLACES)[:, 4] for p in around]
    assert slopes[0] == pytest.approx(slopes[2], abs=300 * skew + 1e-6)


def test_a_toe_with_a_negative_skew_ends():
    """Before the end of its toe a curve of negative skew lies on its minimum exactly, and there are no log H below."""
    curve = np.array([0.2, 2.0, -1.2, 3.0, -0.3])
    end = -1.2 + math.log(0.3) / 3.0
    assert density_of(curve, np.array([end - 1e-9, end - 1.0])).tolist() == [0.2, 0.2]
    assert log_h_of(curve, np.array(0.2 + 1e-12)) == pytest.approx(end, abs=1e-3)


@given(CURVES)
@settings(max_examples=40, deadline=None)
def test_no_slope_is_greater_than_at_the_inflection(parameters):
    """The greatest slope lies where the inflection is said to be."""
    greatest = gradient_of(parameters, inflection_of(parameters))
    around = inflection_of(parameters) + np.linspace(-2.0, 2.0, 401)
    assert gradient_of(parameters, around).max() <= greatest * (1 + 1e-12)


def test_densities_off_the_curve_have_no_log_h(negative):
    """Below the minimum and above the maximum there is no log H, and nothing warns."""
    low, rise = negative[:2]
    assert np.isnan(log_h_of(negative, np.array([low - 0.1, low, low + rise, low + rise + 0.1, np.nan]))).all()


@given(CURVES, st.sampled_from([1.0, -1.0]))
@settings(max_examples=40, deadline=None)
def test_inner_coordinates_are_the_same_curve(parameters, sign):
    """A curve put into inner coordinates and back is the same curve."""
    parameters = parameters * [1, 1, 1, sign, 1]
    assert natural_of(*inner_of(parameters)) == pytest.approx(parameters, rel=1e-9, abs=1e-12)


@given(CURVES, st.sampled_from([1.0, -1.0]), st.floats(0.1, 0.9))
@settings(max_examples=40, deadline=None)
def test_the_slope_has_fallen_off_where_it_is_said_to(parameters, sign, share):
    """At the two places found, one on each side, the slope is the share asked of the greatest."""
    parameters = parameters * [1, 1, 1, sign, 1]
    greatest = abs(float(gradient_of(parameters, parameters[2])))
    ends = [slope_place_on(parameters, share, side) for side in (-1.0, 1.0)]
    assert ends[0] < parameters[2] < ends[1]
    for end in ends:
        assert abs(float(gradient_of(parameters, np.array(end)))) == pytest.approx(share * greatest, rel=1e-6)
