"""Areas off the roll's own level."""

import numpy as np
import pytest

from wideroll.scan import MarkFinder, ScanSettings, find_marks

PITCH = (0.3, 0.3)
WHOLE = ScanSettings(find_edges=False)


@pytest.fixture(scope="module")
def wide(weave):
    """Three metres of web, 288 mm wide."""
    web = weave(10_000, 960, seed=4)
    web.flags.writeable = False
    return web


def areas(found):
    """What is listed as off level."""
    return [gap for gap in found.coverage.unseen if gap.why.startswith("level ")]


@pytest.mark.parametrize("factor", [0.7, 1.3])
@pytest.mark.parametrize("outside", [None, 250.0])
def test_a_large_area_off_level_is_one_rectangle(wide, grey, frame_web, factor, outside):
    """A patch of 400 mm × 120 mm whose signal is 30 % off is unseen, with the departure in its reason."""
    web = wide.copy()
    web[4000:5333, 300:700] *= factor
    if outside:
        web = frame_web(web, left=42.4, right=930.0, outside=outside)
    found = find_marks(grey(web), PITCH)
    (area,) = areas(found)
    left = 42.4 if outside else 0.0
    assert area.why == f"level {100 * (factor - 1):+.0f} % against the roll's own: not judged"
    assert area.extent.across_from_mm == pytest.approx((300 - left) * 0.3, abs=5.2)
    assert area.extent.across_to_mm == pytest.approx((700 - left) * 0.3, abs=5.2)
    assert area.extent.across_from_mm <= (300 - left) * 0.3 + 0.2
    assert area.extent.across_to_mm >= (700 - left) * 0.3 - 0.2
    assert area.extent.along_from_m == pytest.approx(1.2, abs=0.13)
    assert area.extent.along_to_m == pytest.approx(1.6, abs=0.13)


def test_a_stretch_off_level_over_the_whole_width_is_listed(wide, grey):
    """Half a metre at 80 % is unseen from side to side, also where it is the first of the roll."""
    for start, end in ((5000, 6700), (0, 1700)):
        web = wide.copy()
        web[start:end] *= 0.8
        (area,) = areas(find_marks(grey(web), PITCH))
        assert area.extent.width_mm == pytest.approx(288.0)
        assert area.extent.along_from_m == pytest.approx(start * 0.0003, abs=0.13)
        assert area.extent.along_to_m == pytest.approx(end * 0.0003, abs=0.13)


def test_two_areas_to_either_side_are_told_apart(wide, grey):
    """A bright and a dark area at the same place along are two rectangles."""
    web = wide.copy()
    web[3000:6000, 100:300] *= 0.7
    web[3000:6000, 600:900] *= 1.2
    assert [area.why.split()[1] for area in areas(find_marks(grey(web), PITCH))] == ["-30", "+20"]


def test_the_tolerance_is_a_setting(wide, grey):
    """An area 6 % off is listed only when so little is asked for."""
    web = wide.copy()
    web[4000:6000, 300:700] *= 0.94
    assert areas(find_marks(grey(web), PITCH)) == []
    assert len(areas(find_marks(grey(web), PITCH, ScanSettings(level_tolerance=0.04)))) == 1


def test_drift_and_a_bent_profile_are_the_rolls_own(weave, grey):
    """A profile a third lower at its sides and a level that drifts by 8 % along are nothing to list."""
    web = weave(10_000, 960, bend=0.35, seed=5)
    web *= np.linspace(1.0, 0.92, 10_000)[:, None]
    web *= 1.0 + 0.02 * np.sin(np.arange(10_000) / 900.0)[:, None]
    assert find_marks(grey(web), PITCH).coverage.unseen == ()


def test_a_step_of_the_whole_level_is_followed(weave, grey):
    """A scanner whose gain is set anew half-way is compared with itself on either side."""
    web = weave(20_000, 240)
    web[10_000:] *= 0.75
    assert areas(find_marks(grey(web), PITCH)) == []


@pytest.mark.parametrize("columns", [2, 8, 15])
@pytest.mark.parametrize("place", [100, 104, 111])
def test_a_streak_is_not_an_area(wide, grey, columns, place):
    """However strong, a line of less than 5 mm is a streak, and is seen."""
    web = wide.copy()
    web[2000:8000, place : place + columns] *= 0.6
    found = find_marks(grey(web), PITCH, WHOLE)
    assert found.coverage.unseen == ()
    assert "dark" in [streak.polarity for streak in found.streaks]


def test_a_splice_is_listed_once(wide, grey):
    """Lines far off level over the whole width stay a splice."""
    web = wide.copy()
    web[5000:5060] *= 0.5
    assert [gap.why for gap in find_marks(grey(web), PITCH).coverage.unseen] == [
        "lines far off level: splice or dropout"
    ]


def test_marks_are_not_areas(wide, grey):
    """A crowd of marks, which covers a tenth of a stretch, is counted and not taken for an area off level."""
    web = wide.copy()
    rng = np.random.Generator(np.random.PCG64(2))
    for i, j in rng.integers((4000, 200), (6000, 700), (700, 2)):
        web[i : i + 12, j : j + 12] *= 0.5
    found = find_marks(grey(web), PITCH)
    assert areas(found) == []
    assert found.marks.height > 300


def test_few_blocks_are_not_compared(weave, grey):
    """A web of four blocks has no level of its own yet."""
    web = weave(3300, 480)
    web[1000:2300, 100:300] *= 0.7
    assert areas(find_marks(grey(web), PITCH)) == []


def test_areas_do_not_depend_on_how_the_rows_come(wide, grey, same):
    """Pieces of any height show the same areas."""
    web = wide.copy()
    web[4000:5333, 300:700] *= 0.7
    image = grey(web)
    whole = find_marks(image, PITCH)
    for height in (211, 825, 4000):
        finder = MarkFinder(960, PITCH, np.uint8)
        for start in range(0, len(image), height):
            finder.feed(image[start : start + height])
        assert same(finder.finish(), whole)


def test_a_roll_of_many_levels_is_listed_in_few_rectangles(weave, grey):
    """Where nearly everything departs, stretches of the whole width say so."""
    rng = np.random.Generator(np.random.PCG64(9))
    web = weave(9600, 500, seed=3, gain=0.0)
    web *= np.kron(rng.uniform(0.6, 1.4, (120, 10)), np.ones((80, 50)))
    use = ScanSettings(block_m=0.024, overview_cell_mm=3.0, find_edges=False)
    found = areas(find_marks(grey(web, np.uint8), PITCH, use))
    assert 0 < len(found) <= 500
