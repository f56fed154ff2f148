"""Lines along the web."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from wideroll.roll import Extent
from wideroll.scan import ScanSettings, StreakOrigin, find_marks
from wideroll.scan.background import Background
from wideroll.scan.edges import Edges
from wideroll.scan.frame import make_frame
from wideroll.scan.residual import Residual, find_residual, settle_residuals, smooth_profile
from wideroll.scan.ridges import likeliest
from wideroll.scan.streaks import find_lines

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


@dataclass(frozen=True)
class Block:
    """What a block keeps for its lines, without the pixels."""

    first_line: int
    lines: int
    edges: Edges
    residual: Residual | None


FINE = make_frame(1500, (0.1, 0.1), np.uint8, ScanSettings())
SIGMA = 2.5 / 150.0
SHOWN = np.arange(FINE.columns) + 0.5


def lay_blocks(count, lines=None, *, left=None, level=150.0, seed=1, settled=True, backwards=False):
    """Blocks of a bent profile in noise; ``lines(block, left)`` gives what multiplies it, by column."""
    rng = np.random.Generator(np.random.PCG64(seed))
    bent = level * (1.0 - 0.1 * np.linspace(-1.0, 1.0, FINE.columns) ** 2)
    deviation = 1.2533 * SIGMA * level / np.sqrt(FINE.block_lines)
    blocks = []
    for i in range(count):
        edge = 5.3 if left is None else float(left[i])
        profile = bent + deviation * rng.standard_normal(FINE.columns)
        if lines is not None:
            profile *= 1.0 + lines(i, edge)
        edges = Edges(left=edge, right=edge + 1480.0, left_seen=True, right_seen=True)
        if backwards:
            profile = profile[::-1]
            edges = replace(edges, left=FINE.columns - edges.right, right=FINE.columns - edges.left)
        first, last = edges.inside(FINE)
        columns, rows = last - first, FINE.block_lines
        ground = Background(
            edges=edges,
            first=first,
            last=last,
            profile=profile[first:last],
            noise=np.full(columns, SIGMA * level),
            gain=np.ones(rows),
            off_level=np.zeros(rows, np.bool_),
            used=np.ones(rows, np.bool_),
            silent=False,
            faults=np.zeros(columns, np.uint8),
        )
        residual = find_residual(ground, smooth_profile(ground, FINE), FINE)
        blocks.append(Block(first_line=i * rows, lines=rows, edges=edges, residual=residual))
    return settle(blocks) if settled else blocks


def settle(blocks):
    """The same blocks with their columns joined by sixteen."""
    kept = [block.residual for block in blocks]
    joined = [part for i in range(0, len(kept), 16) for part in settle_residuals(kept[i : i + 16])]
    return [replace(block, residual=residual) for block, residual in zip(blocks, joined, strict=True)]


def line_at(column, width=3, *, snr, blocks=(0, 10_000), on_web=True, wander=None):
    """A line of a contrast in units of the pixel noise, at a distance from the edge or at a column of the raster."""

    def shown(block, left):
        low = column + (left if on_web else 0.0) + (0.0 if wander is None else wander[block])
        inside = (blocks[0] <= block < blocks[1]) * np.clip(
            np.minimum(SHOWN + 0.5, low + width) - np.maximum(SHOWN - 0.5, low), 0.0, 1.0
        )
        return snr * SIGMA * inside

    return shown


def whole_web(count):
    """Extent of so many blocks."""
    along = FINE.along_m(float(count * FINE.block_lines))
    return Extent(along_from_m=0.0, along_to_m=along, across_from_mm=0.0, across_to_mm=148.0)


def lines_in(blocks):
    """The lines along the web of these blocks."""
    return find_lines(blocks, whole_web(len(blocks)), FINE)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_tenth_of_the_noise_over_ten_metres_is_found(seed):
    """Three columns of 0.1 σ over 10 m are one streak, with its ends and its place."""
    found = lines_in(lay_blocks(120, line_at(702.7, snr=0.1, blocks=(30, 70)), seed=seed))
    assert len(found) == 1
    assert found[0].extent.along_from_m == pytest.approx(7.5, abs=0.5)
    assert found[0].extent.along_to_m == pytest.approx(17.5, abs=0.5)
    assert found[0].across_mm == pytest.approx(70.42, abs=0.1)


def test_noise_alone_has_no_lines():
    """No line is found in a clean web, whose cells make ten million windows."""
    assert [lines_in(lay_blocks(300, seed=seed)) for seed in (4, 5)] == [(), ()]


def test_contrast_and_width_are_those_of_the_streak_itself():
    """Of lines of 1 to 8 columns nine in ten have their contrast in its 95 % interval, none is thinned out."""
    held, ratios = [], []
    for seed, (width, snr) in enumerate([(1, 1.5), (2, -0.8), (3, 0.5), (3, -3.0), (5, 0.4), (8, 1.0)] * 4):
        found = lines_in(lay_blocks(48, line_at(400.0 + 37 * seed - 0.3, width, snr=snr), seed=seed))
        assert len(found) == 1
        assert found[0].width_mm == pytest.approx(width / 10.0, abs=0.11)
        held.append(found[0].contrast_low <= snr * SIGMA <= found[0].contrast_high)
        ratios.append(found[0].contrast / (snr * SIGMA))
    assert sum(held) >= 20
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.02)


def test_a_line_that_wanders_stays_one_line():
    """A streak that drifts by 6 mm against the edge, and back, is one streak with its own width."""
    wander = 60.0 * np.sin(np.linspace(0.0, np.pi, 160))
    found = lines_in(lay_blocks(160, line_at(600.0, snr=0.6, blocks=(20, 140), wander=wander)))
    assert len(found) == 1
    assert found[0].extent.along_from_m == pytest.approx(5.0, abs=0.5)
    assert found[0].extent.along_to_m == pytest.approx(35.0, abs=0.5)
    assert found[0].width_mm == pytest.approx(0.3, abs=0.25)
    assert found[0].extent.width_mm > 3.0


def test_a_wandering_web_tells_its_own_lines_from_the_scanners():
    """Where the web wanders by 5 mm, what keeps its column is the scanner's and what keeps its lane is the web's."""
    left = 12.0 + 8.0 * np.sin(np.arange(160) / 9.0) + np.linspace(0.0, 35.0, 160)
    lane, column = line_at(300.0, snr=0.4), line_at(900.0, snr=0.4, on_web=False)
    found = lines_in(lay_blocks(160, lambda block, edge: lane(block, edge) + column(block, edge), left=left))
    assert [line.origin for line in found] == [StreakOrigin.WEB, StreakOrigin.SCANNER]
    assert [line.whole_length for line in found] == [True, True]
    assert found[1].column == pytest.approx(901.5, abs=1.0)
    assert found[0].across_mm == pytest.approx(30.15, abs=0.15)
    assert all(line.why for line in found)


def test_a_steady_web_leaves_a_whole_length_line_undecided():
    """Where the web doesn't wander, a line from end to end could be either's, and a shorter one is the web's."""
    whole, part = line_at(300.0, snr=0.5), line_at(700.0, snr=0.5, blocks=(10, 50))
    found = lines_in(lay_blocks(60, lambda block, edge: whole(block, edge) + part(block, edge)))
    assert [line.origin for line in found] == [StreakOrigin.UNDECIDED, StreakOrigin.WEB]


