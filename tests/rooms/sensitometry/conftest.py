"""Curves and strips that the room's tests share."""

import numpy as np
import pytest

from wideroll.sensitometry import CurveFit, FilmType, Record
from wideroll.synthetic.strips import StripRecipe, aim_parameters, make_aims, make_strips


def known_curve(parameters, log_h, *, sd=0.0):
    """A fit that is known exactly, or with equal small uncertainty in each parameter."""
    return CurveFit(
        parameters=np.asarray(parameters, dtype=float),
        covariance=sd**2 * np.eye(5),
        log_h=log_h,
        density=np.zeros_like(log_h),
        used=np.ones(len(log_h), dtype=bool),
        residual_sd=sd,
        degrees_of_freedom=16,
    )


@pytest.fixture
def exact():
    """Make a fit from parameters, without uncertainty unless told."""
    return known_curve


@pytest.fixture
def log_h():
    """Exposures of the usual tablet in front of the invented films."""
    return np.linspace(-3.125, -0.125, 21)


@pytest.fixture
def negative():
    """Parameters of the green record of the invented colour negative."""
    return aim_parameters(FilmType.COLOUR_NEGATIVE)[Record.GREEN]


@pytest.fixture
def reversal():
    """Parameters of the visual record of the invented reversal film."""
    return aim_parameters(FilmType.COLOUR_REVERSAL)[Record.VISUAL]


@pytest.fixture(params=list(FilmType), ids=str)
def film_type(request):
    """Each film type in turn."""
    return request.param


@pytest.fixture
def strip_of():
    """Make one strip with its truth from the fields of a recipe."""

    def make(**fields):
        made = make_strips(StripRecipe(**{"name": "1", "film_type": FilmType.COLOUR_NEGATIVE, **fields}))
        return made.strips[0], made.truth[made.strips[0].name]

    return make


@pytest.fixture
def aims():
    """Aims of the invented colour negative."""
    return make_aims(FilmType.COLOUR_NEGATIVE)
