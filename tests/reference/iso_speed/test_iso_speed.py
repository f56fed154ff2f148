"""Speeds against the worked values and the scale beside this file."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from wideroll.sensitometry import arc_angle, iso6_speed, iso2240_speed, iso5800_speed, round_speed


@pytest.fixture(scope="module")
def scale():
    """Rows of the scale as issued."""
    lines = Path(__file__).with_name("iso_speed_scale.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_iso_6_worked_value():
    """Black-and-white film that needs 0.0080 lx·s has ISO 100."""
    assert iso6_speed(0.0080) == pytest.approx(100.0, rel=1e-12)


def test_iso_5800_worked_value():
    """Colour negative with its blue record slowest at 0.0160 lx·s and green at 0.0125 has ISO 100/21°."""
    speed = iso5800_speed(h_red=0.0140, h_green=0.0125, h_blue=0.0160)
    assert math.sqrt(2.0) / speed == pytest.approx(0.0141421, abs=5e-8)
    assert speed == pytest.approx(100.0, rel=1e-12)
    assert round_speed(speed) == (100, 21)


def test_iso_5800_with_green_slowest():
    """When green is the slowest record, its exposure alone counts."""
    assert iso5800_speed(h_red=0.01, h_green=0.02, h_blue=0.01) == pytest.approx(math.sqrt(2.0) / 0.02, rel=1e-12)


def test_iso_2240_worked_value():
    """Reversal film with points at 1.0 and 0.01 lx·s has ISO 100."""
    assert iso2240_speed(h_t=1.0, h_s=0.01) == pytest.approx(100.0, rel=1e-12)


def test_each_member_of_the_scale_rounds_to_itself(scale):
    """Every arithmetic value of the scale has the degree printed beside it."""
    assert len(scale) == 31
    for row in scale:
        assert round_speed(float(row["arithmetic"])) == (int(row["arithmetic"]), int(row["degree"]))


def test_class_edges(scale):
    """Just inside its edges a speed belongs to the class; just outside it doesn't."""
    for row in scale:
        expected = (int(row["arithmetic"]), int(row["degree"]))
        low, high = float(row["lower_log_mid"]), float(row["upper_log_mid"])
        assert round_speed(low * 1.001) == expected == round_speed(high * 0.999)
        assert round_speed(low * 0.999) != expected != round_speed(high * 1.001)


def test_three_degrees_double_the_speed(scale):
    """Three degrees on, the exact speed is twice as high to 0.3 %."""
    exact = [float(row["exact_10^((deg-1)/10)"]) for row in scale]
    assert np.array(exact[3:]) / np.array(exact[:-3]) == pytest.approx(2.0, rel=3e-3)


@pytest.mark.parametrize("slope", [0.35, 0.58, 1.0, 2.4])
def test_contrast_index_of_a_straight_line_is_its_slope(slope):
    """A straight line through the minimum-density level has its slope as contrast index, whatever the slope."""
    assert math.tan(arc_angle(lambda above: above / slope - 1.7, reach=10.0)) == pytest.approx(slope, rel=1e-9)