def test_the_level_does_not_change_a_line():
    """Twice the level with twice the noise gives the same lines."""
    found = [lines_in(lay_blocks(40, line_at(500.0, snr=0.5), level=level)) for level in (100.0, 200.0)]
    assert found[0][0].extent == found[1][0].extent
    assert found[0][0].contrast == pytest.approx(found[1][0].contrast, rel=1e-3)


def test_a_mirrored_web_has_mirrored_lines():
    """Seen from the other edge a line lies at the rest of the width, equally strong and wide."""
    shown = line_at(400.0, snr=0.5, blocks=(10, 40))
    one = lines_in(lay_blocks(60, shown))[0]
    other = lines_in(lay_blocks(60, shown, backwards=True))[0]
    assert other.across_mm == pytest.approx(148.0 - one.across_mm, abs=0.15)
    assert other.contrast == pytest.approx(one.contrast, rel=0.1)
    assert other.extent.along_from_m == pytest.approx(one.extent.along_from_m, abs=0.26)


def test_blocks_later_along_have_their_lines_later():
    """Ten clean blocks in front move a line by their length and nothing else."""
    blocks = lay_blocks(48, line_at(400.0, snr=0.5, blocks=(8, 30)), settled=False)
    ahead = lay_blocks(16, seed=9, settled=False)
    moved = [replace(block, first_line=block.first_line + 16 * FINE.block_lines) for block in blocks]
    one, other = lines_in(settle(blocks))[0], lines_in(settle(ahead + moved))[0]
    assert other.extent.along_from_m == pytest.approx(one.extent.along_from_m + 4.0)
    assert other.contrast == pytest.approx(one.contrast, rel=0.01)


