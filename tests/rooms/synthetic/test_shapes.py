"""Each shape against a slow picture of it: 6 × 6 points in every pixel, asked whether they lie inside."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import MarkKind, check_marks
from wideroll.synthetic import (
    Block,
    Comet,
    Line,
    PlantedMark,
    Ring,
    WebRecipe,
    make_web,
    plant_comet,
    plant_hole,
    plant_ring,
    plant_scratch,
    tabulate,
)

FINE = 6
LEVEL = 100.0
STILL = WebRecipe(
    length_m=0.03,
    web_width_mm=40.0,
    field_mm=30.0,
    datum_mm=-5.0,
    pitch_mm=0.1,
    level=LEVEL,
    profile_ripple=0.0,
    noise=0.0,
    line_gain=0.0,
    drift=0.0,
    edge_wander_mm=0.0,
    bead_mm=0.0,
)
"""300 × 300 pixels of nothing; a mark's place in the picture is 5 mm less across than on the web."""
PLACE = {"along_m": 0.01507, "across_mm": 20.03}
SHAPES = {
    "turned ellipse": PlantedMark(**PLACE, length_mm=9.0, width_mm=3.0, contrast=-0.5, angle_deg=30.0),
    "upright ellipse": PlantedMark(**PLACE, length_mm=2.0, width_mm=5.0, contrast=0.8),
    "comet": plant_comet(**PLACE, head_mm=2.0, tail_mm=9.0, contrast=-0.8, fade=0.7),
    "comet the other way": plant_comet(**PLACE, head_mm=1.2, tail_mm=7.0, contrast=1.0, angle_deg=180.0),
    "slanted comet": plant_comet(**PLACE, head_mm=2.0, tail_mm=6.0, contrast=-0.8, fade=0.0, angle_deg=-35.0),
    "comet without a tail": plant_comet(**PLACE, head_mm=3.0, tail_mm=0.0, contrast=-0.8),
    "dark core, bright ring": plant_ring(**PLACE, core_mm=3.0, ring_mm=1.0, contrast=-0.6, ring_contrast=0.5),
    "bright core, dark ring": plant_ring(**PLACE, core_mm=2.0, ring_mm=1.5, contrast=1.0, ring_contrast=-0.5),
    "scratch along": plant_scratch(**PLACE, length_mm=22.0, width_mm=0.5, contrast=-0.8),
    "scratch across": plant_scratch(**PLACE, length_mm=12.0, width_mm=0.4, contrast=0.8, angle_deg=90.0),
    "slanted scratch": plant_scratch(**PLACE, length_mm=20.0, width_mm=0.3, contrast=-0.8, angle_deg=25.0),
    "scratch slanted back": plant_scratch(**PLACE, length_mm=20.0, width_mm=0.6, contrast=1.0, angle_deg=-70.0),
    "scratch past a right angle": plant_scratch(**PLACE, length_mm=14.0, width_mm=0.3, contrast=1.0, angle_deg=140.0),
    "block": PlantedMark(**PLACE, length_mm=0.73, width_mm=1.31, contrast=-0.7, shape=Block()),
}


def _in_ellipse(u, v, length, width):
    return (2.0 * u / length) ** 2 + (2.0 * v / width) ** 2 <= 1.0


def _contrast_at(mark, u, v):
    """Contrast of a mark with sharp borders at points of its own axes, in mm from its place."""
    length, width = mark.length_mm, mark.width_mm
    radius, tip = width / 2.0, length - width / 2.0
    if isinstance(mark.shape, Block):
        return mark.contrast * ((np.abs(u) <= length / 2.0) & (np.abs(v) <= radius))
    if isinstance(mark.shape, Line):
        over = np.maximum(np.abs(u) - (length / 2.0 - radius), 0.0)
        return mark.contrast * (over**2 + v**2 <= radius**2)
    if isinstance(mark.shape, Comet):
        tail = (u >= 0.0) & (u <= tip) & (np.abs(v) * tip <= radius * (tip - u))
        inside = (u**2 + v**2 <= radius**2) | tail
        faded = np.interp(u, [radius, tip], [0.0, mark.shape.fade]) if tip > radius else 0.0
        return mark.contrast * inside * (1.0 - faded)
    core = mark.contrast * _in_ellipse(u, v, length, width)
    if isinstance(mark.shape, Ring):
        ring = 2.0 * mark.shape.width_mm
        return np.where(core != 0.0, core, mark.shape.contrast * _in_ellipse(u, v, length + ring, width + ring))
    return core


