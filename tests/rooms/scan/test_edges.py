"""Edges of the web, and what was not looked at."""

import numpy as np
import pytest

from wideroll.roll import Extent
from wideroll.scan import ScanSettings, find_marks

PITCH = (0.3, 0.3)


@pytest.mark.parametrize("outside", [250.0, 8.0])
@pytest.mark.parametrize("left", [40.0, 47.3])
def test_places_are_measured_from_the_web_edge(weave, grey, frame_web, outside, left):
    """The datum edge is the web's left edge, bright or dark the field beside it, and marks are placed from it."""
    web = weave(900, 480)
    web[300:304, 240:244] *= 0.6
    found = find_marks(grey(frame_web(web, left=left, right=430.0, outside=outside)), PITCH)
    assert found.web_width_mm == pytest.approx((430.0 - left) * 0.3, abs=0.3)
    assert found.marks["across_mm"].to_list() == pytest.approx([(242.0 - left) * 0.3], abs=0.2)


def test_a_wandering_edge_is_followed(weave, grey, frame_web):
    """Marks at one place of the web keep their distance from its edge while the web moves by millimetres."""
    left = 40.0 + 8.0 * np.sin(np.arange(6000) / 6000.0)
    web = weave(6000, 480)
    truth = range(200, 5800, 400)
    for i in truth:
        j = round(left[i] + 100.0)
        web[i : i + 4, j : j + 4] *= 0.6
    found = find_marks(grey(frame_web(web, left=left, right=left + 380.0)), PITCH)
    assert found.marks["across_mm"].to_numpy() == pytest.approx(np.full(len(truth), 102.0 * 0.3), abs=0.6)
    assert found.web_width_mm == pytest.approx(380.0 * 0.3, abs=0.2)


def test_the_edge_bead_is_not_looked_at(weave, grey, frame_web):
    """Dirt within the bead isn't counted; the bead is unseen, in two rectangles however the edge wanders."""
    left = 40.0 + 5.0 * np.sin(np.arange(6000) / 1500.0)
    web = weave(6000, 480)
    web[300:304, 50:53] *= 0.6
    web[500:504, 240:244] *= 0.6
    found = find_marks(grey(frame_web(web, left=left, right=left + 380.0)), PITCH)
    assert found.marks.height == 1
    assert [gap.why for gap in found.coverage.unseen] == ["edge bead", "edge bead"]
    whole = Extent(along_from_m=0.0, along_to_m=1.8, across_from_mm=0.0, across_to_mm=114.0)
    assert found.coverage.share(whole) == pytest.approx(1.0 - 8.0 / 114.0, abs=2e-3)


def test_without_an_outside_the_whole_raster_is_web(weave, grey):
    """A crop from the web's middle, its profile falling off to the sides, is looked at from border to border."""
    web = weave(900, 480, bend=0.35)
    web[300:304, 1:5] *= 0.6
    found = find_marks(grey(web), PITCH)
    assert found.web_width_mm == pytest.approx(144.0)
    assert found.coverage.unseen == ()
    assert found.marks["across_mm"].to_list() == pytest.approx([0.9], abs=0.02)


def test_an_area_off_level_is_not_the_web(weave, grey):
    """In a raster full of web a dark area has no edges of a web, and hides nothing beside it."""
    web = weave(10_000, 960)
    web[4000:5333, 300:700] *= 0.7
    web[8000:8004, 100:104] *= 0.6
    found = find_marks(grey(web), PITCH)
    assert found.web_width_mm == pytest.approx(288.0)
    assert found.marks.filter(found.marks["along_m"] > 2.0)["across_mm"].to_list() == pytest.approx([30.6], abs=0.2)


def test_edges_that_appear_for_good_are_believed(weave, grey, frame_web):
    """A web that comes into the field after a stretch without edges is measured from its edge a metre later."""
    web = weave(12_000, 480)
    web[2500:] = frame_web(web[2500:], left=40.0, right=430.0)
    found = find_marks(grey(web), PITCH)
    beads = [gap.extent for gap in found.coverage.unseen if gap.why == "edge bead"]
    assert len(beads) == 2
    assert beads[0].along_from_m == pytest.approx(1.75, abs=0.26)
    assert found.web_width_mm == pytest.approx(117.0, abs=0.3)


