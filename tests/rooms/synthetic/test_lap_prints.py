"""Prints of a particle wound into a roll."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.synthetic import WoundParticle, print_laps

PARTICLE = WoundParticle(along_m=60.0, across_mm=413.0, radius_mm=150.0, thickness_mm=0.13)


@given(
    radius_mm=st.floats(40.0, 400.0),
    thickness_mm=st.floats(0.05, 0.3),
    laps=st.integers(2, 20),
    head_at_core=st.booleans(),
)
def test_prints_lie_on_one_radius(radius_mm, thickness_mm, laps, head_at_core):
    """By the area of the web wound between them, prints of the same radial line are whole laps apart."""
    particle = replace(PARTICLE, radius_mm=radius_mm, thickness_mm=thickness_mm, head_at_core=head_at_core)
    prints = print_laps(particle, laps=laps, length_m=200.0, seed=1)
    along_mm = np.array([1000.0 * (mark.along_m - 60.0) for mark in prints])
    sign = 1.0 if head_at_core else -1.0
    lap = (np.sqrt(radius_mm**2 + sign * along_mm * thickness_mm / math.pi) - radius_mm) / (sign * thickness_mm)
    assert lap == pytest.approx(np.arange(laps) - (laps - 1) // 2, abs=1e-6)


def test_nearest_laps_print_darkest():
    """Contrast falls away from the particle to either side; the lap numbers say which laps printed."""
    prints = print_laps(PARTICLE, laps=9, length_m=100.0, seed=2)
    contrast = np.array([mark.contrast for mark in prints])
    assert [mark.turn for mark in prints] == list(range(9))
    assert int(np.argmin(contrast)) in (3, 4, 5)
    assert contrast[4] < contrast[0] < 0.0
    assert contrast[4] < contrast[8] < 0.0
    assert all(mark.cause == "lap print" and mark.across_mm == 413.0 for mark in prints)
    some = print_laps(PARTICLE, laps=9, length_m=100.0, print_probability=0.5, seed=2)
    assert 0 < len(some) < 9
    assert all(mark in prints for mark in some)


def test_laps_off_the_web_do_not_print():
    """Near the head of the web only the laps on it are marked."""
    prints = print_laps(replace(PARTICLE, along_m=1.0), laps=9, length_m=3.0, seed=2)
    assert [mark.turn for mark in prints] == [3, 4, 5, 6]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"laps": 0}, "laps"),
        ({"length_m": -1.0}, "length_m"),
        ({"print_probability": 2.0}, "print_probability"),
        ({"jitter_mm": math.nan}, "jitter_mm"),
        ({"particle": replace(PARTICLE, thickness_mm=0.0)}, r"particle\.thickness_mm"),
        ({"particle": replace(PARTICLE, radius_mm=1.0)}, r"particle\.radius_mm"),
        ({"particle": replace(PARTICLE, along_m=-1.0)}, r"particle\.along_m"),
        ({"particle": replace(PARTICLE, across_mm=math.inf)}, r"particle\.across_mm"),
    ],
)
def test_an_impossible_particle_is_refused_by_name(wrong, words):
    """The error names the argument that can't be."""
    arguments = {"particle": PARTICLE, "laps": 9, "length_m": 100.0, "seed": 1} | wrong
    with pytest.raises(ArgumentError, match=words):
        print_laps(arguments.pop("particle"), **arguments)