def _slow_picture(mark, recipe=STILL):
    """Contrast at fine points [along, across], and along and across of the points from the mark's place in mm."""
    lines, columns = round(recipe.length_m * 1000.0 / recipe.pitch_mm), round(recipe.field_mm / recipe.pitch_mm)
    step = recipe.pitch_mm / FINE
    along = ((np.arange(lines * FINE) + 0.5) * step - mark.along_m * 1000.0)[:, None]
    across = ((np.arange(columns * FINE) + 0.5) * step - recipe.datum_mm - mark.across_mm)[None, :]
    cos, sin = math.cos(math.radians(mark.angle_deg)), math.sin(math.radians(mark.angle_deg))
    return _contrast_at(mark, along * cos + across * sin, across * cos - along * sin), along, across


def _coarse(fine):
    lines, columns = fine.shape[0] // FINE, fine.shape[1] // FINE
    return fine.reshape(lines, FINE, columns, FINE).mean(axis=(1, 3))


def _drawn(mark, recipe=STILL):
    return make_web(replace(recipe, marks=(mark,))).rows() / LEVEL - 1.0


@pytest.mark.parametrize("name", SHAPES)
def test_a_shape_is_drawn_as_the_slow_picture_shows_it(name):
    """The same in pixels that lie wholly in or out, close to the share covered at borders, and the same in sum."""
    mark = SHAPES[name]
    fine, _, _ = _slow_picture(mark)
    picture, drawn = _coarse(fine), _drawn(mark)
    assert np.abs(drawn - picture).max() < 0.25 * np.ptp(fine)
    assert drawn.sum() == pytest.approx(picture.sum(), rel=0.03, abs=0.5)
    assert np.abs(drawn).sum() == pytest.approx(np.abs(picture).sum(), rel=0.05)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(picture, 2, mode="edge"), (5, 5))
    steady = np.ptp(around, axis=(2, 3)) < 0.03
    assert np.abs(drawn - picture)[steady].max() < 0.02


@pytest.mark.parametrize("name", SHAPES)
def test_the_table_tells_what_the_slow_picture_measures(name):
    """Centroid, sizes along and across, area, elongation and direction of the picture stand in the table."""
    mark = SHAPES[name]
    fine, along, across = _slow_picture(mark)
    row = tabulate([mark], noise=0.1, level=LEVEL).row(0, named=True)
    step = STILL.pitch_mm / FINE
    core = fine * np.sign(mark.contrast) > 1e-9
    weight = np.where(core, np.abs(fine), 0.0)
    centre = [float((weight * at).sum() / weight.sum()) for at in (along, across)]
    assert (row["along_m"] - mark.along_m) * 1000.0 == pytest.approx(centre[0], abs=0.02)
    assert row["across_mm"] - mark.across_mm == pytest.approx(centre[1], abs=0.02)
    # The points of needles and fading tails fall between the fine points.
    slack = {"abs": 0.4} if isinstance(mark.shape, Comet) else {"abs": 2.5 * step}
    assert row["length_mm"] == pytest.approx(core.any(axis=1).sum() * step, **slack)
    assert row["width_mm"] == pytest.approx(core.any(axis=0).sum() * step, **slack)
    assert row["area_mm2"] == pytest.approx(core.sum() * step**2, rel=0.02)
    points = np.argwhere(core) * step
    spread, axes = np.linalg.eigh(np.cov(points.T))
    assert row["elongation"] == pytest.approx(math.sqrt(spread[1] / spread[0]), rel=0.04)
    if row["elongation"] > 1.2:
        turned = math.degrees(math.atan2(axes[1, 1], axes[0, 1]))
        assert (row["angle_deg"] - turned + 90.0) % 180.0 - 90.0 == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize(
    ("name", "kind", "polarity", "ring"),
    [
        ("comet", "comet", "dark", 0.0),
        ("dark core, bright ring", "spot", "dark", 0.5),
        ("bright core, dark ring", "spot", "bright", -0.5),
        ("slanted scratch", "scratch", "dark", 0.0),
        ("scratch across", "scratch", "bright", 0.0),
    ],
)
def test_the_table_tells_kind_contrast_and_polarity(name, kind, polarity, ring):
    """A row holds what was planted, in the form that every room reads."""
    mark = SHAPES[name]
    table = tabulate([mark], noise=0.1)
    assert check_marks(table).height == 1
    row = table.row(0, named=True)
    assert (row["kind"], row["polarity"], row["ring"]) == (kind, polarity, ring)
    assert row["contrast"] == row["peak"] == abs(mark.contrast)
    assert row["snr"] == pytest.approx(abs(mark.contrast) / 0.1)


def test_a_ring_of_the_cores_own_polarity_is_no_ring():
    """What the table calls a ring has the other polarity."""
    mark = plant_ring(**PLACE, core_mm=3.0, ring_mm=1.0, contrast=-0.6, ring_contrast=-0.2)
    assert tabulate([mark])["ring"].to_list() == [0.0]


