import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import FilmType, Record, StripKind, step_tablet
from wideroll.sensitometry.richards import inflection_of
from wideroll.synthetic.strips import StripRecipe, aim_curves, make_strips

NEGATIVE = FilmType.COLOUR_NEGATIVE


def test_noise_free_strips_lie_on_the_aim(film_type):
    """A recipe without departures or noise gives the aim curve itself, rising or falling as its type does."""
    strip = make_strips(StripRecipe(name="1", film_type=film_type, noise_sd=0.0)).strips[0]
    for record, curve in aim_curves(film_type).items():
        assert strip.log_h == pytest.approx(curve.log_h)
        assert strip.density[record] == pytest.approx(curve.density, abs=1e-12)
        falls = film_type is FilmType.COLOUR_REVERSAL
        assert (np.diff(curve.density) < 0.0).all() == falls


def test_an_orange_mask_orders_the_minimum_densities():
    """Of the invented colour negative blue is densest at the minimum, then green, then red."""
    first = [aim_curves(NEGATIVE)[record].density[0] for record in (Record.RED, Record.GREEN, Record.BLUE)]
    assert first == sorted(first)
    assert first == pytest.approx([0.25, 0.65, 0.90], abs=0.01)


def test_the_same_recipe_gives_the_same_strip():
    """Seeds are explicit: the same recipe gives the same readings, another seed others."""
    first, again, other = (
        make_strips(StripRecipe(name="1", film_type=NEGATIVE, seed=seed)).strips[0] for seed in (3, 3, 4)
    )
    assert np.array_equal(first.density[Record.RED], again.density[Record.RED])
    assert not np.array_equal(first.density[Record.RED], other.density[Record.RED])


def test_a_shift_moves_the_curve_along():
    """A shift by one step of the tablet gives each step the density of the one before."""
    plain, slower = (
        make_strips(StripRecipe(name="1", film_type=NEGATIVE, noise_sd=0.0, shift_log_h={Record.RED: s})).strips[0]
        for s in (0.0, 0.15)
    )
    assert slower.density[Record.RED][1:] == pytest.approx(plain.density[Record.RED][:-1], abs=1e-9)
    assert slower.density[Record.BLUE] == pytest.approx(plain.density[Record.BLUE], abs=1e-12)


def test_another_shape_keeps_the_place_of_the_greatest_slope():
    """Factors of rise and skew change the curve's shape, not the log H of its greatest slope, and the truth says so."""
    plain, other = (
        make_strips(StripRecipe(name="1", film_type=NEGATIVE, noise_sd=0.0, **changed)).truth["1"]
        for changed in ({}, {"rise_factor": {Record.RED: 1.1}, "skew_factor": {Record.RED: 2.0}})
    )
    before, after = plain.parameters[Record.RED], other.parameters[Record.RED]
    assert after[[1, 4]] == pytest.approx(before[[1, 4]] * [1.1, 2.0])
    assert inflection_of(after) == pytest.approx(inflection_of(before))
    assert other.parameters[Record.BLUE] == pytest.approx(plain.parameters[Record.BLUE])


def test_process_and_film_departures_add_up():
    """Fog lifts, the process factor stretches above the minimum, a faulty step changes only itself."""
    base = {"name": "1", "film_type": NEGATIVE, "noise_sd": 0.0}
    plain = make_strips(StripRecipe(**base)).strips[0].density[Record.GREEN]
    fogged = make_strips(StripRecipe(**base, process_fog=0.1)).strips[0].density[Record.GREEN]
    pushed = make_strips(StripRecipe(**base, process_factor=1.1)).strips[0].density[Record.GREEN]
    faulty = make_strips(StripRecipe(**base, faulty_steps={5: 0.2})).strips[0].density[Record.GREEN]
    assert fogged == pytest.approx(plain + 0.1)
    assert pushed == pytest.approx(0.65 + 1.1 * (plain - 0.65))
    assert np.flatnonzero(np.abs(faulty - plain) > 1e-12).tolist() == [5]


def test_recipes_carry_through_to_the_strip():
    """Name, kind, run and tablet of the recipe are the strip's, and the truth is filed under its name."""
    made = make_strips(
        [
            StripRecipe(name="a", film_type=NEGATIVE, run="3", kind=StripKind.REFERENCE),
            StripRecipe(name="b", film_type=NEGATIVE, step_density=step_tablet(31, 0.10)),
        ]
    )
    assert [strip.name for strip in made.strips] == ["a", "b"] == list(made.truth)
    assert made.strips[0].kind is StripKind.REFERENCE
    assert made.strips[0].run == "3"
    assert len(made.strips[1].log_h) == 31


@pytest.mark.parametrize(
    "bad",
    [
        {"noise_sd": -0.1},
        {"process_factor": 0.0},
        {"contrast_factor": {Record.RED: -1.0}},
        {"skew_factor": {Record.RED: 0.0}},
    ],
)
def test_impossible_recipes_are_refused(bad):
    """Negative noise and factors that aren't positive are refused by the recipe's name."""
    with pytest.raises(ArgumentError, match="recipe 1"):
        make_strips(StripRecipe(name="1", film_type=NEGATIVE, **bad))


def test_two_strips_need_two_names():
    """Two recipes of one name are refused, since the truth is filed by name."""
    with pytest.raises(ArgumentError, match="own name"):
        make_strips([StripRecipe(name="1", film_type=NEGATIVE), StripRecipe(name="1", film_type=NEGATIVE)])
