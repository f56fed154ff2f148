"""Calibrated densitometers and sensitometers: what they make of readings, and when strips are no evidence."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    Densitometer,
    DensitometerStatus,
    FilmType,
    Record,
    Sensitometer,
    Strip,
    StripKind,
    Tablet,
    calibrate_densitometer,
    calibrate_sensitometer,
    calibration_on,
    expired,
    expose,
    expose_calibrated,
    log_exposure,
    measure_strip,
    read_calibrated,
    step_tablet,
    usual_tablet,
)
from wideroll.synthetic.strips import StripRecipe, make_aims, make_strips

DAYS = {"on": "2026-10-01", "expires": "2026-11-01"}
TABLET = usual_tablet("21x0.15")
STEPS = TABLET.step_density
RED, VISUAL = Record.RED, Record.VISUAL


def _calibration(read, tablet=TABLET, **more):
    return calibrate_densitometer("D-2", tablet, {VISUAL: read}, **(DAYS | more))


def _meter(*calibrations, most_density=4.0):
    return Densitometer(
        name="D-2", status=DensitometerStatus.M, most_density=most_density, calibrations=tuple(calibrations)
    )


def _strip(density, records=(VISUAL,)):
    x = np.linspace(-3.0, 0.0, len(density))
    return Strip(name="1", kind=StripKind.CHECK, run="7", log_h=x, density=dict.fromkeys(records, np.array(density)))


@given(offset=st.floats(-0.08, 0.08), gain=st.floats(0.92, 1.08))
@settings(max_examples=30, deadline=None)
def test_a_strip_read_on_an_instrument_out_of_adjustment_comes_back_true(offset, gain):
    """What the instrument adds and stretches is taken off again, whatever offset and gain it has."""
    true = np.linspace(0.2, 2.4, 21)
    meter = _meter(_calibration((STEPS - offset) / gain))
    found = read_calibrated(_strip((true - offset) / gain), meter, "2026-10-15")
    assert found.why_unusable == ""
    assert found.density[VISUAL] == pytest.approx(true, abs=1e-9)


def test_the_calibration_that_holds_on_the_day_is_taken():
    """Between two calibrations the first one counts, from the day of the second the second, in whatever order."""
    first, second = _calibration(STEPS - 0.02), _calibration(STEPS + 0.03, on="2026-10-20", expires="2026-12-01")
    for made in ((first, second), (second, first)):
        assert calibration_on(made, "2026-09-30") is None
        assert calibration_on(made, "2026-10-19") is first
        assert calibration_on(made, "2026-10-20") is second


@pytest.mark.parametrize(
    ("day", "why"),
    [
        ("2026-09-30", "densitometer D-2 had no calibration when the strip was read on 2026-09-30"),
        ("2026-10-01", ""),
        ("2026-11-01", ""),
        (
            "2026-11-20",
            "densitometer D-2's calibration of 2026-10-01 expired on 2026-11-01; the strip was read on 2026-11-20",
        ),
    ],
)
def test_readings_outside_a_calibration_s_days_are_no_evidence(day, why):
    """Before its day and after its last a calibration doesn't hold; the reason names instrument and days."""
    assert read_calibrated(_strip(STEPS), _meter(_calibration(STEPS)), day).why_unusable == why


def test_an_unusable_strip_says_so_after_measuring():
    """A strip read after the calibration expired has no measures, and its result gives that reason."""
    aims = make_aims(FilmType.BLACK_AND_WHITE)
    strip = make_strips(StripRecipe(name="a", film_type=FilmType.BLACK_AND_WHITE)).strips[0]
    good = measure_strip(read_calibrated(strip, _meter(_calibration(STEPS)), "2026-10-15"), aims)
    late = measure_strip(read_calibrated(strip, _meter(_calibration(STEPS)), "2026-11-02"), aims)
    assert good.usable
    assert not late.usable
    assert late.measures == ()
    assert "expired on 2026-11-01" in late.why


def test_a_record_that_was_not_calibrated_is_no_evidence():
    """A calibration holds for the channels that were calibrated, and the reason names those that weren't."""
    found = read_calibrated(_strip(STEPS, (VISUAL, RED)), _meter(_calibration(STEPS)), "2026-10-15")
    assert found.why_unusable == "densitometer D-2's calibration of 2026-10-01 doesn't cover red"


def test_readings_over_the_range_are_left_out_and_counted():
    """What the instrument can't read is no reading: NaN, without covariance, and the strip's note counts it."""
    noisy = STEPS + 0.003 * np.cos(9.0 * np.arange(21))
    found = read_calibrated(_strip(STEPS), _meter(_calibration(noisy), most_density=2.7), "2026-10-15")
    assert np.isnan(found.density[VISUAL]).tolist() == [False] * 18 + [True] * 3
    assert found.note == "visual: 3 readings at or over the range of densitometer D-2 (2.70) left out"
    assert found.why_unusable == ""
    shared = found.shared_covariance[VISUAL]
    assert np.isfinite(shared).all()
    assert (shared[18:] == 0.0).all()
    assert (np.diag(shared)[:18] > 0.0).all()


