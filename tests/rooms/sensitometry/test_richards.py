import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.sensitometry.richards import density_of, gradient_of, inflection_of, jacobian_of, log_h_of
from wideroll.sensitometry.shape import shape_of

PLACES = np.linspace(-3.0, 0.5, 29)
CURVES = st.tuples(
    st.floats(0.0, 1.0), st.floats(0.3, 4.0), st.floats(-8.0, 8.0), st.floats(0.4, 8.0), st.floats(0.05, 4.0)
).map(np.array)


def plain(p, x):
    """The formula as it is written."""
    return p[0] + p[1] / (1.0 + np.exp(p[2] - p[3] * x)) ** (1.0 / p[4])


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
    back = log_h_of(parameters, density_of(parameters, PLACES))
    assert back[steep] == pytest.approx(PLACES[steep], abs=1e-6)


@given(CURVES)
@settings(max_examples=40, deadline=None)
def test_derivatives_agree_with_differences(parameters):
    """Slope and Jacobian agree with central differences."""
    step = 1e-6
    slope = (density_of(parameters, PLACES + step) - density_of(parameters, PLACES - step)) / (2 * step)
    assert gradient_of(parameters, PLACES) == pytest.approx(slope, abs=1e-6)
    jacobian = jacobian_of(parameters, PLACES)
    for column in range(5):
        move = np.zeros(5)
        move[column] = step
        change = (density_of(parameters + move, PLACES) - density_of(parameters - move, PLACES)) / (2 * step)
        assert jacobian[:, column] == pytest.approx(change, rel=1e-4, abs=1e-5)


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
    """A curve put into inner coordinates is the same curve, and its compiled density and slopes are right."""
    parameters = parameters * [1, 1, 1, sign, 1]
    shape = shape_of(parameters)
    assert shape.parameters() == pytest.approx(parameters, rel=1e-9, abs=1e-12)
    assert shape.density(PLACES) == pytest.approx(density_of(parameters, PLACES), abs=1e-9)
    step = 1e-5
    for column, slope in enumerate(shape.slopes(PLACES)):
        moves = step * np.eye(5)[column]
        ahead, behind = (shape.at(shape.theta + move).density(PLACES) for move in (moves, -moves))
        assert slope == pytest.approx((ahead - behind) / (2 * step), rel=1e-4, abs=1e-5)
