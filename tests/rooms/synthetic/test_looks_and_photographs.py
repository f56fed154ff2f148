"""Invented marks that examiners and cameras look at."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.examination import Layer, Seen
from wideroll.examination.photograph import linear_light
from wideroll.synthetic import draw_photograph, look_at_marks


def test_the_same_seed_gives_the_same_marks():
    """Seeds are explicit: the same marks again, other marks from another."""
    one, same, other = (look_at_marks(30, seed=seed, density_sd=None) for seed in (1, 1, 2))
    assert [m.sighting for m in one] == [m.sighting for m in same]
    assert [m.sighting for m in one] != [m.sighting for m in other]


def test_every_layer_comes_as_often():
    """Layers are drawn alike."""
    layers = [mark.layer for mark in look_at_marks(1600, seed=1, density_sd=None)]
    assert min(layers.count(layer) for layer in Layer) > 150


def test_without_mistakes_cyan_shows_through_red_alone():
    """Answers without mistakes follow the layer."""
    marks = [m for m in look_at_marks(400, seed=1, wrong=0.0, density_sd=None) if m.layer is Layer.CYAN]
    assert marks
    for mark in marks:
        expected = {"red": Seen.DARKER if mark.excess else Seen.LIGHTER, "green": Seen.SAME, "blue": Seen.SAME}
        assert all(expected[colour] is look for colour, look in mark.sighting.through.items())


def test_a_drawn_mark_has_its_density():
    """Without grain, tilt and blur the middle differs from the rest by the density that was asked for."""
    made = draw_photograph(density=(0.3, 0.1, 0.0), across_pixels=40.0, seed=1, grain=1e-9, tilt=0.0, blur_pixels=0.01)
    density = -np.log10(linear_light(made.photograph))
    change = density[60, 80] - density[2, 2]
    assert change == pytest.approx(made.density, abs=0.01)


def test_marks_that_cant_be_are_refused():
    """No marks, and marks without size, are named."""
    with pytest.raises(ArgumentError, match="count"):
        look_at_marks(0, seed=1)
    with pytest.raises(ArgumentError, match="across_pixels"):
        draw_photograph(density=(0.1, 0.1, 0.1), across_pixels=0.0, seed=1)
