"""What a line belongs to."""

from dataclasses import replace

import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent, Polarity
from wideroll.scan import Streak, StreakOrigin
from wideroll.scan.origin import compare_scans, judge_length, judge_origin

LINE = Streak(
    extent=Extent(along_from_m=0.0, along_to_m=900.0, across_from_mm=400.0, across_to_mm=400.3),
    across_mm=400.15,
    width_mm=0.3,
    contrast=-0.004,
    contrast_low=-0.0042,
    contrast_high=-0.0038,
    snr=40.0,
    polarity=Polarity.DARK,
    whole_length=True,
    column=4100.0,
)
OPEN = replace(LINE, origin=StreakOrigin.UNDECIDED, why="It is there from end to end.")


def compared(*others, line=OPEN, lengths=None):
    """The line after it was compared with others, each of another roll."""
    lengths = [900.0] * len(others) if lengths is None else lengths
    (answer,) = compare_scans((line,), list(others), pitch_mm=0.1, lengths_m=lengths)
    return answer


@pytest.mark.parametrize(
    ("on_web_mm", "on_raster_mm", "origin"), [(0.05, 1.2, StreakOrigin.WEB), (1.2, 0.05, StreakOrigin.SCANNER)]
)
def test_what_keeps_its_place_tells(on_web_mm, on_raster_mm, origin):
    """Where the web wandered by 4 mm, the line is of what it keeps its place on, and says so."""
    judged = judge_origin(LINE, on_web_mm=on_web_mm, on_raster_mm=on_raster_mm, wander_mm=4.0)
    assert judged.origin is origin
    assert "4.0 mm" in judged.why


@pytest.mark.parametrize(
    ("on_web_mm", "on_raster_mm", "wander_mm"),
    [(0.0, 0.2, 0.5), (1.0, 1.2, 4.0), (0.2, 0.3, 4.0), (float("nan"), float("nan"), 4.0)],
)
def test_too_little_tells_nothing(on_web_mm, on_raster_mm, wander_mm):
    """Too little wander, a line that keeps neither place, or both alike, leave it open."""
    judged = judge_origin(LINE, on_web_mm=on_web_mm, on_raster_mm=on_raster_mm, wander_mm=wander_mm)
    assert judged == LINE


def test_length_leaves_a_whole_line_open():
    """From end to end it is undecided, else it is the web's; what was told before stays."""
    assert judge_length(LINE, wander_mm=0.2).origin is StreakOrigin.UNDECIDED
    assert judge_length(replace(LINE, whole_length=False), wander_mm=0.2).origin is StreakOrigin.WEB
    told = replace(LINE, origin=StreakOrigin.SCANNER, why="It keeps column 4100.")
    assert judge_length(told, wander_mm=0.2) == told


def test_another_roll_with_the_same_line_makes_it_the_scanners():
    """Same column, sign and like contrast, from end to end."""
    answer = compared((replace(LINE, column=4108.0, contrast=-0.003),))
    assert answer.origin is StreakOrigin.SCANNER
    assert "4108" in answer.why


def test_another_roll_without_it_makes_it_the_webs():
    """Two rolls long enough to show it and without it."""
    answer = compared((), (replace(LINE, column=700.0),))
    assert answer.origin is StreakOrigin.WEB
    assert answer.why.startswith("2 other rolls")


@pytest.mark.parametrize(
    "other",
    [
        replace(LINE, whole_length=False),
        replace(LINE, contrast=-0.02),
        replace(LINE, contrast=-0.001),
    ],
)
def test_a_line_that_is_only_like_it_leaves_it_open(other):
    """One that starts or ends there, or is much stronger or fainter, decides nothing."""
    assert compared((other,)) == OPEN


def test_the_other_sign_is_another_line():
    """A bright line in the same column doesn't explain a dark one."""
    bright = replace(LINE, polarity=Polarity.BRIGHT, contrast=0.004)
    assert compared((bright,)).origin is StreakOrigin.WEB


def test_a_scan_too_short_to_show_it_says_nothing_by_its_absence():
    """A faint line needs metres."""
    assert compared((), lengths=[20.0]) == OPEN
    assert compared((), lengths=[200.0]).origin is StreakOrigin.WEB


def test_decided_lines_and_no_other_scans_change_nothing():
    """Only undecided lines are compared; nothing to compare with decides nothing."""
    assert compared((LINE,), line=LINE) == LINE
    assert compared() == OPEN


def test_scans_need_lengths():
    """A length for each other scan, each above 0."""
    with pytest.raises(ArgumentError, match="one length for each"):
        compare_scans((OPEN,), [()], pitch_mm=0.1, lengths_m=[])
    with pytest.raises(ArgumentError, match="above 0"):
        compare_scans((OPEN,), [()], pitch_mm=0.1, lengths_m=[0.0])
