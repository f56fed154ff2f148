"""Mannos and Sakrison's contrast sensitivity, and what follows from it in closed form."""

import math

import numpy as np
import pytest
from scipy import integrate

from wideroll.examination import MarkShape, Viewing, contrast_sensitivity, predict_visibility


def _moment(k):
    return math.gamma((k + 1) / 1.1) / 1.1


def test_the_peak_is_one_at_eight_cycles_per_degree():
    """The published peak: about 1 at about 8 cycles per degree; the value at 8 is 0.981 to three digits."""
    f = np.linspace(0.1, 60.0, 6000)
    best = f[np.argmax(contrast_sensitivity(f))]
    assert best == pytest.approx(8.0, abs=0.3)
    assert contrast_sensitivity(best) == pytest.approx(1.0, abs=0.02)
    assert round(float(contrast_sensitivity(8.0)), 3) == 0.981


def test_a_thin_streak_is_seen_by_the_integral_of_the_sensitivity():
    """V = c·w·2∫A df for thin lines, in closed form by the gamma function."""
    whole = 2.6 / 0.114 * (0.0192 * _moment(0) + _moment(1))
    angle = Viewing().angle_deg(0.004)
    expected = (1.0 - 10.0**-0.3) * angle * 2.0 * whole
    found = predict_visibility(0.3, 0.004, shape=MarkShape.STREAK, viewing=Viewing())
    assert found == pytest.approx(expected, rel=2e-3)


def test_a_small_spot_is_seen_by_its_area():
    """V = c·(π w²⁄4)·2π∫A·f df for small spots, in closed form."""
    whole = 2.6 / 0.114**2 * (0.0192 * _moment(1) + _moment(2))
    angle = Viewing().angle_deg(0.004)
    expected = (1.0 - 10.0**-0.3) * math.pi / 4.0 * angle**2 * 2.0 * math.pi * whole
    assert predict_visibility(0.3, 0.004, shape=MarkShape.SPOT, viewing=Viewing()) == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("width_mm", [0.1, 0.5, 2.0])
def test_the_middle_of_a_streak_agrees_with_adaptive_integration(width_mm):
    """Visibility is at least the profile's middle as a library integrates it, and equals it where that is greatest."""
    angle = Viewing().angle_deg(width_mm)
    middle, _ = integrate.quad(
        lambda f: 2.0 * angle * np.sinc(angle * f) * contrast_sensitivity(f), 0.0, 100.0, limit=500
    )
    found = predict_visibility(0.3, width_mm, shape=MarkShape.STREAK, viewing=Viewing()) / (1.0 - 10.0**-0.3)
    assert found >= abs(middle) - 1e-6
    if width_mm < 0.3:
        assert found == pytest.approx(middle, rel=1e-3)
