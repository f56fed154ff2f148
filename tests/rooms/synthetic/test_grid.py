import math
from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.scan import LinePlaces
from wideroll.synthetic import WebRecipe, make_web, marks_grid

PLAIN = WebRecipe(
    length_m=0.4,
    web_width_mm=280.0,
    field_mm=300.0,
    pitch_mm=0.1,
    level=200.0,
    outside_level=200.0,
    profile_ripple=0.0,
    noise=0.1,
    line_gain=0.0,
    drift=0.0,
    seed=8,
)


def _still(recipe, marks):
    """The marks alone, as a share of the level."""
    return make_web(replace(recipe, noise=0.0, bead_contrast=0.0, marks=marks)).rows() / recipe.level - 1.0


def test_marks_are_flat_squares_of_whole_pixels():
    """On a web that wanders, each mark changes n × n pixels by its contrast and no other by more than rounding."""
    marks = marks_grid(PLAIN, seed=3, kinds=((3, 2.0), (7, 1.0)))
    assert len(marks) == round(300.0 / 56.0 * 12.0)
    drawn = _still(PLAIN, marks)
    changed = np.abs(drawn) > 0.01
    assert changed.sum() == sum(round(mark.length_mm * 10.0) ** 2 for mark in marks)
    datum = make_web(PLAIN).datum_mm()
    for mark in marks:
        side = round(mark.width_mm * 10.0)
        line = round(mark.along_m * 1e4 - side / 2.0)
        column = round((mark.across_mm + datum[line + side // 2]) * 10.0 - side / 2.0)
        square = drawn[line : line + side, column : column + side]
        assert square == pytest.approx(np.full((side, side), mark.contrast), abs=0.006)


def test_contrasts_are_told_in_units_of_the_noise():
    """Kinds and polarities come equally often, and the table's snr is what was asked for."""
    marks = marks_grid(PLAIN, seed=1)
    snr = make_web(replace(PLAIN, marks=marks)).truth.marks["snr"].round(6).to_list()
    sides = [round(mark.width_mm * 10.0) for mark in marks]
    assert {(side, s) for side, s in zip(sides, snr, strict=True)} == {(3, 5.0), (7, 2.0)}
    assert abs(sides.count(3) - sides.count(7)) <= 2
    assert abs(sum(mark.contrast > 0.0 for mark in marks) * 2 - len(marks)) <= 1
    assert {mark.cause for mark in marks} == {"3×3 at 5", "7×7 at 2"}


@pytest.mark.parametrize("apart", [2, 12])
def test_no_mark_comes_near_another_or_the_edge(apart):
    """At a high density too, there is room between marks, and to the rims and ends."""
    marks = marks_grid(PLAIN, seed=2, per_mpx=400.0, apart=apart, margin=30)
    assert len(marks) == 4800
    place = np.array([(mark.along_m * 1e4, mark.across_mm * 10.0, mark.length_mm * 5.0) for mark in marks])
    assert (np.diff(place[:, 0]) >= 0.0).all()
    for n in range(len(place)):
        near = place[n + 1 : n + 1 + 250]
        gap = np.abs(near[:, :2] - place[n, :2]).max(axis=1) - near[:, 2] - place[n, 2]
        assert (gap > apart - 0.2).all()
    along, across, half = place.T
    assert (along - half).min() >= 30 - 1e-6
    assert (along + half).max() <= 4000 - 30 + 1e-6
    assert (across - half).min() >= 30 + 30 - 1e-6
    assert (across + half).max() <= 2800 - 30 - 30 + 1e-6


def test_marks_are_spread_evenly():
    """Places along and across are uniform but for the margins."""
    marks = marks_grid(PLAIN, seed=2, per_mpx=100.0)
    for values in ([mark.along_m for mark in marks], [mark.across_mm for mark in marks]):
        share = np.sort((np.array(values) - min(values)) / np.ptp(values))
        assert np.abs(share - np.linspace(0.0, 1.0, len(share))).max() < 1.95 / math.sqrt(len(share))


def test_the_same_seed_gives_the_same_marks():
    """Marks depend on the recipe and the seed alone."""
    assert marks_grid(PLAIN, seed=5) == marks_grid(PLAIN, seed=5)
    assert marks_grid(PLAIN, seed=5) != marks_grid(PLAIN, seed=6)


def test_marks_cover_whole_lines_where_the_speed_changes():
    """Lines closer together make shorter marks of as many lines."""
    slowed = replace(PLAIN, places=LinePlaces(lines=(0.0, 2000.0, 4000.0), metres=(0.0, 0.2, 0.26)), length_m=0.26)
    marks = marks_grid(slowed, seed=5, kinds=((5, 3.0),))
    changed = np.abs(_still(slowed, marks)) > 0.01
    assert changed.sum() == 25 * len(marks)
    assert {round(mark.length_mm, 3) for mark in marks} == {0.5, 0.15}


def test_none_asked_for_is_none():
    """A density that makes less than half a mark makes no marks."""
    assert marks_grid(PLAIN, seed=1, per_mpx=0.0) == ()


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"kinds": ()}, "kinds"),
        ({"kinds": ((0, 5.0),)}, "kinds"),
        ({"per_mpx": -1.0}, "per_mpx"),
        ({"per_mpx": math.inf}, "per_mpx"),
        ({"per_mpx": 1e5}, "per_mpx"),
        ({"margin": -1}, "margin"),
        ({"margin": 1400}, "per_mpx"),
        ({"apart": 0}, "apart"),
    ],
)
def test_an_impossible_grid_is_refused_by_name(wrong, named):
    """The error names the argument that can't be, and a density that leaves no room."""
    with pytest.raises(ArgumentError, match=named):
        marks_grid(PLAIN, seed=1, **wrong)
