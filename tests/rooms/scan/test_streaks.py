"""Lines along the web."""

import numpy as np
import pytest

from wideroll.scan import ScanSettings, find_marks

PITCH = (0.3, 0.3)
LINES = 27_000
WHOLE = ScanSettings(find_edges=False)


@pytest.fixture(scope="module")
def long_web(weave):
    """Eight metres of web."""
    web = weave(LINES, 240, seed=2)
    web.flags.writeable = False
    return web


def scan(web, grey, use=WHOLE):
    """The web's result."""
    return find_marks(grey(web), PITCH, use)


@pytest.mark.parametrize(("sign", "polarity"), [(-1.0, "dark"), (1.0, "bright")])
def test_a_streak_is_found_with_its_ends_width_and_contrast(long_web, grey, sign, polarity):
    """A line of half the pixel noise is one streak, ends within 0.5 m, contrast within the interval, no marks."""
    web = long_web.copy()
    start, end, contrast = 8_000, 22_000, sign * 0.5 * 2.5 / 150.0
    web[start:end, 100:103] *= 1.0 + contrast
    found = scan(web, grey)
    assert len(found.streaks) == 1
    streak = found.streaks[0]
    assert streak.extent.along_from_m == pytest.approx(start * 0.0003, abs=0.5)
    assert streak.extent.along_to_m == pytest.approx(end * 0.0003, abs=0.5)
    assert streak.across_mm == pytest.approx(101.5 * 0.3, abs=0.15)
    assert streak.width_mm == pytest.approx(0.9, abs=0.31)
    assert streak.contrast_low < contrast < streak.contrast_high
    assert streak.polarity == polarity
    assert streak.snr > 20.0
    assert not streak.whole_length
    assert found.marks.is_empty()


def test_a_wide_streak_is_one_streak(long_web, grey):
    """A streak of 12 columns is reported once and about as wide as it is."""
    web = long_web.copy()
    web[10_000:20_000, 100:112] *= 0.995
    found = scan(web, grey).streaks
    assert len(found) == 1
    assert found[0].width_mm == pytest.approx(3.6, abs=0.9)


def test_streaks_side_by_side_in_place_and_time_are_told_apart(long_web, grey):
    """Lines in different lanes or of different polarity are different streaks."""
    web = long_web.copy()
    web[3_000:12_000, 60:62] *= 0.99
    web[15_000:, 61:63] *= 1.01
    web[5_000:25_000, 180] *= 0.98
    found = scan(web, grey).streaks
    assert [streak.polarity for streak in found] == ["dark", "dark", "bright"]


def test_a_line_from_end_to_end_says_so(long_web, grey):
    """What is there from the first to the last line may be the scanner's own pattern."""
    web = long_web.copy()
    web[:, 120:122] *= 0.99
    found = scan(web, grey).streaks
    assert [streak.whole_length for streak in found] == [True]


def test_a_streak_stays_in_its_lane_when_the_web_wanders(long_web, grey, frame_web):
    """A line that moves with the web's edge is one streak, at its distance from the datum edge."""
    web = np.full((LINES, 300), 0.0)
    shift = np.rint(20.0 + 4.0 * np.sin(np.arange(LINES) / 6_000.0)).astype(np.int64)
    plain = long_web.copy()
    plain[6_000:21_000, 120:122] *= 0.985
    for line in range(LINES):
        web[line, shift[line] : shift[line] + 240] = plain[line]
    image = grey(frame_web(web, left=shift, right=shift + 240))
    found = find_marks(image, PITCH, ScanSettings(edge_bead_mm=3.0))
    assert len(found.streaks) == 1
    assert found.streaks[0].across_mm == pytest.approx(121.0 * 0.3, abs=0.2)
    assert found.streaks[0].extent.along_from_m == pytest.approx(1.8, abs=0.5)
    assert found.streaks[0].extent.along_to_m == pytest.approx(6.3, abs=0.5)
    assert found.web_width_mm == pytest.approx(72.0, abs=0.1)


def test_marks_do_not_make_streaks(long_web, grey):
    """Neither a roller's mark that returns every 0.6 m in one lane nor a dirty stretch is taken for a streak."""
    web = long_web.copy()
    for line in range(500, LINES - 20, 2_000):
        web[line : line + 12, 100:112] *= 0.6
    rng = np.random.Generator(np.random.PCG64(8))
    for i, j in rng.integers((12_000, 130), (16_000, 230), (300, 2)):
        web[i : i + 6, j : j + 6] *= 0.6
    found = scan(web, grey)
    assert found.streaks == ()
    assert found.marks.height > 200


def test_a_strong_streak_does_not_make_marks(long_web, grey):
    """A line of thirty times the noise is one streak and not also a crowd of marks."""
    web = long_web.copy()
    web[9_333:20_123, 90:92] *= 0.5
    found = scan(web, grey)
    assert len(found.streaks) == 1
    assert found.marks.is_empty()


def test_a_mark_on_a_streak_is_still_a_mark(long_web, grey):
    """What stands out more than the streak it lies on is reported by itself."""
    web = long_web.copy()
    web[9_000:20_000, 90:92] *= 0.95
    web[15_000:15_006, 88:94] *= 0.6
    assert scan(web, grey).marks["kind"].to_list() == ["spot"]


def test_a_short_line_is_a_scratch(long_web, grey):
    """A line of half a metre, too short for a streak and too long for a block's background, is not lost."""
    web = long_web.copy()
    web[9_000:10_700, 90:92] *= 0.9
    found = scan(web, grey)
    assert found.streaks == ()
    assert found.marks["kind"].to_list() == ["scratch"]
    assert found.marks["length_mm"][0] == pytest.approx(510.0, abs=250.0)
    assert found.marks["across_mm"][0] == pytest.approx(27.3, abs=0.3)


def test_a_pattern_in_every_column_is_not_a_crowd_of_streaks(weave, grey):
    """Where all columns differ for good, only a line that stands out from that pattern is a streak."""
    web = weave(LINES, 240, seed=6)
    rng = np.random.Generator(np.random.PCG64(6))
    web *= 1.0 + 0.004 * rng.standard_normal(240)
    web[:, 200] *= 1.1
    found = scan(web, grey).streaks
    assert [round(streak.across_mm) for streak in found] == [60]


def test_a_bent_profile_is_not_a_streak(weave, grey):
    """A profile that falls off by a third to both sides is followed."""
    assert scan(weave(LINES, 480, bend=0.3, seed=9), grey).streaks == ()
