"""Changes at borders, along and across, and the profiles that follow from them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    Border,
    ChangeKind,
    Direction,
    DriftKind,
    Record,
    find_changes,
    locate_change,
    profile,
)
from wideroll.synthetic.placed_strips import PlacedRecipe, make_series, true_value

_BORDER = Border(along_m=600.0, before="E-1", after="E-2")
_LATER = Border(along_m=900.0, before="E-2", after="E-3")


def _places(count, length_m=1200.0):
    return tuple(((n + 0.5) * length_m / count, 100.0 + 1180.0 * ((n * 0.618) % 1.0)) for n in range(count))


def _recipe(count=16, **changed):
    return PlacedRecipe(places=_places(count), own_sd=0.008, run_sd=0.004, **changed)


def test_a_step_is_told_from_a_trend():
    """Sixteen strips with a step of 0.10 at the border show a step, hold its size, and reject a trend."""
    (found,) = find_changes([make_series(_recipe(steps={600.0: 0.10}, seed=1))], [_BORDER])
    change = found.borders[0]
    assert change.kind is ChangeKind.STEP
    assert change.step.low < 0.10 < change.step.high
    assert change.step_beside_trend.p_value < 0.001


def test_a_trend_is_told_from_a_step():
    """Sixteen strips on a slope of 0.15 over the roll show a gradual trend and no step."""
    (found,) = find_changes([make_series(_recipe(trend_per_m=0.15 / 1200.0, seed=2))], [_BORDER])
    assert found.borders[0].kind is ChangeKind.TREND
    trend = found.borders[0].trend_beside_step
    assert trend.low < 0.15 / 1200.0 < trend.high


def test_a_step_on_top_of_a_trend_is_both():
    """A step and a trend of opposite sign are both found."""
    recipe = _recipe(24, steps={600.0: 0.12}, trend_per_m=-0.15 / 1200.0, seed=3)
    (found,) = find_changes([make_series(recipe)], [Border(along_m=600.0, before="E-1", after="E-2")])
    # the two cancel in a step alone, so the trend is found as a drift beside the step
    assert [drift.kind for drift in found.drifts if drift.found] == [DriftKind.ALONG]
    beside = found.borders[0].step_beside_trend
    assert beside.low < 0.12 < beside.high
    assert beside.p_value < 0.01


def test_few_strips_settle_nothing_between_step_and_trend():
    """Three strips see that something changed, and say that they can't tell how."""
    recipe = PlacedRecipe(places=((100.0, 300.0), (700.0, 300.0), (1000.0, 800.0)), steps={600.0: 0.15}, seed=4)
    (found,) = find_changes([make_series(recipe)], [_BORDER])
    assert found.borders[0].kind is ChangeKind.NOT_SETTLED
    assert found.borders[0].step.low < 0.15 < found.borders[0].step.high


def test_a_batch_without_a_strip_is_not_tested_and_named():
    """Where a batch has no strip, both its borders say so and neither is called unchanged."""
    places = ((100.0, 0.0), (300.0, 0.0), (1000.0, 0.0), (1100.0, 0.0))
    (found,) = find_changes([make_series(PlacedRecipe(places=places, seed=5))], [_BORDER, _LATER])
    assert [change.kind for change in found.borders] == [ChangeKind.NOT_TESTED] * 2
    assert all("E-2" in change.why for change in found.borders)


@pytest.mark.parametrize("count", [0, 1])
def test_a_roll_with_hardly_a_strip_is_not_tested(count):
    """With no strip or one, nothing is tested and nothing fails."""
    (found,) = find_changes([make_series(PlacedRecipe(places=_places(count)))], [_BORDER])
    assert found.borders[0].kind is ChangeKind.NOT_TESTED
    assert found.drifts == ()
    assert found.place is None


