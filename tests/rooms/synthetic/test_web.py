import itertools
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent, check_marks
from wideroll.scan import LinePlaces
from wideroll.synthetic import (
    DroppedLines,
    FaultyColumns,
    PlantedBand,
    PlantedMark,
    PlantedMottle,
    PlantedSplice,
    PlantedStreak,
    WebChannel,
    WebRecipe,
    make_web,
    plant_comet,
    plant_hole,
    plant_ring,
    plant_scratch,
)

SPOT = PlantedMark(along_m=0.1, across_mm=40.0, length_mm=2.0, width_mm=2.0, contrast=-0.4, cause="dirt")
STREAK = PlantedStreak(across_mm=60.0, along_from_m=0.25, along_to_m=0.5, width_mm=1.2, contrast=-0.05)
NARROW = WebRecipe(length_m=0.3, web_width_mm=80.0, field_mm=100.0, seed=11)
STILL = replace(NARROW, noise=0.0, line_gain=0.0, drift=0.0, profile_ripple=0.0, bead_mm=0.0)
"""Nothing disturbs it, so that what is planted can be measured to the rounding."""


EVERYTHING = replace(
    NARROW,
    marks=(
        plant_comet(along_m=0.1, across_mm=20.0, head_mm=1.5, tail_mm=60.0, contrast=-0.4),
        plant_ring(along_m=0.09, across_mm=40.0, core_mm=3.0, ring_mm=1.0, contrast=-0.4, ring_contrast=0.3),
        plant_scratch(along_m=0.15, across_mm=40.0, length_mm=90.0, width_mm=0.3, contrast=0.3, angle_deg=40.0),
        *(plant_hole(along_m=0.003 * n + 0.001, across_mm=0.8 * n, size_mm=1.0 + 0.1 * n) for n in range(90)),
    ),
    streaks=(replace(STREAK, along_from_m=0.05, along_to_m=0.2, wander_mm=1.0, wander_period_m=0.1),),
    bands=(
        PlantedBand(
            extent=Extent(along_from_m=0.04, along_to_m=0.25, across_from_mm=10.0, across_to_mm=60.0),
            period_mm=9.0,
            amplitude=0.02,
        ),
    ),
    mottle=(PlantedMottle(size_mm=2.0, amplitude=0.02),),
    splices=(PlantedSplice(along_from_m=0.2, along_to_m=0.21),),
    dropped=(DroppedLines(first=500, lines=2),),
    faulty=(FaultyColumns(first=200),),
    places=LinePlaces(lines=(0.0, 300.0, 1000.0), metres=(0.0, 0.1, 0.3)),
    channels=(WebChannel(name="red"),),
)


def _lost(web):
    """Signal lost [along, across], as a share of the level, over the whole raster."""
    return 1.0 - web.rows().astype(float) / web.recipe.level


def _on_web(web):
    edge = web.datum_mm() / web.recipe.pitch_mm
    width = web.recipe.web_width_mm / web.recipe.pitch_mm
    return slice(math.ceil(edge.max()) + 1, math.floor(edge.min() + width) - 1)


def test_the_same_recipe_gives_the_same_bytes_and_another_seed_others():
    """Pixels depend on the recipe alone."""
    image = make_web(NARROW).rows()
    assert np.array_equal(make_web(replace(NARROW)).rows(), image)
    assert not np.array_equal(make_web(replace(NARROW, seed=12)).rows(), image)


@settings(max_examples=30, deadline=None)
@given(cuts=st.lists(st.integers(0, 1000), max_size=6))
def test_lines_are_the_same_however_they_are_cut(cuts):
    """Blocks put together are the whole, wherever the cuts fall, through marks and streaks too."""
    marks = tuple(replace(SPOT, along_m=0.01 * n, across_mm=2.5 * n, length_mm=1.0 + n) for n in range(30))
    web = make_web(replace(NARROW, marks=marks, streaks=(replace(STREAK, along_to_m=0.28),)))
    borders = [0, *sorted(cuts), 1000]
    blocks = [web.rows(start, stop) for start, stop in itertools.pairwise(borders)]
    assert np.array_equal(np.concatenate(blocks), web.rows())


