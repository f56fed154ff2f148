"""Marks: what is found, where, and what it is called."""

import numpy as np
import polars as pl
import pytest

from wideroll.roll import check_marks
from wideroll.scan import LinePlaces, MarkFinder, ScanSettings, find_marks, growth

PITCH = (0.3, 0.3)
WHOLE = ScanSettings(find_edges=False)


def planted(web, count, *, size, contrast, seed=5):
    """Plant square marks of both polarities on a grid with room between them; returns centres in pixels and signs."""
    rng = np.random.Generator(np.random.PCG64(seed))
    places = [(i, j) for i in range(8, len(web) - 20, 24) for j in range(8, web.shape[1] - 20, 24)]
    chosen = [places[k] for k in rng.choice(len(places), count, replace=False)]
    truth = []
    for i, j in chosen:
        sign = int(rng.choice([-1, 1]))
        web[i : i + size, j : j + size] *= 1.0 + sign * contrast
        truth.append((i + size / 2, j + size / 2, sign))
    return truth


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_planted_marks_are_found_and_nothing_else(weave, grey, dtype):
    """Every 4 × 4 mark of eight times the noise is found within half a pixel, and there is nothing besides."""
    scale = 1.0 if dtype is np.uint8 else 100.0
    web = weave(1500, 720, level=150.0 * scale, sigma=2.5 * scale)
    truth = planted(web, 150, size=4, contrast=8 * 2.5 / 150.0)
    marks = find_marks(grey(web, dtype), PITCH, WHOLE).marks
    assert marks.height == len(truth)
    for i, j, sign in truth:
        near = marks.filter(
            ((pl.col("along_m") - i * 0.0003).abs() < 0.00015) & ((pl.col("across_mm") - j * 0.3).abs() < 0.15)
        )
        assert near["polarity"].to_list() == ["bright" if sign > 0 else "dark"]
        assert near["contrast"][0] == pytest.approx(8 * 2.5 / 150.0, abs=4 * 2.5 / 150.0)


@pytest.mark.parametrize(("sigma", "seed"), [(2.0, 1), (3.0, 2), (4.0, 3)])
def test_a_clean_web_shows_nothing(weave, grey, sigma, seed):
    """On noise alone no mark and no streak is found."""
    found = find_marks(grey(weave(4000, 960, sigma=sigma, seed=seed)), PITCH)
    assert found.marks.is_empty()
    assert found.streaks == ()
    assert found.marks.schema == check_marks(found.marks).schema


def test_noise_crosses_a_lower_threshold_as_often_as_it_should(weave, grey):
    """False marks of one pixel at 4.2 deviations are as many as normal noise makes: the noise is measured right."""
    image = grey(weave(8000, 960, sigma=2.5, seed=11))
    count = find_marks(image, PITCH, ScanSettings(seed_snr=4.2, least_pixels=1, find_edges=False)).marks.height
    expected = image.size * 2 * 1.335e-5
    assert count == pytest.approx(expected, abs=4 * expected**0.5)


def test_a_mirrored_web_has_mirrored_marks(weave, grey):
    """Turning the web round changes places across and nothing else."""
    web = weave(800, 480)
    planted(web, 60, size=5, contrast=0.2)
    image = grey(web)
    one, other = find_marks(image, PITCH, WHOLE).marks, find_marks(image[:, ::-1], PITCH, WHOLE).marks
    other = other.with_columns(across_mm=480 * 0.3 - pl.col("across_mm")).sort("along_m", "across_mm")
    for name in ("along_m", "across_mm", "area_mm2", "snr", "length_mm", "width_mm"):
        assert other[name].to_numpy() == pytest.approx(one.sort("along_m", "across_mm")[name].to_numpy(), rel=1e-6)


def test_an_inverted_web_has_marks_of_the_other_polarity(weave, grey):
    """A negative of the raster shows the same marks, dark for bright."""
    web = weave(800, 480, bend=0.0, gain=0.0, level=127.5)
    planted(web, 60, size=5, contrast=0.2)
    image = grey(web)
    one, other = find_marks(image, PITCH, WHOLE).marks, find_marks(255 - image, PITCH, WHOLE).marks
    assert one.height == other.height == 60
    assert other["area_mm2"].to_list() == pytest.approx(one["area_mm2"].to_list())
    swap = {"dark": "bright", "bright": "dark"}
    assert [swap[name] for name in other["polarity"].to_list()] == one["polarity"].to_list()


def test_eight_and_sixteen_bits_show_the_same(weave, grey):
    """The same grey values on a longer scale give the same marks."""
    web = weave(800, 480)
    planted(web, 60, size=5, contrast=0.2)
    image = grey(web)
    one, other = find_marks(image, PITCH, WHOLE), find_marks(image.astype(np.uint16) * 257, PITCH, WHOLE)
    assert one.marks["id"].to_list() == other.marks["id"].to_list()
    assert other.marks["contrast"].to_numpy() == pytest.approx(one.marks["contrast"].to_numpy(), rel=1e-5)
    assert other.noise == pytest.approx(one.noise, rel=1e-6)


