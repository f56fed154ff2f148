"""Two examiners' agreement."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from wideroll.errors import ArgumentError
from wideroll.examination import cohen_kappa

TABLES = arrays(np.int64, (3, 3), elements=st.integers(0, 30)).filter(lambda t: (t.sum(axis=0) > 0).sum() > 1)


@given(table=TABLES)
def test_kappa_does_not_depend_on_who_is_first_or_how_grades_are_named(table):
    """Exchanging examiners, or renaming grades for both, keeps kappa and its error."""
    one = cohen_kappa(table.tolist())
    for other in (table.T, table[::-1, ::-1]):
        found = cohen_kappa(other.tolist())
        assert found.kappa == pytest.approx(one.kappa)
        assert found.standard_error == pytest.approx(one.standard_error, abs=1e-9)


def test_full_agreement_is_one_and_chance_is_zero():
    """Only equal grades give 1; grades without any relation give 0."""
    assert cohen_kappa([[5, 0], [0, 9]]).kappa == pytest.approx(1.0)
    assert cohen_kappa([[4, 4], [4, 4]]).kappa == pytest.approx(0.0)


@pytest.mark.parametrize("table", [[], [[1, 2]], [[1, -1], [0, 1]], [[0, 0], [0, 0]], [[7, 0], [0, 0]]])
def test_tables_without_meaning_are_refused(table):
    """A table that isn't square, counts below 0, holds nothing or one grade only is an error."""
    with pytest.raises(ArgumentError, match=r"^table:"):
        cohen_kappa(table)
