"""Folding, and the tests on phases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.repeats import fold, h_test, rayleigh_test

PLACES = st.lists(st.floats(-1e4, 1e4), max_size=30).map(np.array)


@given(along=PLACES, spacing=st.floats(0.01, 10.0))
def test_phases_lie_within_one_turn(along, spacing):
    """A phase is at least 0 and less than 1, and a whole number of turns away from its place."""
    phases = fold(along, spacing)
    assert ((phases >= 0.0) & (phases < 1.0)).all()
    turns = along / spacing - phases
    assert turns == pytest.approx(np.round(turns), abs=1e-6)


@given(phases=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=60).map(np.array), shift=st.floats(0.0, 1.0))
def test_statistics_do_not_depend_on_where_a_turn_begins(phases, shift):
    """Turning all phases changes neither statistic; probabilities stay between 0 and 1."""
    for test in (rayleigh_test, h_test):
        plain, turned = test(phases), test(phases + shift)
        assert turned.statistic == pytest.approx(plain.statistic, abs=1e-6)
        assert 0.0 <= plain.probability <= 1.0


def test_gathered_phases_are_told_from_even_ones():
    """Phases about one direction are improbable without preference, evenly spread ones aren't."""
    rng = np.random.default_rng(5)
    gathered, spread = 0.3 + 0.03 * rng.standard_normal(40), (np.arange(40) + 0.5) / 40
    assert rayleigh_test(gathered).probability < 1e-10
    assert h_test(gathered).probability < 1e-10
    assert rayleigh_test(spread).probability > 0.5
    assert h_test(spread).statistic < 0.0 or h_test(spread).probability > 0.5


def test_no_phases_prove_nothing():
    """Without marks both tests give probability 1."""
    nothing = np.empty(0)
    assert rayleigh_test(nothing).probability == h_test(nothing).probability == 1.0
    assert fold(nothing, 1.0).size == 0


@pytest.mark.parametrize("spacing", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_spacing_is_refused(spacing):
    """Folding needs a spacing greater than 0."""
    with pytest.raises(ArgumentError, match="spacing_m: must be greater than 0"):
        fold(np.array([1.0]), spacing)


@pytest.mark.parametrize("test", [rayleigh_test, h_test])
def test_phases_that_are_not_finite_are_refused(test):
    """NaN among the phases is an error, not a statistic."""
    with pytest.raises(ArgumentError, match="phases: must be a row of finite numbers"):
        test(np.array([0.1, np.nan]))