def test_with_too_few_readings_in_range_the_strip_is_unusable():
    """Four readings in range are too few for a curve; the result says how many are needed."""
    found = read_calibrated(_strip(STEPS), _meter(_calibration(STEPS), most_density=0.5), "2026-10-15")
    assert "5" in measure_strip(found, None).why


@pytest.mark.parametrize(
    ("read", "why"),
    [
        (STEPS[::-1], "read from its other end"),
        (np.arange(21) * 0.10, "a gain of 1.50 against tablet 21x0.15; was another tablet read?"),
        (STEPS + 0.15, "an offset of −0.15 against tablet 21x0.15; was a step skipped, or no zero set?"),
        (STEPS + 0.06 * np.cos(np.arange(21)), "scatter 0.0"),
    ],
)
def test_readings_of_another_tablet_make_the_calibration_unusable(read, why):
    """Gain, offset or scatter that no adjustment explains are told, and strips read by it aren't evidence."""
    made = _calibration(read)
    assert why in made.why_unusable
    found = read_calibrated(_strip(STEPS), _meter(made), "2026-10-15").why_unusable
    assert found.startswith("densitometer D-2's calibration of 2026-10-01 can't be used: visual: ")


def test_an_instrument_off_by_as_much_as_may_be_is_used():
    """A gain off by 9 % and an offset of 0.09 are what a calibration is for."""
    assert _calibration((STEPS - 0.09) / 1.09).why_unusable == ""


def test_lack_of_linearity_is_noted():
    """A bend larger than 0.02 is noted with its size; a smaller one isn't."""
    across = (STEPS / 1.5 - 1.0) ** 2
    small = 0.001 * np.cos(7.0 * np.arange(21))
    assert "visual: not linear, up to 0.02" in _calibration(STEPS + 0.04 * across + small).note
    assert _calibration(STEPS + 0.02 * across + small).note == ""


def test_too_few_steps_in_range_leave_no_calibration():
    """A calibration of four steps within the range is none."""
    assert "only 4 steps within its range, 5 are needed" in _calibration(STEPS, most_density=0.6).why_unusable


@pytest.mark.parametrize(
    ("dates", "why"),
    [
        (("2025-01-01", "2026-09-30"), "tablet T-9's certificate expired on 2026-09-30"),
        (("2026-10-02", "2027-10-01"), "tablet T-9 was certified on 2026-10-02, after the calibration"),
        (("2026-10-01", "2026-10-01"), ""),
        (("", ""), ""),
    ],
)
def test_a_calibration_is_as_good_as_its_tablet_s_certificate(dates, why):
    """A tablet whose certificate didn't hold on the day calibrates nothing."""
    tablet = replace(TABLET, name="T-9", certified_on=dates[0], expires_on=dates[1])
    assert _calibration(STEPS, tablet).why_unusable == why


def _sensitometer(light=0.02, gain=1.01, **more):
    found = log_exposure(75.0, 0.01, gain * STEPS) + light
    made = calibrate_sensitometer("S-1", TABLET, found, exposure_lxs=0.75, **DAYS, **more)
    return Sensitometer(name="S-1", illuminance_lx=75.0, time_s=0.01, tablet=TABLET, calibrations=(made,)), found


@given(light=st.floats(-0.5, 0.5), gain=st.floats(0.92, 1.08))
@settings(max_examples=30, deadline=None)
def test_a_sensitometer_gives_the_exposures_it_was_found_to_give(light, gain):
    """Offset and gain of the calibration bring the nominal exposures to those found, filters taken off."""
    lamp, found = _sensitometer(light, gain)
    made = expose_calibrated(lamp, exposed_on="2026-10-15")
    assert made.log_h == pytest.approx(found, abs=1e-9)
    filtered = expose_calibrated(lamp, exposed_on="2026-10-15", filter_density={"neutral": 0.9, "yellow": 0.1})
    assert filtered.log_h == pytest.approx(found - 1.0, abs=1e-9)


def test_the_doubt_of_a_sensitometer_s_light_goes_into_the_exposures():
    """The common uncertainty of the found exposures is that of the strips' log H, together with the line's own."""
    lamp, _ = _sensitometer(standard_uncertainty_log_h=0.004, common_standard_uncertainty_log_h=0.01)
    assert 0.01 < expose_calibrated(lamp, exposed_on="2026-10-15").log_h_sd < 0.0105