def test_another_pitch_scales_places_and_sizes(weave, grey):
    """Places and sizes follow the pitch of their axis."""
    web = weave(700, 480)
    planted(web, 40, size=6, contrast=0.3)
    image = grey(web)
    use = ScanSettings(find_edges=False, block_m=0.21, overview_cell_mm=10.5)
    one = find_marks(image, (0.3, 0.3), use).marks
    use = ScanSettings(find_edges=False, block_m=0.42, overview_cell_mm=21.0)
    other = find_marks(image, (0.6, 0.15), use).marks
    assert other["along_m"].to_numpy() == pytest.approx(one["along_m"].to_numpy() * 2.0)
    assert other["across_mm"].to_numpy() == pytest.approx(one["across_mm"].to_numpy() / 2.0)
    assert other["length_mm"].to_numpy() == pytest.approx(one["length_mm"].to_numpy() * 2.0)


def test_a_single_pixel_is_no_mark_unless_asked_for(weave, grey):
    """A strong pixel alone is noise at the usual settings, and a mark where one pixel is enough."""
    web = weave(600, 480, gain=0.0, bend=0.0, sigma=2.0)
    web[300, 300] = 100.0
    web[299:302, 299:302] = np.where(web[299:302, 299:302] == 100.0, 100.0, 150.0)
    assert find_marks(grey(web), PITCH, WHOLE).marks.is_empty()
    alone = find_marks(grey(web), PITCH, ScanSettings(find_edges=False, least_pixels=1)).marks
    assert alone["across_mm"].to_list() == pytest.approx([300.5 * 0.3])


@pytest.mark.parametrize(("size", "strength"), [(3, 5.0), (7, 2.0), (16, 1.0), (40, 0.5)])
def test_faint_wide_marks_are_found_as_well_as_sharp_small_ones(weave, grey, size, strength):
    """Marks of half to five times the noise of a pixel are found at the size at which they show, and placed well."""
    web = weave(4200, 960, seed=size)
    places = [(i, 100 + 37 * n % 760) for n, i in enumerate(range(100, 4100, 80))]
    for i, j in places:
        web[i : i + size, j : j + size] += strength * 2.5
    marks = find_marks(grey(web), PITCH, WHOLE).marks
    assert marks.height == len(places)
    found = sorted(zip(marks["along_m"].to_list(), marks["across_mm"].to_list(), strict=True))
    for (along, _), (i, _) in zip(found, sorted(places), strict=True):
        assert along == pytest.approx((i + size / 2) * 0.0003, abs=max(0.00045, 0.00008 * size))
    assert marks["width_mm"].median() == pytest.approx(size * 0.3, rel=0.25, abs=0.31)
    assert marks["contrast"].median() == pytest.approx(strength * 2.5 / 150.0, rel=0.3)


def test_a_mark_across_the_border_of_blocks_is_one(weave, grey):
    """A blot on the border of two blocks is measured whole."""
    web = weave(1900, 480)
    web[820:830, 200:205] *= 0.5
    marks = find_marks(grey(web), PITCH, WHOLE).marks
    assert marks.select("length_mm", "width_mm", "area_mm2").row(0) == pytest.approx((3.0, 1.5, 4.5))
    assert marks.height == 1


def test_kinds_follow_the_stated_rules(weave, grey):
    """Saturated bright is a hole, small a pinhole; five times longer than wide is a scratch; the rest are spots."""
    web = weave(800, 480)
    web[100:104, 50:54] = 300.0
    web[200, 100:101] = web[201, 100:101] = 300.0
    web[300:304, 150:154] *= 0.6
    web[400:403, 200:260] *= 0.6
    for k in range(40):
        web[500 + k, 300 + k : 302 + k] *= 0.6
    web[600:603, 400:403] += 40.0
    image = np.minimum(grey(web), 255).astype(np.uint8)
    use = ScanSettings(find_edges=False)
    marks = find_marks(image, (0.2, 0.2), use).marks.sort("along_m")
    assert marks["kind"].to_list() == ["hole", "pinhole", "spot", "scratch", "scratch", "spot"]


def test_a_detector_may_saturate_below_the_pixel_type(weave, grey):
    """With a stated saturation a 12-bit detector's holes are told from bright spots."""
    web = weave(600, 480, level=2000.0, sigma=30.0)
    web[100:106, 50:56] = 4095.0
    web[300:306, 50:56] = 3500.0
    use = ScanSettings(find_edges=False, saturation=4095)
    marks = find_marks(grey(web, np.uint16), PITCH, use).marks.sort("along_m")
    assert marks["kind"].to_list() == ["hole", "spot"]