def test_settling_the_columns_changes_nothing():
    """Whether columns are joined on the way or at the end, the lines are the same."""
    shown = line_at(400.0, snr=0.5, blocks=(8, 30))
    plain, settled = (lay_blocks(40, shown, settled=way) for way in (False, True))
    assert lines_in(plain) == lines_in(settled)
    assert sum(block.residual.fine is not None for block in settled) == 3


def test_blocks_joined_in_pairs_show_the_same_line(monkeypatch):
    """Where there are too many blocks, pairs of them still show a line, its ends within a pair."""
    blocks = lay_blocks(96, line_at(400.0, snr=0.4, blocks=(20, 61)))
    one = lines_in(blocks)[0]
    monkeypatch.setattr("wideroll.scan.traces._MOST_BLOCKS", 50)
    other = lines_in(blocks)[0]
    assert other.extent.along_from_m == pytest.approx(one.extent.along_from_m, abs=0.5)
    assert other.extent.along_to_m == pytest.approx(one.extent.along_to_m, abs=0.5)
    assert other.contrast == pytest.approx(one.contrast, rel=0.1)


def test_a_strong_line_does_not_hide_a_faint_one_beside_it():
    """A faint streak 6 mm from one thirty times as strong is found, and keeps its contrast within a fifth."""
    strong, faint = line_at(500.0, snr=9.0), line_at(560.0, snr=0.3)
    found = lines_in(lay_blocks(100, lambda block, edge: strong(block, edge) + faint(block, edge)))
    assert [round(line.across_mm) for line in found] == [50, 56]
    assert found[1].contrast == pytest.approx(0.3 * SIGMA, rel=0.2)


def test_a_block_without_web_does_not_end_a_line():
    """One block that shows nothing leaves a streak whole."""
    blocks = lay_blocks(60, line_at(500.0, snr=0.8), settled=False)
    blocks[30] = replace(blocks[30], residual=None)
    assert len(lines_in(settle(blocks))) == 1


def test_nothing_seen_has_no_lines():
    """Blocks that show no web have no lines."""
    blocks = [replace(block, residual=None) for block in lay_blocks(4, settled=False)]
    assert lines_in(blocks) == ()


@given(values=arrays(np.float64, st.integers(2, 12), elements=st.integers(-3, 4).map(float)), data=st.data())
@settings(max_examples=80, deadline=None)
def test_the_likeliest_stretch_is_the_best_of_all_stretches(values, data):
    """No other stretch has a greater sum of departures from half the height."""
    start = data.draw(st.integers(0, len(values) - 1))
    end = data.draw(st.integers(start + 1, len(values)))
    height = values[start:end].mean()
    low, high = likeliest(values, start, end)
    if height > 0.0:
        sums = [np.sum(values[i:j] - height / 2.0) for i in range(len(values)) for j in range(i + 1, len(values) + 1)]
        assert np.sum(values[low:high] - height / 2.0) == pytest.approx(max(sums))
    else:
        assert (low, high) == (start, end)
