"""A scanner that stands still saw nothing."""

import numpy as np
import pytest

from wideroll.roll import Extent
from wideroll.scan import MarkFinder, ScanSettings, find_marks

PITCH = (0.3, 0.3)
STILL = "the signal stands still"


def stills(found):
    """The stretches listed, (from, to) along in lines and across in columns."""
    boxes = [gap.extent for gap in found.coverage.unseen if gap.why == STILL]
    along = [(b.along_from_m * 1000.0 / 0.3, b.along_to_m * 1000.0 / 0.3) for b in boxes]
    across = [(b.across_from_mm / 0.3, b.across_to_mm / 0.3) for b in boxes]
    return [tuple(round(value) for value in (*s, *x)) for s, x in zip(along, across, strict=True)]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("level", [0, 1, 150, 255])
def test_a_constant_raster_was_not_looked_at(level, dtype):
    """One value throughout is no web seen clean, whatever the value."""
    found = find_marks(np.full((3000, 480), level, dtype), PITCH)
    assert found.coverage.share(found.coverage.seen[0]) == 0.0
    assert [gap.why for gap in found.coverage.unseen] == [STILL]
    assert found.marks.is_empty()
    assert np.isnan(found.overview.mean).all()


def test_a_line_repeated_throughout_was_not_looked_at(weave, grey):
    """A line with noise in it, sent again and again, is one rectangle over everything."""
    image = np.repeat(grey(weave(1, 480)), 3000, axis=0)
    found = find_marks(image, PITCH)
    assert found.coverage.share(found.coverage.seen[0]) == 0.0
    assert len(found.coverage.unseen) == 1
    assert found.marks.is_empty()
    assert found.streaks == ()


def test_one_value_to_a_line_is_no_web():
    """Lines that differ in level but hold no pixel noise show nothing either."""
    image = np.repeat(np.arange(2000)[:, None] * 7 % 30 + 140, 480, axis=1).astype(np.uint8)
    found = find_marks(image, PITCH)
    assert found.coverage.share(found.coverage.seen[0]) == 0.0


def test_a_web_without_noise_is_not_told_from_a_scanner_at_rest():
    """A steady picture with something changing in a few pixels only has no noise to show that it is live."""
    image = np.full((2000, 480), 150, np.uint8)
    image[::5, ::60] += 1
    found = find_marks(image, PITCH)
    assert {gap.why for gap in found.coverage.unseen} == {STILL}
    assert found.coverage.share(found.coverage.seen[0]) == 0.0


@pytest.mark.parametrize("repeat", [True, False])
@pytest.mark.parametrize(
    ("start", "end"), [(1000, 1009), (1000, 1040), (500, 3500), (830, 845), (0, 900), (3200, 4000)]
)
def test_a_stretch_that_stands_still_is_one_rectangle(weave, grey, frame_web, start, end, repeat):
    """From a few lines to metres: it is listed once, over the whole width, and at most half a block too long."""
    image = grey(frame_web(weave(4000, 480), left=40.0, right=430.0))
    image[start:end] = image[start] if repeat else 120
    found = find_marks(image, PITCH)
    ((first, last, low, high),) = stills(found)
    assert (low, high) == (0, 390)
    assert start - 413 <= first <= start
    assert end <= last <= end + 413
    if end - start < 100:
        assert (first, last) == (start - (not repeat), end)
    assert found.marks.is_empty()
    assert found.streaks == ()


def test_a_part_of_the_scanner_that_stops_is_listed_by_itself(weave, grey):
    """Columns that repeat themselves for a few centimetres are a rectangle; the web beside it is seen."""
    image = grey(weave(3000, 960))
    image[1000:1200, 300:600] = image[1000, 300:600]
    found = find_marks(image, PITCH)
    ((first, last, low, high),) = stills(found)
    assert (first, last) == (1000, 1200)
    assert 300 <= low < 300 + 80
    assert 600 - 80 < high <= 600


def test_a_mark_in_a_repeated_line_is_not_a_scratch(weave, grey):
    """What the scanner saw last isn't seen again."""
    web = weave(4000, 480)
    web[999:1003, 240:244] *= 0.6
    image = grey(web)
    image[1001:3000] = image[1001]
    marks = find_marks(image, PITCH).marks
    assert (marks["length_mm"] < 2.0).all()


@pytest.mark.parametrize("sigma", [0.3, 0.5, 2.5])
def test_quiet_noise_is_live(weave, grey, sigma):
    """Noise of a third of a grey value on a flat web is enough to be told from standing still."""
    web = weave(3000, 480, level=150.0, sigma=sigma, bend=0.0, gain=0.0)
    assert find_marks(grey(web), PITCH).coverage.unseen == ()


@pytest.mark.parametrize("columns", [1, 2, 3, 5, 7, 8, 20])
def test_a_narrow_raster_repeats_itself_by_chance(weave, grey, columns):
    """Few columns are often alike on neighbouring lines: only a long repetition counts."""
    use = ScanSettings(find_edges=False)
    image = grey(weave(3000, columns, sigma=1.0, gain=0.0, bend=0.0))
    assert stills(find_marks(image, PITCH, use)) == []
    image[1000:2900] = image[1000]
    assert len(stills(find_marks(image, PITCH, use))) == 1


def test_doubled_lines_are_live(weave, grey):
    """A raster whose lines were written twice is looked at."""
    image = np.repeat(grey(weave(1500, 480)), 2, axis=0)
    assert find_marks(image, PITCH).coverage.unseen == ()


def test_stretches_do_not_depend_on_how_the_rows_come(weave, grey, same):
    """Pieces of any height show the same stretches, also across the borders of blocks."""
    image = grey(weave(4000, 480))
    image[800:830], image[1600:2700], image[3000:3200, 100:300] = image[800], 90, image[3000, 100:300]
    whole = find_marks(image, PITCH)
    for height in (1, 37, 825, 1300):
        finder = MarkFinder(480, PITCH, np.uint8)
        for start in range(0, len(image), height):
            finder.feed(image[start : start + height])
        assert same(finder.finish(), whole)
    assert len(stills(whole)) == 3
    box = Extent(along_from_m=0.5, along_to_m=0.8, across_from_mm=0.0, across_to_mm=144.0)
    assert whole.coverage.share(box) == 0.0