def test_p_values_are_adjusted_over_all_tests_of_a_roll():
    """Adjusted p-values of all series, borders and drifts are Holm's, as ``statsmodels`` gives them."""
    series = [make_series(_recipe(seed=seed, steps={600.0: 0.01 * seed})) for seed in range(4)]
    found = find_changes(series, [_BORDER, _LATER])
    tests = [(c.step.p_value, c.adjusted_p) for one in found for c in one.borders]
    tests += [(d.size.p_value, d.adjusted_p) for one in found for d in one.drifts]
    raw, adjusted = zip(*tests, strict=True)
    np.testing.assert_allclose(adjusted, multipletests(raw, method="holm")[1])


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10_000))
def test_the_order_of_strips_does_not_matter(seed):
    """Strips in another order give the same finding and the same numbers."""
    series = make_series(_recipe(8, seed=seed, steps={600.0: 0.04}))
    turned = replace(series, points=series.points[::-1])
    (one,), (other,) = (find_changes([s], [_BORDER]) for s in (series, turned))
    assert one.borders[0].kind is other.borders[0].kind
    assert other.borders[0].step.value == pytest.approx(one.borders[0].step.value, rel=1e-6, abs=1e-12)
    assert other.borders[0].adjusted_p == pytest.approx(one.borders[0].adjusted_p, rel=1e-5)


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 10_000))
def test_a_roll_seen_from_its_tail_has_the_opposite_step(seed):
    """Mirroring the roll along turns the sign of the step and nothing else."""
    series = make_series(_recipe(8, seed=seed, steps={600.0: 0.04}))
    mirrored = replace(series, points=tuple(replace(p, along_m=1200.0 - p.along_m) for p in series.points))
    (one,), (other,) = (find_changes([s], [_BORDER]) for s in (series, mirrored))
    assert other.borders[0].step.value == pytest.approx(-one.borders[0].step.value, rel=1e-6, abs=1e-12)
    assert other.borders[0].step.p_value == pytest.approx(one.borders[0].step.p_value, rel=1e-5)


def test_a_border_noted_wrong_is_seen():
    """A step far from the only border noted is found at its own place, and the border isn't in its probable stretch."""
    series = make_series(_recipe(24, steps={300.0: 0.12}, seed=7))
    place = locate_change(series)
    assert place.between_m[0] < 300.0 < place.between_m[1]
    assert place.p_value < 0.001
    assert not place.probable_m[0] <= _BORDER.along_m <= place.probable_m[1]
    assert place.probable_m[0] <= 300.0 <= place.probable_m[1]


def test_a_bow_across_is_found_and_drawn():
    """A bow of 0.08 across is found in ten rolls of ten, and their profiles across hold the truth at most places."""
    held = []
    for seed in range(10):
        recipe = _recipe(20, bow=0.08, scatter_sd=0.008, seed=seed)
        (found,) = find_changes([make_series(recipe)], [_BORDER])
        assert DriftKind.BOW in {drift.kind for drift in found.drifts if drift.found}
        across = profile(found, Direction.ACROSS, (0.0, 1380.0))
        assert "across bow" in across.terms
        truth = np.array([true_value(recipe, 0.0, float(at)) for at in across.at])
        held.append(np.mean((across.low <= truth) & (truth <= across.high)))
    assert np.mean(held) > 0.8


def test_a_profile_along_steps_at_the_border_and_nowhere_else():
    """With a step found, the profile is two levels that meet at the border, each holding the truth."""
    recipe = _recipe(16, steps={600.0: 0.10}, seed=9)
    (found,) = find_changes([make_series(recipe)], [_BORDER])
    along = profile(found, Direction.ALONG, (0.0, 1200.0))
    assert along.terms == ("level", "step at 600 m")
    assert len(np.unique(along.value.round(9))) == 2
    jump = np.flatnonzero(np.diff(along.value))
    assert along.at[jump].tolist() == along.at[jump + 1].tolist() == [600.0]
    assert along.low[0] < 0.0 < along.high[0]
    assert along.low[-1] < 0.10 < along.high[-1]


def test_without_a_finding_a_profile_is_one_level():
    """Where nothing was found, the profile is the strips' mean from end to end."""
    (found,) = find_changes([make_series(_recipe(6, seed=10))], [_BORDER])
    along = profile(found, Direction.ALONG, (0.0, 1200.0))
    assert along.terms == ("level",)
    assert np.ptp(along.value) == pytest.approx(0.0, abs=1e-12)


def test_no_strip_gives_no_profile_but_a_reason():
    """A series without strips has an empty profile that says why."""
    (found,) = find_changes([make_series(PlacedRecipe(places=()))], [_BORDER])
    along = profile(found, Direction.ALONG, (0.0, 1200.0))
    assert along.at.size == 0
    assert along.why == "no usable strip"


def test_borders_out_of_order_are_refused():
    """Borders must ascend; the error shows them."""
    with pytest.raises(ArgumentError, match="ascend"):
        find_changes([], [_LATER, _BORDER])


def test_a_roll_without_change_shows_none():
    """Of sixty invented rolls without any change, no more show one than a level of 5 % allows (binomial, 1 in 1000)."""
    false = 0
    for seed in range(60):
        series = [replace(make_series(_recipe(6, seed=3 * seed + n)), record=list(Record)[n]) for n in range(3)]
        found = find_changes(series, [_BORDER])
        false += any(c.kind is not ChangeKind.NONE for one in found for c in one.borders)
    assert false <= 9
