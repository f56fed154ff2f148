"""Several series of one roller are told as such."""

import numpy as np
import pytest

from wideroll.repeats import Series, SeriesKind, find_series
from wideroll.repeats.makers import same_maker, with_makers
from wideroll.roll import Extent


@pytest.fixture
def series():
    """Makes a series that matters only by spacing and place."""

    def make(spacing_m: float, across_mm: float, **fields) -> Series:
        usual = {
            "spacing_m": spacing_m,
            "spacing_low_m": spacing_m,
            "spacing_high_m": spacing_m,
            "phase_m": 0.0,
            "across_mm": across_mm,
            "extent": Extent(along_from_m=0.0, along_to_m=9.0, across_from_mm=0.0, across_to_mm=9.0),
            "members": (0, 1),
            "turns": (0, 1),
            "print_probability": 0.5,
            "drift": 0.0,
            "log_evidence": 30.0,
            "false_alarm": 1e-9,
            "candidates": (),
        }
        return Series(**(usual | fields))

    return make


@pytest.mark.parametrize(
    ("spacing", "across", "same"),
    [
        (0.7006, 330.0, True),
        (0.7006, 350.0, False),
        (0.7036, 330.0, False),
        (0.7066, 303.0, True),
        (0.3503, 303.0, True),
        (1.4012, 303.0, True),
        (0.3503, 330.0, False),
        (0.5, 300.0, False),
    ],
)
def test_near_prints_of_one_spacing_are_one_rollers(series, spacing, across, same):
    """One roller's are prints within 40 mm with one spacing, and at one place those of simple multiples."""
    first, other = series(0.7, 300.0), series(spacing, across)
    assert same_maker(first, other, 6.0) is same
    assert same_maker(other, first, 6.0) is same
    assert not same_maker(first, series(spacing, across, kind=SeriesKind.LAP), 6.0)


def test_each_points_to_the_clearest(series):
    """A third series beside the second points to the first, not to the second."""
    told = with_makers([series(0.7, 300.0), series(0.7, 335.0), series(0.9, 300.0), series(0.7, 370.0)], 6.0)
    assert [one.same_maker_as for one in told] == [None, 0, None, 0]


def test_a_nick_with_a_tail_is_one_roller(prints, dirt, together, rollers):
    """Two prints 20 mm apart on one roller are two series, the second told to be of the first one's roller."""
    pitch = np.pi * 0.240
    along, _ = prints(3, pitch, 0.7, 60.0)
    marks = together((along, np.full(along.size, 300.0)), (along, np.full(along.size, 320.0)), dirt(4, 200, 60.0))
    search = find_series(*marks, length_m=60.0, rollers=rollers)
    assert [one.same_maker_as for one in search] == [None, 0]