def test_a_dark_core_with_a_bright_ring_is_seen(weave, grey):
    """A particle that shows both polarities is one mark: its core, with the contrast of the ring around it."""
    web = weave(600, 480)
    for line, ring, core in ((100, 1.3, 0.5), (300, 1.08, 0.5), (500, 0.7, 1.5)):
        web[line : line + 12, 100:112] *= ring
        web[line + 4 : line + 8, 104:108] *= core / ring
    marks = find_marks(grey(web), PITCH, WHOLE).marks.sort("along_m")
    assert marks["polarity"].to_list() == ["dark", "dark", "bright"]
    assert marks["across_mm"].to_numpy() == pytest.approx(106 * 0.3, abs=0.15)
    assert marks["ring"].to_numpy() == pytest.approx([0.3, 0.08, -0.3], abs=0.02)
    assert marks["area_mm2"].to_numpy() == pytest.approx(1.44, rel=0.15)


def test_dense_dirt_is_counted_to_the_last(weave, grey):
    """Thousands of marks in a square metre don't hide one another."""
    web = weave(2000, 480, seed=4)
    rng = np.random.Generator(np.random.PCG64(4))
    places = [(i, j) for i in range(4, 1990, 12) for j in range(4, 470, 12)]
    chosen = rng.choice(len(places), 300, replace=False)
    for k in chosen:
        i, j = places[k]
        web[i : i + 4, j : j + 4] *= 0.75
    found = find_marks(grey(web), PITCH, WHOLE)
    assert found.marks.height == 300
    assert found.streaks == ()


@pytest.mark.parametrize(("turn", "angle"), [(0, 0.0), (45, 45.0), (90, 90.0), (135, -45.0)])
def test_the_long_axis_points_where_the_mark_does(weave, grey, turn, angle):
    """Elongation and angle follow a mark that lies along, across or askew; positive towards greater places across."""
    web = weave(400, 480, gain=0.0, bend=0.0)
    line, column = np.mgrid[-150:250, -240:240]
    way = np.radians(turn)
    along = line * np.cos(way) + column * np.sin(way)
    across = column * np.cos(way) - line * np.sin(way)
    web[(np.abs(along) <= 20) & (np.abs(across) <= 4)] *= 0.6
    marks = find_marks(grey(web), PITCH, WHOLE).marks
    assert marks.height == 1
    off = (marks["angle_deg"][0] - angle + 90.0) % 180.0 - 90.0
    assert abs(off) < 3.0
    assert marks["elongation"][0] == pytest.approx(41 / 9, rel=0.25)


def test_where_more_stands_out_than_can_be_followed_nothing_is_called_clean(weave, grey, monkeypatch):
    """A block with more pixels of marks than there is room for is listed as not looked at."""
    web = weave(400, 480)
    web[100:140, 100:140] *= 0.5
    assert find_marks(grey(web), PITCH, WHOLE).coverage.unseen == ()
    monkeypatch.setattr(growth, "_LEAST_ROOM", 1000)
    monkeypatch.setattr(growth, "_ROOM_SHARE", 1000)
    found = find_marks(grey(web), PITCH, WHOLE)
    assert [gap.why for gap in found.coverage.unseen] == ["more stands out here than can be told apart"]
    assert found.coverage.share(found.coverage.seen[0]) == 0.0


def test_dirt_so_dense_that_it_passes_for_noise_is_not_called_clean(weave, grey):
    """Blocks much noisier than the rest of the roll are listed as not looked at: marks could hide in them."""
    web = weave(6000, 480)
    rng = np.random.Generator(np.random.PCG64(6))
    dirt = np.kron(rng.random((420, 120)) < 0.4, np.ones((4, 4), bool))
    web[2475:4125][dirt[:1650]] *= 0.5
    found = find_marks(grey(web), PITCH, WHOLE)
    assert find_marks(grey(weave(6000, 480)), PITCH, WHOLE).coverage.unseen == ()
    noisy = [gap for gap in found.coverage.unseen if "noise" in gap.why]
    assert len(noisy) == 1
    assert noisy[0].extent.along_from_m <= 2475 * 0.0003 + 1e-9
    assert noisy[0].extent.along_to_m >= 4125 * 0.0003 - 1e-9


def test_sizes_and_shapes_follow_the_encoder(weave, grey):
    """Where the web ran at a fifth of its speed, a mark's length, elongation and kind are those on the web."""
    web = weave(1600, 480)
    web[300:324, 100:106] *= 0.6
    web[1200:1224, 100:106] *= 0.6
    slowed = LinePlaces(lines=(0.0, 800.0, 1600.0), metres=(0.0, 0.24, 0.288))
    finder = MarkFinder(480, PITCH, np.uint8, WHOLE, slowed)
    finder.feed(grey(web))
    marks = finder.finish().marks.sort("along_m")
    assert marks["along_m"].to_list() == pytest.approx([0.0936, 0.26472], abs=0.0002)
    assert marks["length_mm"].to_list() == pytest.approx([7.2, 1.44], abs=0.31)
    assert marks["elongation"].to_list() == pytest.approx([4.0, 1.25], rel=0.1)
    assert marks["angle_deg"].to_list() == pytest.approx([0.0, 90.0], abs=3.0)
