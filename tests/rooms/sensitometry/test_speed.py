import math

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    FilmType,
    Record,
    iso6_speed,
    iso2240_speed,
    iso5800_speed,
    iso_speed,
    round_speed,
)
from wideroll.sensitometry.richards import log_h_of
from wideroll.synthetic.strips import aim_parameters


def exposures(parameters, above):
    """Exposure at a density above minimum."""
    return 10.0 ** float(log_h_of(parameters, parameters[0] + above))


@pytest.fixture
def films(exact, log_h):
    """The fits of each film type, without noise."""

    def fits(film_type):
        return {record: exact(parameters, log_h) for record, parameters in aim_parameters(film_type).items()}

    return fits


def test_invented_colour_negative_is_iso_100(films):
    """The invented colour negative has ISO 100/21°, set by its slowest record, blue."""
    found = iso_speed(FilmType.COLOUR_NEGATIVE, films(FilmType.COLOUR_NEGATIVE))
    h = {record: exposures(p, 0.15) for record, p in aim_parameters(FilmType.COLOUR_NEGATIVE).items()}
    assert found.measure.value == pytest.approx(iso5800_speed(h[Record.RED], h[Record.GREEN], h[Record.BLUE]))
    assert str(found) == "ISO 100/21°"
    assert found.degrees == pytest.approx(10 * math.log10(found.measure.value) + 1)
    assert "blue" in found.note


def test_invented_black_and_white_meets_the_contrast_condition(films):
    """The invented black-and-white film has ISO 100 with the contrast condition of ISO 6 met."""
    found = iso_speed(FilmType.BLACK_AND_WHITE, films(FilmType.BLACK_AND_WHITE))
    h = exposures(aim_parameters(FilmType.BLACK_AND_WHITE)[Record.VISUAL], 0.10)
    assert found.measure.value == pytest.approx(iso6_speed(h))
    assert found.note == ""
    assert (found.class_arithmetic, found.class_degrees) == (100, 21)


def test_a_soft_black_and_white_film_is_told_so(exact, log_h):
    """When density rises too little over the next 1.30 log H, the speed says that ISO 6 isn't met."""
    soft = aim_parameters(FilmType.BLACK_AND_WHITE)[Record.VISUAL] * [1, 0.75, 1, 1, 1]
    found = iso_speed(FilmType.BLACK_AND_WHITE, {Record.VISUAL: exact(soft, log_h)})
    assert "contrast condition" in found.note
    assert found.measure is not None


def test_reversal_speed_uses_both_points(films):
    """Reversal speed comes from the points at 0.20 and 2.0 above minimum of the visual curve."""
    found = iso_speed(FilmType.COLOUR_REVERSAL, films(FilmType.COLOUR_REVERSAL))
    p = aim_parameters(FilmType.COLOUR_REVERSAL)[Record.VISUAL]
    assert found.measure.value == pytest.approx(iso2240_speed(exposures(p, 0.20), exposures(p, 2.0)))


def test_more_exposure_needed_means_less_speed(films, exact):
    """Film that needs twice the exposure throughout has half the speed."""
    fits = films(FilmType.COLOUR_NEGATIVE)
    slower = {}
    for record, fit in fits.items():
        moved = fit.parameters.copy()
        moved[2] += math.log10(2.0)
        slower[record] = exact(moved, fit.log_h + math.log10(2.0))
    once, twice = (iso_speed(FilmType.COLOUR_NEGATIVE, f).measure.value for f in (fits, slower))
    assert once / twice == pytest.approx(2.0, rel=1e-9)


def test_the_interval_of_two_records_is_their_joint_one(exact, log_h):
    """With blue slowest, the error of log speed is half the root sum of squares of green's and blue's."""
    parameters = aim_parameters(FilmType.COLOUR_NEGATIVE)
    both = {record: exact(p, log_h, sd=0.001) for record, p in parameters.items()}
    only = {record: exact(p, log_h, sd=0.001 if record is Record.GREEN else 0.0) for record, p in parameters.items()}

    def half(fits):
        measure = iso_speed(FilmType.COLOUR_NEGATIVE, fits).measure
        return measure.standard_uncertainty / measure.value

    blue = {record: exact(p, log_h, sd=0.001 if record is Record.BLUE else 0.0) for record, p in parameters.items()}
    assert half(both) == pytest.approx(math.hypot(half(only), half(blue)), rel=1e-6)


def test_films_without_a_speed_say_why(films):
    """Motion-picture negative, and colour negative with records that weren't read, have no speed, with a reason."""
    assert "no ISO speed" in str(iso_speed(FilmType.MOTION_PICTURE_NEGATIVE, films(FilmType.MOTION_PICTURE_NEGATIVE)))
    green = {Record.GREEN: films(FilmType.COLOUR_NEGATIVE)[Record.GREEN]}
    missing = iso_speed(FilmType.COLOUR_NEGATIVE, green)
    assert missing.measure is None
    assert "red and blue" in missing.note


def test_a_curve_that_stays_too_low_has_no_speed(exact, log_h):
    """A curve that never rises by the speed density has no speed, and none is made up."""
    flat = {record: exact([0.2, 0.05, -2.0, 2.0, 1.0], log_h) for record in Record}
    for film_type in (FilmType.BLACK_AND_WHITE, FilmType.COLOUR_NEGATIVE, FilmType.COLOUR_REVERSAL):
        assert iso_speed(film_type, flat).measure is None


def test_speed_from_extrapolated_points_is_marked(exact, log_h):
    """A speed whose point lies before the first reading counts as extrapolated."""
    late = log_h[log_h > -1.6]
    fits = {record: exact(p, late) for record, p in aim_parameters(FilmType.COLOUR_NEGATIVE).items()}
    assert iso_speed(FilmType.COLOUR_NEGATIVE, fits).measure.extrapolated


def test_speeds_beyond_the_scale_have_no_class(exact):
    """A speed off the scale is stated but not rounded."""
    p = aim_parameters(FilmType.BLACK_AND_WHITE)[Record.VISUAL].copy()
    p[2] -= p[3] * 3.0
    found = iso_speed(FilmType.BLACK_AND_WHITE, {Record.VISUAL: exact(p, np.linspace(-6.0, -3.0, 21))})
    assert found.measure.value > 7000
    assert found.class_arithmetic is None
    assert "beyond" in str(found)
    assert round_speed(1.0) is None


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_impossible_exposures_are_refused(bad):
    """A speed needs positive, finite exposures."""
    with pytest.raises(ArgumentError):
        iso6_speed(bad)
    with pytest.raises(ArgumentError):
        iso5800_speed(1.0, bad, 1.0)
    with pytest.raises(ArgumentError):
        iso2240_speed(1.0, bad)
    with pytest.raises(ArgumentError):
        round_speed(bad)