@settings(max_examples=20, deadline=None)
@given(start=st.integers(0, 1000), lines=st.integers(0, 60), name=st.sampled_from(["", "red"]))
def test_any_stretch_of_everything_is_that_of_the_whole(start, lines, name):
    """Whatever is planted, at any speed and in any channel, a stretch is the same by itself and a second time."""
    web = make_web(EVERYTHING)
    web = web.channel(name) if name else web
    stretch = web.rows(start, min(start + lines, 1000))
    assert np.array_equal(stretch, web.rows()[start : start + lines])
    assert np.array_equal(web.datum_mm(start, min(start + lines, 1000)), web.datum_mm()[start : start + lines])


def test_threads_get_the_same_lines():
    """Lines asked for by several threads at once are those of one."""
    web = make_web(replace(NARROW, marks=(SPOT,)))
    with ThreadPoolExecutor(4) as pool:
        blocks = list(pool.map(lambda start: web.rows(start, start + 100), range(0, 1000, 100)))
    assert np.array_equal(np.concatenate(blocks), web.rows())


def test_the_order_of_marks_does_not_matter_to_the_truth_or_the_places():
    """The truth keeps the order given, and the raster is that of the same marks in any order."""
    marks = (replace(SPOT, along_m=0.2), SPOT, replace(SPOT, along_m=0.05, length_mm=30.0))
    web, turned = make_web(replace(STILL, marks=marks)), make_web(replace(STILL, marks=marks[::-1]))
    assert web.truth.marks["along_m"].to_list() == [0.2, 0.1, 0.05]
    assert np.array_equal(web.rows(), turned.rows())


@settings(max_examples=25, deadline=None)
@given(
    along_mm=st.floats(20.0, 280.0),
    across_mm=st.floats(10.0, 70.0),
    length_mm=st.floats(0.9, 8.0),
    width_mm=st.floats(0.9, 8.0),
    contrast=st.floats(-0.6, 0.5),
    pitch_mm=st.sampled_from([0.1, 0.2, 0.3]),
)
def test_a_mark_is_where_and_as_large_as_planned(along_mm, across_mm, length_mm, width_mm, contrast, pitch_mm):
    """Centre to a tenth of a pixel from the wandering edge, sum of signal to 10 %, half-height sizes to three."""
    if abs(contrast) < 0.2:
        contrast = math.copysign(0.2, contrast)
    mark = PlantedMark(
        along_m=along_mm / 1000.0, across_mm=across_mm, length_mm=length_mm, width_mm=width_mm, contrast=contrast
    )
    web = make_web(replace(STILL, level=100.0, pitch_mm=pitch_mm, edge_wander_mm=5.0, marks=(mark,)))
    inner = _on_web(web)
    change = -_lost(web)[:, inner]
    weight = change.sum()
    assert weight * pitch_mm**2 == pytest.approx(contrast * math.pi / 4.0 * length_mm * width_mm, rel=0.1)
    lines = (np.arange(change.shape[0]) + 0.5) * pitch_mm
    columns = (np.arange(change.shape[1]) + inner.start + 0.5) * pitch_mm - web.datum_mm()[int(along_mm / pitch_mm)]
    assert (change.sum(axis=1) * lines).sum() / weight == pytest.approx(along_mm, abs=0.1 * pitch_mm)
    assert (change.sum(axis=0) * columns).sum() / weight == pytest.approx(across_mm, abs=0.1 * pitch_mm + 0.02)
    strong = np.abs(change) > abs(contrast) / 2.0
    assert strong.any(axis=1).sum() * pitch_mm == pytest.approx(length_mm, abs=3.0 * pitch_mm)
    assert strong.any(axis=0).sum() * pitch_mm == pytest.approx(width_mm, abs=3.0 * pitch_mm)


def test_a_mark_has_a_flat_top_of_its_contrast():
    """In the middle of a mark the signal is the web's times one plus the contrast."""
    web = make_web(replace(STILL, marks=(replace(SPOT, contrast=-0.4), replace(SPOT, along_m=0.2, contrast=0.3))))
    column = round(web.datum_mm().mean() / 0.3 + 40.0 / 0.3 - 0.5)
    image = web.rows()
    assert image[round(100.0 / 0.3), column] == 90
    assert image[round(200.0 / 0.3), column] == 195


def test_contrast_is_relative_to_the_local_background():
    """Dividing by the same web without the mark gives the mark alone, on any profile."""
    rippled = replace(STILL, profile_ripple=0.3)
    with_mark, without = make_web(replace(rippled, marks=(SPOT,))).rows(), make_web(rippled).rows()
    ratio = with_mark.astype(float) / without
    assert ratio.min() == pytest.approx(0.6, abs=0.01)
    assert (ratio == 1.0).mean() > 0.99


