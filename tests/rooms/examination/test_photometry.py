"""Density and size of marks in photographs whose marks are known."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.examination import Layer, Photograph, locate_layer, measure_photograph
from wideroll.examination.photograph import linear_light
from wideroll.examination.surround import noise_of_means
from wideroll.synthetic import DYE_MATRIX, draw_photograph


def _flat(value=150, shape=(80, 100), spread=2.0, seed=1):
    return np.random.default_rng(seed).normal(value, spread, (*shape, 3))


def _measure(pixels, **how):
    return measure_photograph(
        Photograph(pixels=np.clip(np.rint(pixels), 0, 255).astype(np.uint8), **how), mm_per_pixel=0.01
    )


@pytest.mark.parametrize("streak", [False, True])
@pytest.mark.parametrize(("across", "density"), [(10.0, 0.4), (20.0, 0.1), (20.0, -0.1), (36.0, 0.05)])
def test_density_and_size_hold_the_truth_within_their_uncertainty(streak, across, density):
    """Over twelve photographs, at least nine in ten densities and sizes lie within two standard uncertainties."""
    held = []
    for seed in range(12):
        made = draw_photograph(density=(density, 0.3 * density, 0.0), across_pixels=across, seed=seed, streak=streak)
        found = measure_photograph(made.photograph, mm_per_pixel=0.01)
        assert not found.refused
        held.extend(np.abs(found.change.density - made.density) < 2.0 * found.change.standard_uncertainty)
        held.append(abs(found.size_mm - across * 0.01) < 2.0 * found.size_standard_uncertainty_mm)
        assert np.isnan(found.length_mm) == streak
    assert np.mean(held) >= 0.9


def test_a_photograph_names_the_layer(sighting):
    """A mark in the magenta record, photographed, comes out as magenta with its amount."""
    density = tuple((np.array(DYE_MATRIX)[:, 1] * 0.3).tolist())
    made = draw_photograph(density=density, across_pixels=25.0, seed=4)
    found = measure_photograph(made.photograph, mm_per_pixel=0.01)
    layer = locate_layer(sighting(), change=found.change, dye_matrix=DYE_MATRIX)
    assert layer.likeliest is Layer.MAGENTA
    assert layer.excess is True
    assert layer.amounts[1] == pytest.approx(0.3, abs=3.0 * layer.amounts_standard_uncertainty[1])


def test_turning_and_mirroring_the_photograph_changes_nothing():
    """The camera may be held any way round."""
    made = draw_photograph(density=(0.3, 0.1, 0.0), across_pixels=20.0, seed=2).photograph.pixels
    first = measure_photograph(Photograph(pixels=made), mm_per_pixel=0.01)
    for turned in (made[::-1], made[:, ::-1], np.swapaxes(made, 0, 1)):
        found = measure_photograph(Photograph(pixels=np.ascontiguousarray(turned)), mm_per_pixel=0.01)
        assert found.change.density == pytest.approx(first.change.density, abs=0.003)
        assert found.size_mm == pytest.approx(first.size_mm, rel=0.03)


def test_a_larger_scale_is_a_larger_mark_of_the_same_density():
    """Size goes with the millimetres in a pixel, density doesn't."""
    made = draw_photograph(density=(0.3, 0.1, 0.0), across_pixels=20.0, seed=2).photograph
    one, two = (measure_photograph(made, mm_per_pixel=scale) for scale in (0.01, 0.02))
    assert two.size_mm == pytest.approx(2.0 * one.size_mm)
    assert two.change.density == pytest.approx(one.change.density)


def test_brighter_light_gives_the_same_density():
    """Only the mark against its surround counts, not how long was exposed."""
    bright, dim = (
        measure_photograph(
            draw_photograph(density=(0.3, 0.1, 0.0), across_pixels=20.0, seed=2, light=light).photograph,
            mm_per_pixel=0.01,
        )
        for light in ((0.7, 0.7, 0.7), (0.25, 0.25, 0.25))
    )
    assert bright.change.density == pytest.approx(dim.change.density, abs=0.01)


def test_a_linear_photograph_says_so_and_gives_the_same():
    """The same scene with the curve of sRGB or with none is the same density, when each is declared."""
    made = draw_photograph(density=(0.4, 0.0, 0.0), across_pixels=20.0, seed=2).photograph
    plain = np.rint(linear_light(made) * 65535).astype(np.uint16)
    one = measure_photograph(made, mm_per_pixel=0.01)
    other = measure_photograph(Photograph(pixels=plain, gamma=1.0), mm_per_pixel=0.01)
    wrong = measure_photograph(Photograph(pixels=plain), mm_per_pixel=0.01)
    assert other.change.density == pytest.approx(one.change.density, abs=0.002)
    assert wrong.change.density[0] > 1.5 * one.change.density[0]


