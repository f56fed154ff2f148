"""The coarse picture of the web."""

import numpy as np
import pytest

from wideroll.scan import ScanSettings, find_marks

PITCH = (0.3, 0.3)


def test_worst_keeps_a_single_pixel_and_mean_the_average(weave, grey):
    """A one-pixel mark survives in the worst layer; the mean layer hardly moves."""
    web = weave(990, 440)
    web[500, 220] = 60.0
    overview = find_marks(grey(web), PITCH, ScanSettings(find_edges=False)).overview
    assert overview.mean.shape == overview.worst.shape == (30, 14)
    cell = 500 // 33, int(220.5 * 0.3 / 10.0)
    assert overview.worst[cell] == pytest.approx(0.4, abs=0.03)
    assert np.unravel_index(np.nanargmin(overview.worst), overview.worst.shape) == cell
    assert overview.mean == pytest.approx(np.ones((30, 14)), abs=0.004)
    assert overview.cell_m == pytest.approx(0.0099)
    assert overview.cell_mm == 10.0


def test_cells_agree_with_plain_averages(weave, grey):
    """On a flat web without gain noise a cell is the average and the extreme of its pixels over the level."""
    image = grey(weave(660, 480, bend=0.0, gain=0.0, level=150.0))
    overview = find_marks(image, PITCH, ScanSettings(find_edges=False, overview_cell_mm=9.9)).overview
    part = image[33:66, 66:99] / 150.0
    assert overview.mean[1, 2] == pytest.approx(part.mean(), abs=1e-3)
    assert abs(overview.worst[1, 2] - 1.0) == pytest.approx(np.abs(part - 1.0).max(), abs=3e-3)


def test_what_was_not_looked_at_is_not_a_number(weave, grey, frame_web):
    """A cell within the edge bead is NaN; the picture is as wide as the web."""
    image = grey(frame_web(weave(900, 480), left=40.0, right=430.0))
    overview = find_marks(image, PITCH, ScanSettings(overview_cell_mm=3.0)).overview
    assert overview.mean.shape[1] == 39
    assert np.isnan(overview.mean[:, 0]).all()
    assert np.isnan(overview.worst[:, -1]).all()
    assert np.isfinite(overview.mean[:, 2:-2]).all()
    assert overview.extent.width_mm == pytest.approx(117.0, abs=0.1)


def test_a_streak_shows_in_the_mean(weave, grey):
    """The mean is taken over the smooth course of the profile, so that a streak isn't divided away."""
    web = weave(1650, 440)
    web[:, 200:230] *= 0.95
    mean = find_marks(grey(web), PITCH, ScanSettings(find_edges=False)).overview.mean
    assert mean[:, 6].mean() < 0.985