def test_marks_far_larger_than_others_are_whole():
    """A long scratch among small spots is drawn on every line it reaches."""
    scratch = PlantedMark(along_m=0.15, across_mm=20.0, length_mm=250.0, width_mm=1.5, contrast=-0.5)
    spots = tuple(replace(SPOT, along_m=0.01 * n) for n in range(30))
    web = make_web(replace(STILL, marks=(*spots, scratch)))
    column = round(web.datum_mm().mean() / 0.3 + 20.0 / 0.3 - 0.5)
    dark = np.flatnonzero(web.rows()[:, column] < 100)
    assert (dark[0] + 0.5) * 0.3 == pytest.approx(25.0, abs=6.0)
    assert (dark[-1] + 0.5) * 0.3 == pytest.approx(275.0, abs=6.0)
    assert len(dark) == dark[-1] - dark[0] + 1


def test_a_streak_shows_in_the_column_sums_from_where_it_starts():
    """Averaged along, a streak has its contrast, place and width, and nothing before its start."""
    web = make_web(replace(NARROW, length_m=0.6, streaks=(STREAK,), edge_wander_mm=0.0))
    image = web.rows().astype(float)
    start, stop = round(0.25e3 / 0.3), round(0.5e3 / 0.3)
    quiet = np.concatenate([image[:start], image[stop:]]).mean(axis=0)
    ratio = image[start:stop].mean(axis=0) / quiet
    ratio /= np.median(ratio[_on_web(web)])
    middle = (web.datum_mm().mean() + 60.0) / 0.3 - 0.5
    core = ratio[math.ceil(middle - 1.0) : math.floor(middle + 1.0) + 1]
    assert core.mean() - 1.0 == pytest.approx(-0.05, abs=0.003)
    around = slice(round(middle) - 8, round(middle) + 9)
    assert (1.0 - ratio[around]).sum() * 0.3 == pytest.approx(0.05 * 1.2, rel=0.1)
    beyond = np.r_[ratio[round(middle) - 40 : round(middle) - 8], ratio[round(middle) + 9 : round(middle) + 40]]
    assert np.abs(beyond - 1.0).max() < 0.006


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 0.8])
def test_a_streak_starts_and_stops_at_its_metre(share):
    """The first line of a streak is the first whose middle has passed its start."""
    begin_m, end_m = (300.0 + share) * 0.3e-3, (600.0 + share) * 0.3e-3
    web = make_web(replace(STILL, streaks=(replace(STREAK, along_from_m=begin_m, along_to_m=end_m, contrast=-0.2),)))
    column = round((web.datum_mm().mean() + 60.0) / 0.3 - 0.5)
    found = np.flatnonzero(web.rows()[:, column] < 130)
    shift = int(share > 0.5)
    assert (found[0], found[-1]) == (300 + shift, 599 + shift)


def test_edges_lie_where_the_truth_says():
    """Both edges, measured by the light past them, are where the datum edge and the width put them, on every line."""
    web = make_web(replace(STILL, length_m=0.6, level=100.0, outside_level=200.0, edge_wander_mm=4.0, bead_mm=0.0))
    lit = (web.rows() - 100.0) / 100.0
    middle = lit.shape[1] // 2
    assert lit[:, :middle].sum(axis=1) * 0.3 == pytest.approx(web.datum_mm(), abs=0.01)
    past = lit.shape[1] * 0.3 - (web.datum_mm() + 80.0)
    assert lit[:, middle:].sum(axis=1) * 0.3 == pytest.approx(past, abs=0.01)


def test_the_edge_wanders_no_further_than_told():
    """Over a long roll the datum edge keeps near its mean and uses much of its freedom."""
    web = make_web(WebRecipe(length_m=400.0, web_width_mm=20.0, field_mm=30.0, datum_mm=5.0, edge_wander_mm=0.8))
    edge = web.datum_mm()
    assert np.abs(edge - 5.0).max() <= 0.8
    assert np.ptp(edge) > 0.8
    assert edge.mean() == pytest.approx(5.0, abs=0.1)
    assert np.abs(np.diff(edge)).max() < 0.001


def test_a_web_may_fill_the_field():
    """Where the sweep is narrower than the web, no light from past the edges shows."""
    web = make_web(replace(STILL, datum_mm=-10.0, web_width_mm=120.0, field_mm=100.0))
    assert np.unique(web.rows()).tolist() == [150]


