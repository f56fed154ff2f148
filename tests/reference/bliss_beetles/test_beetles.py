"""The logistic fit against a published dose and response."""

from pathlib import Path

import numpy as np
import pytest
from scipy.special import expit

from wideroll.scan.detection_logistic import Trials, deviance, is_separated, maximise

_DEATHS = (3.46, 9.84, 22.45, 33.90, 50.10, 53.29, 59.22, 58.74)


@pytest.fixture(scope="module")
def beetles() -> Trials:
    """Bliss's data."""
    dose, number, killed = np.loadtxt(Path(__file__).parent / "beetles.csv", delimiter=",", skiprows=1).T
    return Trials(design=np.column_stack([np.ones(8), dose]), number=number, hits=killed)


def test_the_published_fit_is_found(beetles) -> None:
    """Coefficients, standard errors, deviance and fitted deaths agree with the book's to every digit it gives."""
    fit = maximise(beetles)
    errors = np.sqrt(np.diag(np.linalg.inv(fit.information)))
    assert fit.coefficients.round(2).tolist() == [-60.72, 34.27]
    assert errors.round(2).tolist() == [5.18, 2.91]
    assert round(deviance(fit.coefficients, beetles), 2) == 11.23
    deaths = beetles.number * expit(beetles.design @ fit.coefficients)
    assert deaths.round(2).tolist() == list(_DEATHS)


def test_overlapping_deaths_are_not_separated(beetles) -> None:
    """Beetles of one dose both lived and died, so that the likelihood has its greatest value."""
    assert not is_separated(beetles)
