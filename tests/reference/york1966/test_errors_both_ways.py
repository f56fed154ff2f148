"""The calibration line against the known solution for points with errors in both coordinates."""

from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from wideroll.sensitometry import calibrate_line


@pytest.fixture(scope="module")
def points():
    """x, y and the standard deviation of each."""
    path = Path(__file__).with_name("pearson_york.csv")
    x, y, weight_x, weight_y = np.loadtxt(path, delimiter=",", skiprows=2, unpack=True)
    return x, y, weight_x**-0.5, weight_y**-0.5


@pytest.fixture(scope="module")
def line(points):
    """The line through them."""
    x, y, x_sd, y_sd = points
    return calibrate_line(x, y, read_sd=x_sd, true_sd=y_sd)


def test_the_line_is_the_published_one(line):
    """Offset 5.47991, gain −0.48053 and a weighted sum of squares of 11.8664, as York found them."""
    assert round(line.offset.value, 5) == 5.47991
    assert round(line.gain.value, 5) == -0.48053
    assert round(line.chi_squared, 4) == 11.8664


def test_its_standard_errors_are_the_published_ones(line):
    """0.295 and 0.0580 before, and the root of 11.8664 ⁄ 8 times as much after the scatter is allowed for."""
    birge = np.sqrt(line.chi_squared / 8)
    assert line.offset.standard_uncertainty / birge == pytest.approx(0.295, abs=0.0005)
    assert line.gain.standard_uncertainty / birge == pytest.approx(0.0580, abs=0.00005)
    assert line.gain.degrees_of_freedom == 8


def test_no_other_line_and_places_lie_closer(points, line):
    """Moving the true places along with the line, point by point, finds no smaller weighted distance (scipy)."""
    x, y, x_sd, y_sd = points

    def distances(unknown):
        offset, gain, *places = unknown
        return np.concatenate([(x - places) / x_sd, (y - offset - gain * np.array(places)) / y_sd])

    found = optimize.least_squares(distances, [5.0, -0.5, *x], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert found.x[:2] == pytest.approx([line.offset.value, line.gain.value], abs=1e-6)
    assert 2.0 * found.cost == pytest.approx(line.chi_squared, rel=1e-9)
