import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent, MarkKind, Place, check_marks
from wideroll.synthetic import PlantedMark, pinholes, print_roller, scatter_dirt, tabulate

STRETCH = Extent(along_from_m=20.0, along_to_m=70.0, across_from_mm=100.0, across_to_mm=900.0)


@pytest.mark.parametrize("scatter", [scatter_dirt, pinholes])
def test_scattered_marks_lie_in_their_stretch_in_order_along(scatter):
    """No mark falls outside the stretch, and the marks come in order along."""
    marks = scatter(extent=STRETCH, per_m2=5.0, seed=4)
    assert all(STRETCH.contains(Place(along_m=mark.along_m, across_mm=mark.across_mm)) for mark in marks)
    assert [mark.along_m for mark in marks] == sorted(mark.along_m for mark in marks)


@pytest.mark.parametrize("scatter", [scatter_dirt, pinholes])
def test_the_number_of_scattered_marks_is_poisson(scatter):
    """Over many seeds, mean and variance of the number are rate × area."""
    counts = np.array([len(scatter(extent=STRETCH, per_m2=0.5, seed=seed)) for seed in range(400)])
    assert counts.mean() == pytest.approx(20.0, abs=4.0 * math.sqrt(20.0 / 400))
    assert counts.var() == pytest.approx(20.0, rel=0.3)


def test_scattered_marks_are_spread_evenly():
    """Places along and across are uniform over the stretch."""
    marks = scatter_dirt(extent=STRETCH, per_m2=100.0, seed=2)
    for values, low, width in (
        ([mark.along_m for mark in marks], STRETCH.along_from_m, STRETCH.length_m),
        ([mark.across_mm for mark in marks], STRETCH.across_from_mm, STRETCH.width_mm),
    ):
        share = np.sort((np.array(values) - low) / width)
        # Kolmogorov-Smirnov distance; 1.95/√n is exceeded once in a thousand.
        assert np.abs(share - (np.arange(len(share)) + 0.5) / len(share)).max() < 1.95 / math.sqrt(len(share))


def test_dirt_is_as_large_and_dark_as_promised():
    """95 % of the dirt is between 0.4 and 2 mm, most of it dark, all of it between 0.15 and 0.6 in contrast."""
    marks = scatter_dirt(extent=STRETCH, per_m2=100.0, seed=1)
    sizes = np.array([mark.size_mm for mark in marks])
    contrast = np.array([mark.contrast for mark in marks])
    assert np.percentile(sizes, [2.5, 97.5]) == pytest.approx([0.41, 1.97], rel=0.08)
    assert 0.85 < (contrast < 0).mean() < 0.98
    assert ((np.abs(contrast) >= 0.15) & (np.abs(contrast) <= 0.6)).all()


def test_pinholes_are_small_and_bright():
    """Pinholes let light through, are named so and stay under a millimetre and a half."""
    marks = pinholes(extent=STRETCH, per_m2=50.0, seed=1)
    assert {mark.kind for mark in marks} == {MarkKind.PINHOLE}
    assert all(mark.contrast > 0 and mark.size_mm < 1.5 for mark in marks)


def test_another_seed_gives_other_marks_and_the_same_seed_the_same():
    """Marks depend on the seed and on nothing hidden."""
    one, again, other = (scatter_dirt(extent=STRETCH, per_m2=5.0, seed=seed) for seed in (1, 1, 2))
    assert one == again
    assert one != other


@settings(max_examples=40, deadline=None)
@given(
    diameter_mm=st.floats(50.0, 500.0),
    slip=st.floats(-0.01, 0.01),
    length_m=st.floats(0.0, 60.0),
    seed=st.integers(0, 2**32),
)
def test_prints_are_a_turn_apart(diameter_mm, slip, length_m, seed):
    """Without jitter and omission each print lies π × D × (1 + slip) after the last, from the first turn to the end."""
    prints = print_roller(diameter_mm=diameter_mm, across_mm=413.0, length_m=length_m, slip=slip, seed=seed)
    spacing_m = math.pi * diameter_mm * (1.0 + slip) / 1000.0
    assert [mark.turn for mark in prints] == list(range(len(prints)))
    assert all(
        after.along_m - before.along_m == pytest.approx(spacing_m) for before, after in itertools.pairwise(prints)
    )
    assert abs(len(prints) - length_m / spacing_m) <= 1.0
    assert all(0.0 <= mark.along_m < length_m and mark.across_mm == 413.0 for mark in prints)


