import math

import numpy as np
import pytest
from scipy import stats

from wideroll.sensitometry import (
    SPEED_DENSITY,
    FilmType,
    Record,
    average_gradient,
    contrast_index,
    fit_curve,
    gamma,
    maximum_density,
    minimum_density,
    speed_point,
    useful_range,
)
from wideroll.sensitometry.points import shoulder_above
from wideroll.sensitometry.richards import density_of, gradient_of, log_h_of
from wideroll.synthetic.strips import aim_parameters

NEGATIVE = FilmType.COLOUR_NEGATIVE
REVERSAL = FilmType.COLOUR_REVERSAL


def contrast_index_by_search(parameters):
    """The slow way: try every point of the minimum-density level, intersect both arcs, keep the straightest."""
    x = np.linspace(-4.0, 1.0, 200_001)
    y = density_of(parameters, x) - parameters[0]

    def meet(pivot, radius):
        distance = np.hypot(x - pivot, y) - radius
        right = np.flatnonzero((distance[:-1] < 0.0) & (distance[1:] >= 0.0) & (x[:-1] >= pivot))
        return y[right[0]] / (x[right[0]] - pivot)

    pivots = np.linspace(-2.8, -1.8, 501)
    mismatch = [meet(pivot, 0.2) - meet(pivot, 2.2) for pivot in pivots]
    return meet(pivots[int(np.argmin(np.abs(mismatch)))], 2.2)


def test_contrast_index_agrees_with_the_slow_search(exact, negative, log_h):
    """The solved construction gives what trying every point on the minimum-density level gives."""
    found = contrast_index(exact(negative, log_h)).value
    assert found == pytest.approx(contrast_index_by_search(negative), abs=1e-3)


def test_contrast_index_construction_lies_where_it_should(exact, negative, log_h):
    """P lies on the minimum level; the other two points lie on the curve, 0.2 and 2.2 from it, on one line."""
    p, inner, outer = contrast_index(exact(negative, log_h)).construction.points
    assert p[1] == pytest.approx(negative[0])
    for (x, y), radius in ((inner, 0.2), (outer, 2.2)):
        assert density_of(negative, np.array(x)) == pytest.approx(y, abs=1e-9)
        assert math.hypot(x - p[0], y - p[1]) == pytest.approx(radius, abs=1e-9)
    assert (inner[1] - p[1]) / (inner[0] - p[0]) == pytest.approx((outer[1] - p[1]) / (outer[0] - p[0]), rel=1e-9)


def test_a_curve_too_low_for_the_arcs_has_no_contrast_index(exact, log_h):
    """A curve so flat that no line meets both arcs gets NaN, marked as extrapolated, with a note."""
    measure = contrast_index(exact([0.2, 0.001, -1.0, 1.0, 1.0], log_h))
    assert math.isnan(measure.value)
    assert measure.extrapolated
    assert measure.note


def test_gamma_is_the_greatest_slope(exact, negative, reversal, log_h):
    """Gamma is the greatest slope of the curve over the readings, without its sign."""
    dense = np.linspace(log_h[0], log_h[-1], 20_001)
    for parameters in (negative, reversal):
        greatest = np.abs(gradient_of(parameters, dense)).max()
        assert gamma(exact(parameters, log_h)).value == pytest.approx(greatest, rel=1e-6)


def test_gamma_beyond_the_readings_is_marked(exact, negative, log_h):
    """When the readings end before the steepest place, gamma is the slope at their end and counts as extrapolated."""
    short = log_h[log_h < -1.2]
    measure = gamma(exact(negative, short))
    assert measure.extrapolated
    assert measure.value == pytest.approx(float(gradient_of(negative, short[-1])))


def test_average_gradient_is_the_chord(exact, negative, log_h):
    """For a negative it is the chord from 0.10 above minimum to the point 1.5 log H further."""
    start = float(log_h_of(negative, negative[0] + 0.10))
    expected = (float(density_of(negative, np.array(start + 1.5))) - negative[0] - 0.10) / 1.5
    measure = average_gradient(exact(negative, log_h))
    assert measure.value == pytest.approx(expected, rel=1e-12)
    assert measure.construction.points[1][0] - measure.construction.points[0][0] == pytest.approx(1.5)
    assert not measure.extrapolated


def test_average_gradient_of_reversal_film_is_positive(exact, reversal, log_h):
    """For reversal film it is the chord from 0.20 to 2.0 above minimum, without its sign."""
    ends = [float(log_h_of(reversal, reversal[0] + above)) for above in (0.20, 2.0)]
    measure = average_gradient(exact(reversal, log_h))
    assert measure.value == pytest.approx(1.8 / (ends[0] - ends[1]), rel=1e-9)


