"""Changes of level are found where they are, rarely where there is none, and held against events honestly."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.control import NotedEvent, find_changes, match_events
from wideroll.errors import ArgumentError


def _steps(levels, length=20, seed=1):
    generator = np.random.Generator(np.random.PCG64(seed))
    return (np.repeat(levels, length) + generator.normal(size=length * len(levels))).tolist()


@given(
    values=st.lists(st.integers(-9, 9), min_size=6, max_size=11).filter(lambda one: len(set(one)) > 1),
    least=st.integers(1, 3),
)
@settings(max_examples=40)
def test_no_other_division_costs_less(values, least):
    """Of all divisions into stretches that are long enough, tried one by one, none costs less than the one found."""
    found = find_changes([float(value) for value in values], least=least, sigma=2.0, false_alarm=0.5)
    costs = []
    for number in range(len(values)):
        for places in combinations(range(1, len(values)), number):
            ends = [0, *places, len(values)]
            if all(b - a >= least for a, b in pairwise(ends)):
                cost = sum(np.var(values[a:b]) * (b - a) / 4.0 for a, b in pairwise(ends))
                costs.append(cost + found.penalty * number)
    assert found.cost == pytest.approx(min(costs), abs=1e-8)
    assert all(b - a >= least for a, b in pairwise([0, *(one.at for one in found.changes), len(values)]))


def test_several_steps_are_found_with_their_places_and_sizes():
    """Three clear steps are each found, their intervals hold place and size, and their chance is small."""
    found = find_changes(_steps([0.0, 4.0, 1.0, -3.0]))
    assert len(found.changes) == 3
    assert len(found.levels) == 4
    for change, place, step in zip(found.changes, (20, 40, 60), (4.0, -3.0, -4.0), strict=True):
        assert change.first <= place <= change.last
        assert change.step_low <= step <= change.step_high
        assert change.chance < 0.001


@pytest.mark.parametrize("count", [10, 20, 60])
def test_a_steady_series_has_a_change_as_seldom_as_said(count):
    """Of 400 steady series at most about 5 % are given any change."""
    generator = np.random.Generator(np.random.PCG64(count))
    false = sum(bool(find_changes(generator.normal(size=count).tolist()).changes) for _ in range(400))
    assert false <= 20


def test_the_place_of_a_faint_step_is_known_as_well_as_it_says():
    """Of the steps of two sigma that are found, the interval holds the true place in 95 % of cases or more."""
    held, found = 0, 0
    for seed in range(200):
        changes = find_changes(_steps([0.0, 2.0], seed=seed)).changes
        if len(changes) == 1:
            found += 1
            held += changes[0].first <= 20 <= changes[0].last
    assert found > 150
    assert held / found >= 0.93


@given(shift=st.floats(-50, 50), scale=st.floats(0.01, 100))
def test_neither_unit_nor_direction_moves_a_change(shift, scale):
    """In another unit the same places are found with the steps converted; backwards in time they are mirrored."""
    values = _steps([0.0, 3.0, 0.0])
    plain = find_changes(values)
    other = find_changes([shift + scale * value for value in values])
    assert [one.at for one in other.changes] == [one.at for one in plain.changes]
    assert [one.step for one in other.changes] == pytest.approx([scale * one.step for one in plain.changes], rel=1e-6)
    back = find_changes(values[::-1])
    assert [len(values) - one.at for one in back.changes[::-1]] == [one.at for one in plain.changes]


def test_one_outlier_is_no_stretch():
    """A single point that lies six sigma off isn't made into two changes."""
    values = _steps([0.0, 0.0])
    values[15] += 6.0
    assert find_changes(values, sigma=1.0, least=3).changes == ()


