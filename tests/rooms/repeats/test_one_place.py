"""Marks that people took together: named without a threshold, from sheets as from a scan."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.repeats import ANOTHER, find_series, name_roller, spacing_evidence

LENGTH_M = 300.0


@pytest.fixture
def seen_on(prints, dirt, together):
    """Marks of T240 and dirt, as far as they lie on the sheets given."""

    def make(sheets, seed=1, chance=0.6):
        along, across = together(prints(seed, 0.7543, chance, LENGTH_M), dirt(seed + 1, 60, LENGTH_M, (298.0, 303.0)))
        on = np.any([(along >= start) & (along < end) for start, end in sheets], axis=0)
        return along[on], across[on]

    return make


def test_few_sheets_name_the_roller_among_the_first_two(seen_on, rollers):
    """Six sheets of 3 m name the roller first or second, nine times in ten."""
    right = 0
    for seed in range(20):
        starts = np.random.default_rng(seed).uniform(0.0, 40.0, 6) + 45.0 * np.arange(6)
        sheets = [(float(start), float(start) + 3.0) for start in starts]
        along, across = seen_on(sheets, seed=seed)
        series = name_roller(along, across, length_m=LENGTH_M, rollers=rollers, observed=sheets)
        right += "T240" in [candidate.roller for candidate in series.candidates[:2]]
    assert right >= 18


def test_limits_from_sheets_hold_the_spacing(seen_on, rollers):
    """Over sheets, where turns between them are guessed, the limits hold the spacing nine times in ten."""
    held = []
    for seed in range(20):
        starts = np.random.default_rng([2, seed]).uniform(0.0, 40.0, 6) + 45.0 * np.arange(6)
        sheets = [(float(start), float(start) + 3.0) for start in starts]
        series = name_roller(*seen_on(sheets, seed=seed), length_m=LENGTH_M, rollers=rollers, observed=sheets)
        if series.candidates[0].roller == "T240" and abs(series.spacing_m / 0.7543 - 1.0) < 0.005:
            held.append(series.spacing_low_m <= 0.7543 <= series.spacing_high_m)
    assert len(held) >= 15
    assert np.mean(held) >= 0.9


def test_name_is_that_of_the_search(seen_on, rollers):
    """On one lane the roller, its probability and the spacing are those that the search gives."""
    along, across = seen_on([(0.0, LENGTH_M)])
    series = name_roller(along, across, length_m=LENGTH_M, rollers=rollers)
    found = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    assert series.candidates[0].roller == found.candidates[0].roller == "T240"
    assert series.spacing_m == pytest.approx(found.spacing_m, rel=1e-4)


def test_little_evidence_is_said_to_be_little(rollers):
    """Three marks that fit nothing give a false alarm of 1 and leave every maker possible."""
    series = name_roller(np.array([1.0, 2.2, 9.1]), np.full(3, 300.0), length_m=20.0, rollers=rollers)
    assert series.false_alarm > 0.2
    assert max(candidate.probability for candidate in series.candidates) < 0.6


def test_one_mark_names_nothing(rollers):
    """A single mark has no spacing: one error says so."""
    with pytest.raises(ArgumentError, match="at least two marks"):
        name_roller(np.array([1.0]), np.array([300.0]), length_m=20.0, rollers=rollers)


def test_without_a_table_it_is_another(seen_on):
    """Where no roller is known the maker isn't in the table, and the spacing is told."""
    along, across = seen_on([(0.0, 60.0)], chance=0.9)
    series = name_roller(along, across, length_m=LENGTH_M, rollers=(), observed=[(0.0, 60.0)])
    assert series.candidates[0].roller == ANOTHER
    assert series.spacing_m == pytest.approx(0.7543, rel=0.003)


def test_evidence_is_greatest_at_the_spacing_found(seen_on, rollers):
    """The curve for the figure peaks at the spacing, with twice and half of it far below."""
    along, across = seen_on([(0.0, LENGTH_M)])
    series = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    curve = spacing_evidence(along, across, series, length_m=LENGTH_M, rollers=rollers)
    assert np.all(np.diff(curve.spacings_m) >= 0.0)
    top = float(curve.log_evidence.max())
    assert curve.spacings_m[np.argmax(curve.log_evidence)] == pytest.approx(series.spacing_m, rel=0.001)
    for other in (0.5, 2.0):
        near = np.abs(curve.spacings_m / (other * series.spacing_m) - 1.0) < 0.002
        assert curve.log_evidence[near].max() < top - 50.0
