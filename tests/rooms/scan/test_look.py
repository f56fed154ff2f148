"""Looking at the marks while lines still come."""

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.scan import LinePlaces, LostLines, MarkFinder, ScanSettings, find_marks

PITCH = (0.3, 0.3)
USE = ScanSettings(block_m=0.02, overview_cell_mm=3.0, streak_least_m=0.05, edge_bead_mm=1.0)


@pytest.fixture(scope="module")
def soiled(weave, grey, frame_web):
    """A web of 70 blocks with edges, blots and a line."""
    web = weave(4700, 333, seed=7)
    rng = np.random.Generator(np.random.PCG64(3))
    for i, j in rng.integers((0, 40), (4690, 290), (200, 2)):
        web[i : i + 6, j : j + 4] *= 0.7
    web[200:500, 150:152] *= 1.02
    web[100:240, 100] *= 0.6
    return grey(frame_web(web, left=20 + np.arange(4700) / 400.0, right=310.0))


def fed(image, heights, *, looking):
    """A finder fed in pieces, asked now and then what it has."""
    finder = MarkFinder(image.shape[1], PITCH, image.dtype, USE)
    start = 0
    for number, height in enumerate([*heights, len(image)]):
        finder.feed(image[start : start + height])
        start += height
        if looking:
            finder.look(0.3 * (number % 3))
    return finder


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(heights=st.lists(st.integers(0, 900), min_size=1, max_size=12))
def test_a_look_changes_nothing(soiled, same, heights):
    """However the rows come and however often somebody looks, the end is to the last bit what it is without."""
    assert same(fed(soiled, heights, looking=True).finish(), find_marks(soiled, PITCH, USE))


def test_marks_away_from_lines_are_final(soiled):
    """What a look shows of marks beside no line is what stands in the end, row for row."""
    finder = fed(soiled[:3000], [700, 700], looking=False)
    look, end = finder.look(), find_marks(soiled, PITCH, USE)
    beside = (pl.col("across_mm") > 50.0) & (pl.col("along_m") < look.to_m - 0.02)
    early, late = (marks.filter(beside).drop("kind", "rule") for marks in (look.marks, end.marks))
    assert early.height > 30
    assert early.equals(late)


def test_a_late_look_is_the_end_of_a_whole_one(soiled):
    """Asked for the last stretch alone, a look gives the marks that a look from the head gives there."""
    finder = fed(soiled, [1000], looking=False)
    whole, late = finder.look(), finder.look(0.8)
    assert 0.3 < late.from_m <= 0.8
    assert (late.to_m, whole.from_m) == (whole.to_m, 0.0)
    away = (pl.col("across_mm") > 50.0) & (pl.col("along_m") > 0.8)
    assert late.marks.filter(away)["id"].to_list() == whole.marks.filter(away)["id"].to_list()
    assert all(box.along_from_m >= late.from_m for box in late.coverage.seen)
    assert all(hole.extent.along_from_m >= late.from_m for hole in late.coverage.unseen)


def test_lost_lines_are_not_looked_at(soiled):
    """A look counts lines that couldn't be read among what nobody saw."""
    finder = MarkFinder(soiled.shape[1], PITCH, soiled.dtype, USE)
    finder.feed(soiled[:1000])
    finder.lose(LostLines(lines=500, why="b.tif is cut off"))
    finder.feed(soiled[1500:3000])
    unseen = [hole for hole in finder.look().coverage.unseen if hole.why == "b.tif is cut off"]
    assert [(hole.extent.along_from_m, hole.extent.along_to_m) for hole in unseen] == [pytest.approx((0.3, 0.45))]


def test_a_line_along_the_web_leaves_no_pieces(soiled):
    """Where a line runs so far, its pieces aren't marks; what stands out more than the line is."""
    look = fed(soiled, [100], looking=False).look()
    dark = (pl.col("along_m") < 0.09) & pl.col("across_mm").is_between(22.0, 26.0) & (pl.col("length_mm") < 30.0)
    assert look.marks.filter(dark & (pl.col("width_mm") < 0.7)).height == 0


def test_nothing_is_seen_before_the_first_block():
    """Before a block is whole there is nothing to look at."""
    finder = MarkFinder(200, PITCH, np.uint8)
    finder.feed(np.full((20, 200), 150, np.uint8))
    assert finder.look() is None
    assert (finder.screened_lines, finder.marks_ended) == (0, 0)


def test_places_may_come_later(soiled):
    """An encoder that has counted on since the finder was made places the marks of a look."""
    finder = fed(soiled, [100], looking=False)
    steady = finder.look()
    slower = LinePlaces(lines=(0.0, 1.0), metres=(0.0, 0.0006))
    late = finder.look(places=slower)
    assert late.to_m == pytest.approx(2.0 * steady.to_m)
    assert np.allclose(late.marks["along_m"].to_numpy()[:5], 2.0 * steady.marks["along_m"].to_numpy()[:5])
