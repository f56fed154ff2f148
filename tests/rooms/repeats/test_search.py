"""Planted series are found, named and told apart; dirt alone gives none."""

import numpy as np
import pytest

from wideroll.repeats import ANOTHER, Roller, SeriesSettings, find_series

LENGTH_M = 42.0


def pitch(diameter_mm: float) -> float:
    """Metres of web in one turn."""
    return float(np.pi * diameter_mm / 1000.0)


@pytest.mark.parametrize(
    ("diameter_mm", "chance", "length_m"),
    [(200.0, 0.9, 42.0), (300.0, 0.6, 42.0), (160.0, 0.3, 42.0), (80.0, 0.15, 150.0)],
)
def test_planted_series_is_named(prints, dirt, together, rollers, diameter_mm, chance, length_m):
    """A roller that marks some of its turns among dirt: spacing within its interval, roller first, marks its own."""
    true = prints(1, pitch(diameter_mm), chance, length_m)
    along, across = together(true, dirt(2, int(8 * length_m), length_m))
    search = find_series(along, across, length_m=length_m, rollers=rollers)
    assert len(search) == 1
    series = search[0]
    assert series.spacing_low_m < pitch(diameter_mm) < series.spacing_high_m
    assert series.spacing_m == pytest.approx(pitch(diameter_mm), rel=0.004)
    assert series.candidates[0].roller == f"T{diameter_mm:g}"
    assert series.across_mm == pytest.approx(300.0, abs=0.5)
    own = {row for row in series.members if row < true[0].size}
    assert len(own) >= 0.9 * max(true[0].size, len(series.members))
    assert series.print_probability == pytest.approx(chance, abs=0.12)
    assert series.false_alarm <= 0.001
    assert sum(candidate.probability for candidate in series.candidates) == pytest.approx(1.0, abs=1e-12)


def test_turns_and_phase_predict_the_members(prints, dirt, together, rollers):
    """Each member lies near phase + turn × spacing, turns ascend, and turn 0 lies within the first turn of the web."""
    along, across = together(prints(3, pitch(240.0), 0.7, LENGTH_M), dirt(4, 300, LENGTH_M))
    series = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    places = along[list(series.members)]
    assert 0.0 <= series.phase_m < series.spacing_m
    assert np.all(np.diff(series.turns) >= 1)
    assert np.abs(places - series.phase_m - np.array(series.turns) * series.spacing_m).max() < 0.1 * series.spacing_m
    assert series.extent.along_from_m == places.min()
    assert abs(series.drift) < 0.01


def test_neither_half_nor_double_is_taken_for_the_spacing(prints, dirt, together, rollers):
    """With rollers of half and twice the diameter in the table the true one is named, turns missed or not."""
    for seed, chance in ((11, 0.95), (12, 0.5)):
        along, across = together(prints(seed, pitch(160.0), chance, LENGTH_M), dirt(seed + 50, 250, LENGTH_M))
        search = find_series(along, across, length_m=LENGTH_M, rollers=rollers)
        assert [series.candidates[0].roller for series in search] == ["T160"]


def test_order_of_marks_does_not_matter(prints, dirt, together, rollers):
    """The same marks in another order give the same series, members renumbered."""
    along, across = together(prints(5, pitch(200.0), 0.6, LENGTH_M), dirt(6, 250, LENGTH_M))
    order = np.random.default_rng(7).permutation(along.size)
    plain = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    mixed = find_series(along[order], across[order], length_m=LENGTH_M, rollers=rollers)[0]
    assert mixed.spacing_m == plain.spacing_m
    assert mixed.candidates == plain.candidates
    assert tuple(order[list(mixed.members)]) == plain.members


def test_mirrored_and_shifted_web_gives_the_same_series(prints, dirt, together, rollers):
    """A web wound from the other end, and one shifted across, hold the same series with the same marks."""
    along, across = together(prints(8, pitch(300.0), 0.6, LENGTH_M), dirt(9, 250, LENGTH_M))
    plain = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    for moved in (
        find_series(LENGTH_M - along, across, length_m=LENGTH_M, rollers=rollers),
        find_series(along, across + 17.3, length_m=LENGTH_M, rollers=rollers),
        find_series(along, 1000.0 - across, length_m=LENGTH_M, rollers=rollers),
    ):
        assert moved[0].spacing_m == pytest.approx(plain.spacing_m, rel=1e-4)
        assert set(moved[0].members) == set(plain.members)
        assert moved[0].candidates[0].roller == plain.candidates[0].roller


def test_roller_missing_from_the_table_is_another(prints, dirt, together, rollers):
    """A series that no roller of the table fits is most probably from something else."""
    along, across = together(prints(13, pitch(265.0), 0.6, LENGTH_M), dirt(14, 250, LENGTH_M))
    series = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    assert series.spacing_m == pytest.approx(pitch(265.0), rel=0.004)
    assert series.candidates[0].roller == ANOTHER
    assert series.candidates[0].probability > 0.9


def test_roller_that_does_not_reach_the_place_is_out(prints, dirt, together):
    """Of two equal rollers, only the one whose span holds the place across is a candidate."""
    along, across = together(prints(15, pitch(200.0), 0.6, LENGTH_M), dirt(16, 250, LENGTH_M))
    table = [
        Roller(name="short", diameter_mm=200.0, across_from_mm=400.0),
        Roller(name="long", diameter_mm=200.0, across_to_mm=400.0),
    ]
    series = find_series(along, across, length_m=LENGTH_M, rollers=table)[0]
    assert {candidate.roller for candidate in series.candidates} == {"long", ANOTHER}
    assert series.candidates[0].roller == "long"