def test_a_change_meets_the_event_where_it_may_have_begun():
    """The batch at the step is named; others, and those a point beyond the interval, aren't."""
    found = find_changes(_steps([0.0, 6.0]))
    (change,) = found.changes
    events = [
        NotedEvent(before=change.at, kind="batch", name="E-12"),
        NotedEvent(before=change.last + 1, kind="cleaning"),
    ]
    match = match_events(found, events)
    assert [one.name for one in match.changes[0].events] == ["E-12"]
    assert [(kind.kind, kind.met) for kind in match.kinds] == [("batch", 1), ("cleaning", 0)]
    assert match.kinds[1].chance == 1.0
    late = match_events(found, [NotedEvent(before=change.first - 2, kind="cleaning")], reach=2)
    assert late.kinds[0].met == 1


def test_frequent_events_prove_nothing():
    """With a batch before every second roll a met batch is likely by chance; a single one that is met isn't."""
    found = find_changes(_steps([0.0, 6.0]))
    many = match_events(found, [NotedEvent(before=place, kind="batch") for place in range(2, 40, 2)])
    one = match_events(found, [NotedEvent(before=found.changes[0].at, kind="batch")])
    assert many.kinds[0].chance > 0.4
    width = found.changes[0].last - found.changes[0].first + 1
    assert one.kinds[0].chance == pytest.approx(width / 39)


def test_the_chance_of_meeting_is_right_when_nothing_is_connected():
    """Where events fall at random, a chance of at most 10 % comes up in at most about 10 % of cases."""
    generator = np.random.Generator(np.random.PCG64(3))
    found = find_changes(_steps([0.0, 6.0, 0.0, 6.0, 0.0], length=12))
    assert len(found.changes) == 4
    low = 0
    for _ in range(400):
        places = generator.choice(np.arange(1, 60), size=6, replace=False)
        low += match_events(found, [NotedEvent(before=int(p), kind="batch") for p in places]).kinds[0].chance <= 0.1
    assert low / 400 <= 0.13


def test_more_kinds_tried_make_a_meeting_less_telling():
    """The chance of the best of three kinds is larger than that of one."""
    found = find_changes(_steps([0.0, 6.0]))
    at = found.changes[0].at
    events = [
        NotedEvent(before=at, kind="batch"),
        NotedEvent(before=3, kind="cleaning"),
        NotedEvent(before=35, kind="pump"),
    ]
    best = match_events(found, events).kinds[0]
    assert best.kind == "batch"
    assert best.chance_of_any == pytest.approx(1.0 - (1.0 - best.chance) ** 3)


def test_no_change_meets_nothing():
    """A steady series has no changes to match, and every chance is one."""
    match = match_events(find_changes(_steps([0.0])), [NotedEvent(before=3, kind="batch")])
    assert match.changes == ()
    assert (match.kinds[0].met, match.kinds[0].chance) == (0, 1.0)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: find_changes([1.0, 2.0, 3.0]), "at least two stretches of 3 points"),
        (lambda: find_changes([1.0] * 9), "must vary"),
        (lambda: find_changes(_steps([0.0]), sigma=0.0), "sigma be greater than 0"),
        (lambda: find_changes(_steps([0.0]), false_alarm=1.0), "false_alarm: must lie"),
        (lambda: match_events(find_changes(_steps([0.0])), [NotedEvent(before=21, kind="x")]), r"events\[0\].before"),
        (lambda: match_events(find_changes(_steps([0.0])), [], reach=-1), "reach: at least 0"),
    ],
)
def test_impossible_questions_are_refused(call, says):
    """The message names the argument and its rule."""
    with pytest.raises(ArgumentError, match=says):
        call()


def test_values_that_resemble_their_neighbours_are_cautioned_against():
    """Most changes found in a wandering series come with a caution, few of those of true steps do."""
    generator = np.random.Generator(np.random.PCG64(9))
    wandering, steps = [], []
    for seed in range(100):
        values = [0.0]
        for move in generator.normal(size=59):
            values.append(0.6 * values[-1] + float(move))
        wandering.append(find_changes(values))
        steps.append(find_changes(_steps([0.0, 2.5], length=30, seed=seed)))
    said = [np.mean([bool(one.caution) for one in found if one.changes]) for found in (wandering, steps)]
    assert said[0] > 0.75
    assert said[1] < 0.3
    assert "neighbours resemble one another" in next(one.caution for one in wandering if one.caution)