def test_the_rim_is_darker_at_the_edge_and_fades_inwards():
    """The signal rises from the edge on to the level at the rim's width."""
    web = make_web(replace(STILL, level=200.0, bead_mm=3.0, bead_contrast=-0.1, edge_wander_mm=0.0))
    line = web.rows(0, 1)[0].astype(int)
    rim = line[34:44]
    assert rim[0] == pytest.approx(180, abs=2)
    assert (np.diff(rim) >= 0).all()
    assert set(line[44:290]) == {200}


def test_profile_drift_and_gain_are_as_large_as_told():
    """The profile and the drift keep within their bounds, and line gains have their spread."""
    plain = replace(STILL, level=200.0, datum_mm=-10.0, web_width_mm=120.0)
    profile = make_web(replace(plain, profile_ripple=0.1)).rows(0, 1)[0] / 200.0 - 1.0
    assert 0.03 < np.abs(profile).max() <= 0.1 + 0.003
    assert np.abs(np.diff(profile)).max() < 0.02
    narrow = replace(plain, length_m=100.0, web_width_mm=40.0, field_mm=3.0)
    drift = make_web(replace(narrow, drift=0.1)).rows()[:, 5] / 200.0 - 1.0
    assert 0.05 < np.abs(drift).max() <= 0.1 + 0.003
    gain = make_web(replace(narrow, line_gain=0.05)).rows()[:, 5] / 200.0 - 1.0
    assert gain.std() == pytest.approx(0.05, rel=0.02)
    assert abs(np.corrcoef(gain[:-1], gain[1:])[0, 1]) < 5.0 / math.sqrt(len(gain))


def test_the_truth_is_a_marks_table():
    """What was planted is told in the form every room reads, with its cause and its size in units of the noise."""
    web = make_web(replace(NARROW, marks=(SPOT,), streaks=(replace(STREAK, along_to_m=0.3),)))
    assert check_marks(web.truth.marks).height == 1
    assert web.truth.marks["snr"].to_list() == [pytest.approx(20.0)]
    assert web.truth.marks["cause"].to_list() == ["dirt"]
    assert web.truth.planted == (SPOT,)
    assert web.truth.streaks[0].across_mm == 60.0


def test_signal_beyond_the_counts_is_cut_off():
    """Light beyond 255 counts reads 255, and no signal reads 0."""
    hole, cover = replace(SPOT, contrast=3.0), replace(SPOT, along_m=0.2, contrast=-1.0)
    image = make_web(replace(STILL, marks=(hole, cover), outside_level=400.0)).rows()
    assert (image.min(), image.max()) == (0, 255)


@pytest.mark.parametrize(("start", "stop"), [(-1, 5), (5, 4), (0, 1001)])
def test_lines_that_the_web_has_not_are_refused(start, stop):
    """Asking past the ends is an error, not a shorter answer."""
    with pytest.raises(ArgumentError, match="lines of the web"):
        make_web(NARROW).rows(start, stop)


def test_no_lines_are_an_empty_raster():
    """A stretch without length has no lines and all columns."""
    assert make_web(NARROW).rows(7, 7).shape == (0, 333)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"length_m": 0.0}, "length_m"),
        ({"pitch_mm": math.nan}, "pitch_mm"),
        ({"field_mm": math.inf}, "field_mm"),
        ({"noise": -0.1}, "noise"),
        ({"seed": -1}, "seed"),
        ({"datum_mm": math.nan}, "datum_mm"),
        ({"marks": (replace(SPOT, along_m=0.3),)}, "marks"),
        ({"marks": (replace(SPOT, across_mm=-1.0),)}, "marks"),
        ({"marks": (replace(SPOT, width_mm=0.0),)}, "marks"),
        ({"marks": (replace(SPOT, contrast=-1.5),)}, "marks"),
        ({"streaks": (replace(STREAK, across_mm=90.0),)}, "streaks"),
        ({"streaks": (replace(STREAK, along_to_m=0.1),)}, "streaks"),
        ({"streaks": (replace(STREAK, width_mm=math.nan),)}, "streaks"),
    ],
)
def test_an_impossible_recipe_is_refused_by_name(wrong, named):
    """The error names the part of the recipe that can't be."""
    with pytest.raises(ArgumentError, match=named):
        make_web(replace(NARROW, **wrong))