def test_where_the_web_seems_narrower_the_rest_is_unseen(weave, grey, frame_web):
    """Web that lies outside of the edges found isn't taken for looked at."""
    web = weave(10_000, 480)
    web = frame_web(web, left=40.0, right=np.where(np.arange(10_000) < 7000, 430.0, 300.0))
    found = find_marks(grey(web), PITCH)
    (gap,) = (gap for gap in found.coverage.unseen if "narrower" in gap.why)
    assert gap.extent.along_from_m == pytest.approx(2.1, abs=0.13)
    assert gap.extent.across_from_mm == pytest.approx(78.0, abs=0.3)
    assert gap.extent.across_to_mm == pytest.approx(found.web_width_mm)


def test_edges_may_be_left_alone(weave, grey, frame_web):
    """With find_edges off, across is measured from the raster's border."""
    image = grey(frame_web(weave(900, 480), left=40.0, right=430.0))
    found = find_marks(image, PITCH, ScanSettings(find_edges=False))
    assert found.web_width_mm == pytest.approx(144.0)


def test_dead_and_saturated_columns_are_unseen(weave, grey):
    """Columns that show nothing are listed once with the reason, and give no marks."""
    web = weave(3000, 480)
    web[:, 100] = 0.0
    web[:, 101] = 0.0
    web[:, 200] = 150.0
    web[:, 300:303] = 255.0
    found = find_marks(grey(web), PITCH)
    assert found.marks.is_empty()
    assert found.streaks == ()
    gaps = {(round(g.extent.across_from_mm, 3), round(g.extent.across_to_mm, 3)): g for g in found.coverage.unseen}
    assert list(gaps) == [(30.0, 30.6), (60.0, 60.3), (90.0, 90.9)]
    assert [("saturated" in gap.why) for gap in gaps.values()] == [False, False, True]
    assert all(gap.extent.length_m == pytest.approx(0.9) for gap in gaps.values())


def test_columns_that_die_half_way_are_unseen_from_there(weave, grey):
    """The rectangle begins at the block in which the column died."""
    web = weave(6000, 480)
    web[3300:, 100] = 0.0
    (gap,) = find_marks(grey(web), PITCH).coverage.unseen
    assert gap.extent.along_from_m == pytest.approx(0.99, abs=0.25)
    assert gap.extent.along_to_m == pytest.approx(1.8)


def test_a_splice_is_unseen_and_not_dirt(weave, grey):
    """Lines far off level over the whole width are listed as one stretch and not as marks."""
    web = weave(2000, 480)
    web[1000:1050] *= 0.5
    found = find_marks(grey(web), PITCH)
    assert found.marks.is_empty()
    (gap,) = found.coverage.unseen
    assert gap.extent.along_from_m == pytest.approx(0.3, abs=0.001)
    assert gap.extent.length_m == pytest.approx(0.015, abs=0.001)
    assert "splice" in gap.why


@pytest.mark.parametrize("level", [0, 255])
def test_a_raster_without_web_is_unseen(level):
    """All black or all white shows no web: nothing is found, nothing was looked at, nothing fails."""
    found = find_marks(np.full((900, 200), level, np.uint8), PITCH)
    assert found.marks.is_empty()
    assert found.coverage.share(found.coverage.seen[0]) == 0.0
    assert np.isnan(found.overview.mean).all()
    assert found.noise == 0.0


@pytest.mark.parametrize("shape", [(1, 1), (7, 300), (1, 300), (900, 1), (900, 3)])
def test_scraps_give_a_result(shape):
    """A raster too small to say anything about gives an empty result that says so."""
    random = np.random.Generator(np.random.PCG64(1))
    found = find_marks(np.rint(random.normal(150.0, 3.0, shape)).astype(np.uint8), PITCH)
    assert found.marks.is_empty()
    assert (found.lines, found.columns) == shape
    assert (found.coverage.share(found.coverage.seen[0]) == 0.0) == (shape[0] < 8)