@pytest.mark.parametrize(
    ("day", "why"),
    [
        ("2026-09-01", "sensitometer S-1 had no calibration when the strips were exposed on 2026-09-01"),
        (
            "2026-12-01",
            "sensitometer S-1's calibration of 2026-10-01 expired on 2026-11-01; the strips were exposed on 2026-12-01",
        ),
    ],
)
def test_exposures_outside_a_calibration_s_days_are_no_evidence(day, why):
    """The reason names instrument and days, and the exposures are still there to look at."""
    made = expose_calibrated(_sensitometer()[0], exposed_on=day)
    assert made.why_unusable == why
    assert np.isfinite(made.log_h).all()


def test_a_sensitometer_with_another_tablet_in_it_is_found():
    """Found exposures of a tablet of 0.10 a step where one of 0.15 should be are not a matter of adjustment."""
    lamp, _ = _sensitometer(gain=0.10 / 0.15)
    why = expose_calibrated(lamp, exposed_on="2026-10-15").why_unusable
    assert "a gain of 0.67 against tablet 21x0.15; was another tablet read?" in why


def test_a_tablet_with_an_expired_certificate_gives_no_evidence():
    """Behind it strips are unusable from the day after its last; without a day nothing is said."""
    tablet = replace(TABLET, name="T-9", certified_on="2025-01-01", expires_on="2026-09-30")
    assert expose(tablet, 75.0, 0.01, exposed_on="2026-09-30").why_unusable == ""
    why = expose(tablet, 75.0, 0.01, exposed_on="2026-10-01").why_unusable
    assert why == "tablet T-9's certificate expired on 2026-09-30; the strips were exposed on 2026-10-01"


def test_the_covariance_of_a_calibration_makes_intervals_honest():
    """Minimum densities of strips read on freshly calibrated instruments lie in their intervals in 95 % ± 4 %.

    The instrument's error is the same at every step, so a fit to its readings alone can't see it.
    """
    held = []
    truth = make_strips(StripRecipe(name="a", film_type=FilmType.BLACK_AND_WHITE)).truth["a"].parameters[VISUAL][0]
    for seed in range(200):
        noise = np.random.Generator(np.random.PCG64(seed))
        certified = replace(
            TABLET,
            step_density=STEPS + 0.01 * noise.standard_normal(21) + 0.02 * noise.standard_normal(),
            standard_uncertainty=np.full(21, 0.01),
            common_standard_uncertainty=0.02,
        )
        made = _calibration(STEPS + 0.003 * noise.standard_normal(21), certified, repeatability_density=0.003)
        strip = make_strips(StripRecipe(name="a", film_type=FilmType.BLACK_AND_WHITE, noise_sd=0.004, seed=seed))
        result = measure_strip(read_calibrated(strip.strips[0], _meter(made), "2026-10-15"), None)
        lowest = next(m for m in result.measures if m.name == "minimum density")
        held.append(lowest.low <= truth <= lowest.high)
    assert 0.91 <= np.mean(held) <= 0.99


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (lambda: _calibration(STEPS[:20]), "densitometer D-2, visual"),
        (lambda: _calibration([*STEPS[:20], np.nan]), "densitometer D-2, visual"),
        (lambda: _calibration(STEPS, expires="2026-09-30"), "calibration of densitometer D-2"),
        (lambda: _calibration(STEPS, on="1 October"), "calibration of densitometer D-2"),
        (lambda: calibrate_sensitometer("S-1", TABLET, STEPS[:5], exposure_lxs=1.0, **DAYS), "sensitometer S-1, log_h"),
        (lambda: calibrate_sensitometer("S-1", TABLET, STEPS, exposure_lxs=0.0, **DAYS), "illuminance_lx"),
        (lambda: read_calibrated(_strip(STEPS), _meter(), "20.11.2026"), "day"),
        (lambda: expired("it", "2026-13-01", "2026-11-20"), "expires"),
        (lambda: usual_tablet("21 steps"), "tablet"),
    ],
)
def test_what_can_not_be_a_calibration_is_refused(call, where):
    """Numbers of steps that don't match, days that are none or out of order, and unknown tablets are named."""
    with pytest.raises(ArgumentError) as caught:
        call()
    assert caught.value.where == where


def test_a_tablet_may_have_any_measured_densities():
    """A measured tablet's exposures are those of its own densities, whatever it was made to be."""
    measured = step_tablet(31, 0.10) + 0.01 * np.cos(np.arange(31))
    tablet = Tablet(name="T-9", step_density=measured, standard_uncertainty=np.full(31, 0.01))
    assert expose(tablet, 100.0, 0.01).log_h == pytest.approx(-measured, abs=1e-12)