def test_equal_rollers_are_honestly_tied(prints, dirt, together):
    """Two rollers of one diameter share the probability."""
    along, across = together(prints(15, pitch(200.0), 0.6, LENGTH_M), dirt(16, 250, LENGTH_M))
    table = [Roller(name=name, diameter_mm=200.0) for name in ("upper", "lower")]
    first, second, *_ = find_series(along, across, length_m=LENGTH_M, rollers=table)[0].candidates
    assert first.probability == pytest.approx(second.probability)
    assert first.probability > 0.45


def test_no_rollers_leaves_only_another(prints, dirt, together):
    """An empty table gives the series with *another* as the only candidate, certain."""
    along, across = together(prints(15, pitch(200.0), 0.6, LENGTH_M), dirt(16, 250, LENGTH_M))
    series = find_series(along, across, length_m=LENGTH_M, rollers=())[0]
    assert [(candidate.roller, candidate.probability) for candidate in series.candidates] == [(ANOTHER, 1.0)]


def test_two_series_in_different_lanes(prints, dirt, together, rollers):
    """Two rollers that mark at two places across are both named, each with its own marks."""
    one, two = prints(21, pitch(200.0), 0.6, LENGTH_M, 280.0), prints(22, pitch(300.0), 0.6, LENGTH_M, 330.0)
    along, across = together(one, two, dirt(23, 300, LENGTH_M))
    search = find_series(along, across, length_m=LENGTH_M, rollers=rollers)
    assert {series.candidates[0].roller: round(series.across_mm) for series in search} == {"T200": 280, "T300": 330}
    assert not set(search[0].members) & set(search[1].members)
    assert search[0].log_evidence >= search[1].log_evidence


def test_two_series_in_one_lane(prints, dirt, together, rollers):
    """Two rollers that mark at one place across are both named."""
    one, two = prints(24, pitch(200.0), 0.6, LENGTH_M), prints(25, pitch(300.0), 0.6, LENGTH_M)
    along, across = together(one, two, dirt(26, 250, LENGTH_M))
    search = find_series(along, across, length_m=LENGTH_M, rollers=rollers)
    assert {series.candidates[0].roller for series in search} == {"T200", "T300"}


def test_series_that_starts_part_way_is_found(prints, dirt, together, rollers):
    """A roller that begins to mark half-way is named, and the series begins there."""
    true = prints(27, pitch(200.0), 0.7, LENGTH_M)
    late = true[0] > 24.0
    along, across = together((true[0][late], true[1][late]), dirt(28, 250, LENGTH_M))
    series = find_series(along, across, length_m=LENGTH_M, rollers=rollers)[0]
    assert series.candidates[0].roller == "T200"
    assert series.extent.along_from_m > 22.0
    assert series.print_probability == pytest.approx(0.7, abs=0.15)


def test_only_observed_stretches_count(prints, dirt, together, rollers):
    """From sample sheets, turns between the sheets aren't silent and marks outside the sheets aren't used."""
    sheets = [(10.0, 14.0), (40.0, 44.0), (90.0, 94.0), (130.0, 134.0), (180.0, 184.0)]
    along, across = together(prints(31, pitch(160.0), 0.8, 200.0), dirt(32, 1000, 200.0))
    search = find_series(along, across, length_m=200.0, rollers=rollers, observed=sheets[::-1])
    assert search.observed == tuple(sheets)
    inside = np.any([(along >= start) & (along <= end) for start, end in sheets], axis=0)
    assert search.marks == inside.sum()
    assert search[0].candidates[0].roller == "T160"
    assert inside[list(search[0].members)].all()
    assert search[0].print_probability == pytest.approx(0.8, abs=0.15)


def test_what_was_searched_is_kept(dirt, rollers):
    """A search that finds nothing says how many marks, lanes and trials it looked at, and its settings."""
    settings = SeriesSettings(spacing_step=0.002)
    search = find_series(*dirt(41, 200, 30.0), length_m=30.0, rollers=rollers, settings=settings)
    assert (len(search), search.marks, search.settings) == (0, 200, settings)
    assert search.lanes > 20
    assert search.trials > 1000 * search.lanes
    assert search.observed == ((0.0, 30.0),)


@pytest.mark.parametrize("count", [0, 1, 4])
@pytest.mark.parametrize("observed", [None, ()])
def test_too_few_marks_give_no_series(rollers, count, observed):
    """Nothing, one mark, or fewer than the least number of turns: an empty result that says so."""
    along = np.linspace(1.0, 3.0, count)
    search = find_series(along, np.full(count, 5.0), length_m=10.0, rollers=rollers, observed=observed)
    assert (len(search), search.lanes) == (0, 0)
    assert search.marks == (count if observed is None else 0)


def test_same_input_gives_the_same_result(prints, dirt, together, rollers):
    """Searching twice gives equal results to the last bit."""
    marks = together(prints(5, pitch(200.0), 0.6, LENGTH_M), dirt(6, 250, LENGTH_M))
    assert find_series(*marks, length_m=LENGTH_M, rollers=rollers) == find_series(
        *marks, length_m=LENGTH_M, rollers=rollers
    )
