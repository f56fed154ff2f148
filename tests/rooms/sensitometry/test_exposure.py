import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import log_exposure, step_tablet


def test_usual_tablet():
    """The usual tablet has 21 steps of 0.15 from clear to 3.00, exactly."""
    assert step_tablet().tolist() == [round(0.15 * step, 2) for step in range(21)]


def test_exposure_behind_a_step():
    """1000 lx for 1/100 s give 10 lx·s in the clear and a tenth of it behind a density of 1."""
    assert log_exposure(1000.0, 0.01, [0.0, 1.0]).tolist() == pytest.approx([1.0, 0.0], abs=1e-12)


@given(st.floats(1e-3, 1e6), st.floats(1e-6, 1e3))
@settings(max_examples=40, deadline=None)
def test_twice_the_time_adds_the_log_of_two(illuminance, time):
    """Doubling the time, or the light, moves every step by log10 2."""
    once = log_exposure(illuminance, time, step_tablet())
    assert np.allclose(log_exposure(illuminance, 2 * time, step_tablet()) - once, np.log10(2.0), atol=1e-9)
    assert np.allclose(log_exposure(2 * illuminance, time, step_tablet()) - once, np.log10(2.0), atol=1e-9)


@pytest.mark.parametrize(
    ("illuminance", "time", "steps", "where"),
    [
        (0.0, 1.0, [0.0], "illuminance_lx"),
        (1.0, -1.0, [0.0], "time_s"),
        (1.0, float("nan"), [0.0], "time_s"),
        (1.0, 1.0, [0.0, float("nan")], "step_density"),
        (1.0, 1.0, [[0.0]], "step_density"),
    ],
)
def test_impossible_exposures_are_refused(illuminance, time, steps, where):
    """An impossible exposure is refused by the name of its argument."""
    with pytest.raises(ArgumentError) as caught:
        log_exposure(illuminance, time, steps)
    assert caught.value.where == where


@pytest.mark.parametrize(("steps", "increment"), [(1, 0.15), (21, 0.0), (21, float("inf"))])
def test_impossible_tablets_are_refused(steps, increment):
    """A tablet needs two steps and a positive, finite increment."""
    with pytest.raises(ArgumentError):
        step_tablet(steps, increment)
