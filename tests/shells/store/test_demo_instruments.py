"""The demo's instruments: the errors planted in them are found by their calibrations and taken off the strips."""

from pathlib import Path

import numpy as np
import pytest

from wideroll.readers.instrument_files import read_instruments
from wideroll.sensitometry import (
    FilmType,
    expose_calibrated,
    log_exposure,
    read_calibrated,
)
from wideroll.store.demo_instruments import DENSITOMETER, READ_ON, as_read, instruments_toml, working_densities
from wideroll.synthetic.strips import StripRecipe, make_strips


@pytest.fixture(scope="module")
def instruments(tmp_path_factory: pytest.TempPathFactory):
    """As the demo's instruments.toml is read."""
    path: Path = tmp_path_factory.mktemp("plant") / "instruments.toml"
    path.write_text(instruments_toml(), encoding="utf-8")
    return read_instruments(path)


def test_the_file_is_the_same_each_time() -> None:
    """Seeds are explicit: the demo's instruments are the same bytes whenever they are written."""
    assert instruments_toml() == instruments_toml()


def test_no_calibration_of_the_demo_is_in_doubt(instruments) -> None:
    """Each can be used and is linear, and the offset and gain planted lie within three standard uncertainties."""
    meter, lamp = instruments.densitometers[DENSITOMETER], instruments.sensitometers["S-1"]
    truth = {"red": (0.012, 0.985), "green": (-0.008, 1.012), "blue": (0.015, 1.018), "exposure": (0.018, 1.0)}
    assert len(meter.calibrations) == 2
    for calibration in (*meter.calibrations, *lamp.calibrations):
        assert (calibration.why_unusable, calibration.note) == ("", "")
        for of, line in calibration.lines.items():
            for measure, planted in zip((line.offset, line.gain), truth[of], strict=True):
                assert abs(measure.value - planted) < 3.0 * measure.standard_uncertainty


def test_the_demo_s_strips_come_back_as_they_were_processed(instruments) -> None:
    """Calibrated exposures are true to 0.015 and densities to 0.003, while those the densitometer shows are not."""
    recipe = StripRecipe(name="a", film_type=FilmType.COLOUR_NEGATIVE, step_density=working_densities(), noise_sd=0.0)
    true = make_strips(recipe).strips[0]
    made = expose_calibrated(instruments.sensitometers["S-1"], exposed_on="2026-11-12")
    assert made.why_unusable == ""
    assert np.sort(made.log_h) == pytest.approx(true.log_h, abs=0.015)
    assert true.log_h == pytest.approx(np.sort(log_exposure(75.0, 0.01, working_densities())))
    shown = as_read(true)
    back = read_calibrated(shown, instruments.densitometers[DENSITOMETER], READ_ON)
    assert back.why_unusable == ""
    for record, density in true.density.items():
        shown_off, off = (np.abs(strip.density[record] - density).max() for strip in (shown, back))
        assert shown_off > 0.008
        assert off < 0.003
