import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import dye_amounts

MATRIX = np.array([[1.00, 0.12, 0.03], [0.10, 1.00, 0.12], [0.06, 0.22, 1.00]])


@given(st.lists(st.tuples(*[st.floats(0.0, 3.0)] * 3), min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_unmixing_undoes_mixing(amounts):
    """Amounts mixed to densities by the matrix come back."""
    amounts = np.array(amounts)
    assert dye_amounts(amounts @ MATRIX.T, MATRIX) == pytest.approx(amounts, abs=1e-9)


def test_an_unmixed_density_is_the_amount():
    """With no unwanted absorption, density is amount."""
    assert dye_amounts([0.3, 0.9, 1.4], np.eye(3)).tolist() == pytest.approx([0.3, 0.9, 1.4])


@pytest.mark.parametrize("matrix", [np.ones((3, 3)), np.eye(2), np.full((3, 3), np.nan), np.zeros((3, 3))])
def test_a_matrix_that_cannot_be_undone_is_refused(matrix):
    """A singular, misshapen or unfilled matrix is refused."""
    with pytest.raises(ArgumentError, match="matrix"):
        dye_amounts([0.1, 0.2, 0.3], matrix)


def test_densities_come_in_threes():
    """Two densities can't be unmixed into three dyes."""
    with pytest.raises(ArgumentError, match="density"):
        dye_amounts([0.1, 0.2], MATRIX)