def test_turns_that_do_not_print_leave_gaps_of_whole_turns():
    """The turn numbers tell which turns printed, and the share that did is the probability."""
    prints = print_roller(diameter_mm=100.0, across_mm=5.0, length_m=500.0, print_probability=0.6, seed=3)
    spacing_m = math.pi * 0.1
    first = prints[0]
    assert all(
        mark.along_m - first.along_m == pytest.approx((mark.turn - first.turn) * spacing_m, abs=1e-9) for mark in prints
    )
    assert len(prints) * spacing_m / 500.0 == pytest.approx(0.6, abs=4.0 * math.sqrt(0.24 * spacing_m / 500.0))


def test_jitter_does_not_add_up():
    """A print's departure from its turn has the jitter's size at the end of the roll as at its start."""
    prints = print_roller(diameter_mm=100.0, across_mm=50.0, length_m=800.0, jitter_mm=2.0, seed=6)
    turn = np.array([mark.turn for mark in prints])
    along = np.array([mark.along_m for mark in prints])
    off_mm = (along - turn * math.pi * 0.1) * 1000.0
    off_mm -= off_mm.mean()
    half = len(prints) // 2
    assert off_mm[:half].std() == pytest.approx(2.0, rel=0.15)
    assert off_mm[half:].std() == pytest.approx(2.0, rel=0.15)
    assert np.std([mark.across_mm for mark in prints]) == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize(
    "wrong",
    [
        {"diameter_mm": 0.0},
        {"diameter_mm": math.nan},
        {"length_m": -1.0},
        {"slip": -1.0},
        {"print_probability": 1.5},
        {"jitter_mm": -0.1},
    ],
)
def test_an_impossible_roller_is_refused_by_name(wrong):
    """The error names the argument that can't be."""
    given_arguments = {"diameter_mm": 100.0, "across_mm": 5.0, "length_m": 5.0, "seed": 1} | wrong
    with pytest.raises(ArgumentError, match=next(iter(wrong))):
        print_roller(**given_arguments)


@pytest.mark.parametrize("per_m2", [-1.0, math.inf, math.nan])
def test_an_impossible_rate_is_refused(per_m2):
    """A rate must be finite and not negative."""
    with pytest.raises(ArgumentError, match="per_m2"):
        scatter_dirt(extent=STRETCH, per_m2=per_m2, seed=1)


def test_the_table_of_planted_marks_is_a_marks_table():
    """Row by row, the table holds the planted marks in the form every room reads, and their cause."""
    planted = scatter_dirt(extent=STRETCH, per_m2=5.0, seed=4, cause="filter burst")
    table = tabulate(planted, noise=0.02)
    assert check_marks(table).height == len(planted)
    assert table["along_m"].to_list() == [mark.along_m for mark in planted]
    assert table["contrast"].to_list() == [abs(mark.contrast) for mark in planted]
    assert table["polarity"].to_list() == ["dark" if mark.contrast < 0 else "bright" for mark in planted]
    assert set(table["cause"]) == {"filter burst"}


def test_no_marks_make_an_empty_table():
    """Nothing planted is a table without rows, not an error."""
    assert tabulate(()).height == 0


def test_size_is_that_of_the_circle_of_the_same_area():
    """A 4 × 1 mm mark counts as 2 mm."""
    mark = PlantedMark(along_m=0.0, across_mm=0.0, length_mm=4.0, width_mm=1.0, contrast=-0.2)
    assert mark.size_mm == 2.0