def test_the_upper_point_of_reversal_film_is_the_tangent_on_a_soft_shoulder():
    """When the line from T touches the shoulder before 2.0 above minimum, the touching point is taken."""
    soft = np.array([0.15, 2.2, -1.0, -2.5, 1.0])
    found = shoulder_above(soft)
    start = log_h_of(soft, 0.15 + 0.20)
    x = np.linspace(start - 3.0, start - 0.05, 200_001)
    slopes = (density_of(soft, x) - 0.35) / (start - x)
    assert found < 2.0
    assert found == pytest.approx(float(density_of(soft, x[np.argmax(slopes)])) - 0.15, abs=1e-3)


def test_speed_point_lies_on_the_curve(exact, negative, log_h):
    """The speed point of a colour negative lies at 0.15 above minimum density, on the curve."""
    measure = speed_point(exact(negative, log_h), NEGATIVE)
    assert density_of(negative, np.array(measure.value)) == pytest.approx(negative[0] + 0.15, abs=1e-12)
    assert not measure.extrapolated


def test_measures_outside_the_readings_are_marked(exact, negative, log_h):
    """Readings that begin in the straight line leave minimum, speed point and chord extrapolated."""
    late = exact(negative, log_h[log_h > -1.5], sd=0.001)
    assert minimum_density(late).extrapolated
    assert speed_point(late, NEGATIVE).extrapolated
    assert average_gradient(late).extrapolated
    assert contrast_index(late).extrapolated


def test_a_shoulder_that_is_not_reached_is_marked(exact, negative, log_h):
    """Without a shoulder the maximum density is the greatest on the curve so far, marked; with one, the asymptote."""
    measure = maximum_density(exact(negative, log_h))
    assert measure.extrapolated
    assert measure.value == pytest.approx(float(density_of(negative, log_h[-1])))
    far = maximum_density(exact(negative, np.linspace(-3.0, 6.0, 40)))
    assert not far.extrapolated
    assert far.value == pytest.approx(negative[0] + negative[1])


def test_a_held_minimum_is_not_extrapolated(log_h, negative):
    """A minimum density that was measured elsewhere and held serves even when the toe isn't reached."""
    late = log_h[log_h > -1.9]
    fit = fit_curve(late, density_of(negative, late), low=float(negative[0]))
    assert not minimum_density(fit).extrapolated
    assert speed_point(fit, NEGATIVE).value == pytest.approx(-1.903, abs=1e-3)


def test_useful_range_ends_where_the_slope_has_fallen_off(exact, reversal, log_h):
    """At both ends of the useful range the slope is 0.3 of the greatest, or the readings end."""
    fit = exact(reversal, log_h)
    greatest = gamma(fit).value
    first, last = useful_range(fit)
    assert abs(gradient_of(reversal, np.array(last))) == pytest.approx(0.3 * greatest, rel=0.1)
    assert abs(gradient_of(reversal, np.array(first))) == pytest.approx(0.3 * greatest, rel=0.1)
    assert log_h[0] <= first < last <= log_h[-1]


@pytest.fixture(scope="module")
def refitted():
    """Fits of 150 noisy strips of the invented reversal film and of the black-and-white one."""
    log_h = np.linspace(-3.125, -0.125, 21)
    noise = np.random.Generator(np.random.PCG64(8))
    return {
        film_type: [fit_curve(log_h, density_of(p, log_h) + 0.004 * noise.standard_normal(21)) for _ in range(150)]
        for film_type in (REVERSAL, FilmType.BLACK_AND_WHITE)
        for p in [aim_parameters(film_type)[Record.VISUAL]]
    }


@pytest.mark.parametrize(
    ("measure", "film_type"),
    [
        (minimum_density, REVERSAL),
        (maximum_density, REVERSAL),
        (gamma, REVERSAL),
        (average_gradient, REVERSAL),
        (lambda fit: speed_point(fit, REVERSAL), REVERSAL),
        (contrast_index, FilmType.BLACK_AND_WHITE),
    ],
)
def test_intervals_are_as_wide_as_measures_scatter(refitted, measure, film_type):
    """The half width of a 95 % interval is Student's t times the scatter of the measure over 150 strips, to 20 %."""
    found = [measure(fit) for fit in refitted[film_type]]
    half = np.median([(m.high - m.low) / 2 for m in found])
    assert half / stats.t.ppf(0.975, 16) == pytest.approx(np.std([m.value for m in found]), rel=0.20)


def test_without_noise_the_interval_has_no_width(exact, negative, log_h):
    """A curve known exactly gives measures known exactly."""
    for measure in (gamma(exact(negative, log_h)), contrast_index(exact(negative, log_h))):
        assert measure.low == measure.value == measure.high


@pytest.mark.parametrize("film_type", list(FilmType), ids=str)
def test_each_film_types_speed_point_lies_at_its_speed_density(exact, film_type):
    """What is read off as the speed point is where the curve lies at the film type's density above its minimum."""
    record = Record.VISUAL if film_type in {FilmType.BLACK_AND_WHITE, REVERSAL} else Record.GREEN
    parameters = aim_parameters(film_type)[record]
    found = speed_point(exact(parameters, np.linspace(-3.125, -0.125, 21)), film_type).value
    assert density_of(parameters, np.array(found)) - parameters[0] == pytest.approx(SPEED_DENSITY[film_type])