def test_a_large_photograph_is_thinned_and_says_the_same():
    """Beyond two million pixels several are taken together; density and size stay."""
    small = draw_photograph(density=(0.3, 0.0, 0.0), across_pixels=30.0, seed=3).photograph.pixels
    large = np.kron(small, np.ones((12, 12, 1), dtype=np.uint8))
    one = measure_photograph(Photograph(pixels=small), mm_per_pixel=0.012)
    other = measure_photograph(Photograph(pixels=large), mm_per_pixel=0.001)
    assert other.change.density == pytest.approx(one.change.density, abs=0.005)
    assert other.size_mm == pytest.approx(one.size_mm, rel=0.05)


def test_a_photograph_that_shows_nothing_is_no_evidence():
    """Nothing found is said, with what the photograph was taken for."""
    found = _measure(_flat())
    assert found.refused == "nothing stands out from its surround"
    assert found.change is None
    assert found.taken_for == "sRGB"


@pytest.mark.parametrize("value", [0, 255])
def test_a_mark_at_the_end_of_the_range_is_refused(value):
    """What the camera couldn't tell any more has no density: burnt out or black."""
    pixels = _flat(150 if value == 0 else 120)
    pixels[30:50, 40:60] = value
    assert "of the mark is at the end of the camera's range in red" in _measure(pixels).refused


def test_a_burnt_out_surround_is_refused():
    """A light box that burns out is no reference."""
    pixels = np.full((80, 100, 3), 255.0)
    pixels[::7, ::5] = 250.0
    pixels[30:50, 40:60] = 120.0
    assert "of the surround is at the end of the camera's range" in _measure(pixels).refused


@pytest.mark.parametrize(
    "box", [(slice(0, 25), slice(40, 60)), (slice(30, 50), slice(80, 100)), (slice(0, 25), slice(0, 25))]
)
def test_a_mark_that_reaches_the_edge_has_no_surround_there(box):
    """A mark cut off by the edge is refused: neither its size nor that side's surround is known."""
    pixels = _flat()
    pixels[box] -= 60.0
    assert "reaches the edge" in _measure(pixels).refused


def test_a_mark_that_fills_the_photograph_is_refused():
    """With hardly anything around it, which is mark and which surround can't be told."""
    pixels = _flat()
    pixels[4:-4, 4:-4] -= 60.0
    assert _measure(pixels).refused


def test_a_mark_of_a_few_pixels_is_refused():
    """Blur takes density from small marks, so they are refused with what to do."""
    pixels = _flat()
    pixels[40:43, 50:53] -= 90.0
    assert "come nearer" in _measure(pixels).refused


@pytest.mark.parametrize(
    ("pixels", "gamma"),
    [
        (np.zeros((4, 4), dtype=np.uint8), None),
        (np.zeros((4, 4, 4), dtype=np.uint8), None),
        (np.zeros((0, 4, 3), dtype=np.uint8), None),
        (np.zeros((4, 4, 3), dtype=np.float32), None),
        (np.zeros((4, 4, 3), dtype=np.uint8), 0.0),
    ],
)
def test_what_is_no_colour_photograph_is_refused(pixels, gamma):
    """Grey, four channels, empty, floats and no gamma are named."""
    with pytest.raises(ArgumentError):
        Photograph(pixels=pixels, gamma=gamma)


@pytest.mark.parametrize("scale", [0.0, -1.0, np.nan])
def test_a_scale_that_cant_be_is_refused(scale):
    """Millimetres in a pixel are positive."""
    with pytest.raises(ArgumentError, match="mm_per_pixel"):
        measure_photograph(
            draw_photograph(density=(0.2, 0.0, 0.0), across_pixels=20.0, seed=1).photograph, mm_per_pixel=scale
        )


def test_scatter_of_patches_is_that_of_their_means():
    """For independent pixels the patches' means scatter as a mean of so many pixels does; little room gives none."""
    noise = np.random.default_rng(5).normal(0.0, 1.0, (300, 300, 3))
    everywhere = np.ones((300, 300), dtype=bool)
    found = noise_of_means(noise, everywhere, 100)
    assert np.diag(found) == pytest.approx(np.full(3, 0.01), rel=0.25)
    nowhere = np.zeros((300, 300), dtype=bool)
    assert noise_of_means(noise, nowhere, 100) is None
