"""Chapman's estimate, Cohen's and Fleiss' kappa against worked values printed elsewhere."""

from pathlib import Path

import numpy as np
import pytest

from wideroll.examination import chapman, cohen_kappa, fleiss_kappa


def test_trout_in_a_lake():
    """100 and 100 with 10 in both give 926 fish with a standard error of 238.55."""
    found = chapman(100, 100, 10)
    assert found.total == pytest.approx(926.36, abs=0.005)
    assert found.standard_error == pytest.approx(238.55, abs=0.005)
    assert found.hidden == pytest.approx(736.36, abs=0.005)


def test_kappa_of_a_three_grade_table():
    """Kappa, its standard error and its interval to the four digits printed."""
    found = cohen_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
    assert found.kappa == pytest.approx(0.4842, abs=5e-5)
    assert found.standard_error == pytest.approx(0.1380, abs=5e-5)
    assert (found.low, found.high) == (pytest.approx(0.2137, abs=5e-5), pytest.approx(0.7547, abs=5e-5))


def test_linear_weights_of_the_same_table():
    """Kappa with linear weights and its standard error to the four digits printed."""
    found = cohen_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]], weights="linear")
    assert found.kappa == pytest.approx(0.4701, abs=5e-5)
    assert found.standard_error == pytest.approx(0.1457, abs=5e-5)


def test_fourteen_examiners():
    """Fleiss' kappa of ten things is 0.210, as printed."""
    counts = np.loadtxt(Path(__file__).parent / "fleiss.csv", delimiter=",", skiprows=2)[:, 1:]
    found = fleiss_kappa(counts)
    assert (found.judged, round(found.kappa, 3)) == (10, 0.210)
    assert found.low < found.kappa < found.high