@settings(max_examples=25, deadline=None)
@given(angle=st.floats(-89.0, 90.0), width=st.floats(0.02, 0.4), length=st.floats(4.0, 20.0))
def test_a_thin_scratch_takes_away_its_area(angle, width, length):
    """However thin and however turned, the signal of a scratch in sum is its contrast over its area."""
    mark = plant_scratch(**PLACE, length_mm=length, width_mm=width, contrast=1.5, angle_deg=angle)
    drawn = _drawn(mark).sum() * STILL.pitch_mm**2
    area = tabulate([mark])["area_mm2"][0]
    # Counts are whole: a line much thinner than a pixel loses the rest of each.
    assert drawn == pytest.approx(1.5 * area, rel=0.05 + 0.002 / width)


def test_a_turned_mark_is_the_picture_turned():
    """Along and across swapped, a scratch at 30° is one at 60°; mirrored, one at -30°."""
    middle = {"along_m": 0.015, "across_mm": 20.0, "length_mm": 12.0, "width_mm": 0.4, "contrast": 0.9}
    drawn = {angle: _drawn(plant_scratch(**middle, angle_deg=angle)) for angle in (30.0, 60.0, -30.0)}
    assert np.abs(drawn[30.0].T - drawn[60.0]).max() <= 0.011
    assert np.abs(drawn[30.0][:, ::-1] - drawn[-30.0]).max() <= 0.011


@settings(max_examples=25, deadline=None)
@given(
    along=st.floats(0.004, 0.026), across=st.floats(9.0, 31.0), length=st.floats(0.03, 3.0), width=st.floats(0.03, 3.0)
)
def test_a_block_changes_each_pixel_by_the_share_it_covers(along, across, length, width):
    """Exactly, also where it covers a pixel in part."""
    mark = PlantedMark(along_m=along, across_mm=across, length_mm=length, width_mm=width, contrast=1.2, shape=Block())
    edges = np.arange(301) * 0.1

    def covered(middle, size):
        inside = np.clip(edges, middle - size / 2.0, middle + size / 2.0)
        return np.diff(inside) / 0.1

    expected = np.outer(covered(along * 1000.0, length), covered(across - 5.0, width)) * 1.2
    assert np.abs(_drawn(mark) - expected).max() < 0.0051


@pytest.mark.parametrize("size_mm", [0.3, 1.0, 4.0])
def test_a_hole_saturates_the_detector_and_nothing_else_does(size_mm):
    """Every pixel whose middle lies in the hole reads 255 whatever the noise, and none a pixel away from it."""
    hole = plant_hole(**PLACE, size_mm=size_mm)
    image = make_web(replace(STILL, noise=0.1, marks=(hole,))).rows()
    middles = (np.arange(300) + 0.5) * 0.1
    away = np.hypot(middles[:, None] - hole.along_m * 1000.0, middles[None, :] - (hole.across_mm - 5.0))
    assert (image[away <= size_mm / 2.0] == 255).all()
    assert (image[away > size_mm / 2.0 + 0.1] < 255).all()


def test_holes_stand_in_the_table_as_full_scale_over_the_level():
    """Contrast and snr are those of 255 counts to the level; under half a millimetre it is a pinhole."""
    web = make_web(
        replace(STILL, noise=0.02, marks=(plant_hole(**PLACE, size_mm=0.4), plant_hole(**PLACE, size_mm=2.0)))
    )
    table = web.truth.marks
    assert table["kind"].to_list() == [MarkKind.PINHOLE.value, MarkKind.HOLE.value]
    assert table["contrast"].to_list() == [pytest.approx(1.55)] * 2
    assert table["snr"].to_list() == [pytest.approx(77.5)] * 2
    assert set(table["polarity"]) == {"bright"}


def test_a_block_can_be_a_hole():
    """Pixels that it covers by half or more read 255."""
    hole = PlantedMark(
        along_m=0.015, across_mm=20.0, length_mm=1.0, width_mm=1.0, contrast=0.5, shape=Block(), saturates=True
    )
    image = make_web(replace(STILL, noise=0.05, marks=(hole,))).rows()
    assert (image[145:155, 145:155] == 255).all()
    assert (image == 255).sum() == 100


@pytest.mark.parametrize(
    "wrong",
    [
        {"shape": Ring(width_mm=0.0, contrast=0.2)},
        {"shape": Ring(width_mm=1.0, contrast=-1.2)},
        {"shape": Comet(fade=1.1)},
        {"shape": Comet(), "length_mm": 1.0},
        {"shape": Line(), "length_mm": 1.0},
        {"shape": Block(), "angle_deg": 10.0},
        {"angle_deg": math.inf},
        {"other_channel": -5.0},
    ],
)
def test_an_impossible_shape_is_refused(wrong):
    """What can't be drawn is an error that names the marks."""
    plain = PlantedMark(**PLACE, length_mm=4.0, width_mm=2.0, contrast=0.5)
    with pytest.raises(ArgumentError, match="marks"):
        make_web(replace(STILL, marks=(replace(plain, **wrong),)))
