"""Lines off level over the whole width."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan import ScanSettings
from wideroll.scan.frame import make_frame
from wideroll.scan.splices import find_splices

FRAME = make_frame(1400, (0.1, 0.1), np.uint8, ScanSettings())
WEB = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=138.0)


def splices(*stretches):
    """Of stretches (line from, to, gain), cut at the borders of blocks of 2,500 lines."""
    lines = np.concatenate([np.arange(start, end) for start, end, _ in stretches])
    gain = np.concatenate([np.full(end - start, level, np.float32) for start, end, level in stretches])
    block = lines // 2500
    kinds = np.unique(block)
    return find_splices([lines[block == k] for k in kinds], [gain[block == k] for k in kinds], WEB, FRAME)


def test_a_tape_is_a_splice_with_its_place_and_contrast():
    """Twenty-five millimetres at 0.6 of the level, over a border of blocks, are one splice as wide as the web."""
    (splice,) = splices((2400, 2650, 0.6))
    assert (splice.extent.along_from_m, splice.extent.along_to_m) == pytest.approx((0.24, 0.265))
    assert splice.extent.width_mm == 138.0
    assert splice.contrast == pytest.approx(-0.4)
    assert not splice.dropped


def test_a_few_lines_were_dropped():
    """Three millimetres or less are the scanner's own fault, each by itself."""
    found = splices((100, 101, 0.0), (500, 530, 0.0), (900, 931, 0.0))
    assert [splice.dropped for splice in found] == [True, True, False]


def test_a_tape_with_edges_is_one_splice():
    """Dark edges and a middle hardly off level belong together."""
    (splice,) = splices((1000, 1030, 0.3), (1045, 1200, 0.85), (1210, 1240, 0.3))
    assert splice.extent.length_m == pytest.approx(0.024)
    assert splice.contrast == pytest.approx(-0.15)


def test_dropped_lines_near_each_other_are_no_splice():
    """A line in ten over four millimetres is four dropped lines."""
    found = splices((100, 101, 0.0), (110, 111, 0.0), (120, 121, 0.0), (140, 141, 0.0))
    assert [splice.dropped for splice in found] == [True] * 4


@given(st.lists(st.integers(0, 6000), min_size=1, max_size=60, unique=True))
@settings(max_examples=60, deadline=None)
def test_every_line_lies_in_just_one(lines):
    """No line off level is lost, and none is reported twice."""
    ordered = np.sort(np.array(lines, np.int64))
    found = find_splices([ordered], [np.zeros(len(lines), np.float32)], WEB, FRAME)
    starts = [splice.extent.along_from_m for splice in found]
    ends = [splice.extent.along_to_m for splice in found]
    assert starts == sorted(starts)
    assert all(end <= start + 1e-12 for end, start in zip(ends[:-1], starts[1:], strict=True))
    for line in lines:
        middle = FRAME.along_m(line + 0.5)
        assert sum(start <= middle < end for start, end in zip(starts, ends, strict=True)) == 1


def test_no_lines_are_no_splices():
    """A roll with all lines on level has none."""
    assert find_splices([], [], WEB, FRAME) == ()


def test_each_line_needs_its_gain():
    """Lines and gains of different number are refused."""
    with pytest.raises(ArgumentError, match="one value for each"):
        find_splices([np.array([3])], [np.empty(0, np.float32)], WEB, FRAME)
