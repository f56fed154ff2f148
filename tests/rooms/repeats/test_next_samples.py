"""Which stretch to sample next, against what can be worked out by hand."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.repeats import (
    ANOTHER,
    Candidate,
    Roller,
    SampleSettings,
    Separation,
    find_series,
    next_samples,
)
from wideroll.repeats.next_samples_beliefs import forecast, hold_beliefs, scattered_per_m
from wideroll.repeats.next_samples_chances import what_it_tells
from wideroll.repeats.web import lay_out

SPACING_M = 0.7006
TABLE = tuple(Roller(name=f"T{d:g}", diameter_mm=d) for d in (223.0, 225.2, 446.0))
SEEN_M = 9.0


def _tied(series, *names):
    """The series with the named candidates equally likely."""
    each = 1.0 / len(names)
    return replace(series, candidates=tuple(Candidate(roller=name, probability=each, slip=0.0) for name in names))


@pytest.fixture(scope="module")
def marks():
    """Twelve turns of one roller over 9 m, none missed."""
    along = 0.2 + SPACING_M * np.arange(12)
    across = np.full(12, 300.0)
    return along, across, find_series(along, across, length_m=SEEN_M, rollers=TABLE)


@pytest.fixture(scope="module")
def ask(marks):
    """Ask what to sample, with few made-up samples so that it is quick."""
    along, across, search = marks

    def ask(names, can_sample, lengths=(2.0,), **other):
        tried = SampleSettings(lengths_m=lengths, quick=32, final=200, **other)
        series = _tied(search[0], *names)
        return next_samples(
            along, across, series, rollers=TABLE, observed=search.observed, can_sample=can_sample, tried=tried
        )

    return ask


@pytest.fixture(scope="module")
def beliefs(marks):
    """What is believed of the roller and of the one twice its size."""
    along, across, search = marks
    web = lay_out(along, across, SEEN_M, None)
    series = _tied(search[0], "T223", "T446")
    held = hold_beliefs(web, series, ("T223", "T446"), TABLE, search.settings)
    return held, scattered_per_m(web, series, search.settings)


def _bits(beliefs, start, end, count=200):
    held, dirt = beliefs
    return what_it_tells(held, np.array([0.5, 0.5]), (start, end), dirt, (count, 3)).bits


def test_a_stretch_between_two_turns_tells_less_than_one_about_a_turn_of_one_only(beliefs):
    """A roller and its double agree on every other turn: only the turns between them tell, and nearly all."""
    shared = 0.2 + 13 * SPACING_M  # the double prints on odd turns here
    alone = shared + SPACING_M
    about = {at: _bits(beliefs, at - 0.1, at + 0.1) for at in (shared, alone, shared + SPACING_M / 2.0)}
    low, high = sorted((about[shared], about[alone]))
    assert low < 0.05
    assert high > 0.7
    assert about[shared + SPACING_M / 2.0] < 0.05


def test_two_near_rollers_are_best_told_apart_where_their_turns_lie_half_a_turn_apart(marks):
    """Where both predict the same place nothing is told; half a beat on, the place decides: m ΔS = S ⁄ 2."""
    along, across, search = marks
    table = (Roller(name="A", diameter_mm=223.0), Roller(name="B", diameter_mm=223.0 * 1.04))
    exact = replace(search.settings, slip=0.0, wander=0.0, drift=0.0)
    held = hold_beliefs(lay_out(along, across, SEEN_M, None), search[0], ("A", "B"), table, exact)
    beat = 26  # 26 turns of the one are 25 of the other
    last = float(along[-1])
    held = tuple(
        replace(
            one,
            spacings=np.array([spacing]),
            weights=np.ones(1),
            chance=0.9,
            onward=tuple(np.full((one.members.size, 1), value) for value in (last, 1e-6)),
            back=tuple(np.full((one.members.size, 1), value) for value in (last, 1e-6)),
        )
        for one, spacing in zip(held, (SPACING_M, SPACING_M * 1.04), strict=True)
    )
    told = {}
    for turns in (0, beat // 2, beat):  # a whole beat on, the one is a turn ahead and both agree again
        at = last + turns * SPACING_M
        assert forecast(held[0], at).along_m[0] == pytest.approx(at)
        told[turns] = what_it_tells(held, np.array([0.5, 0.5]), (at - 0.05, at + 0.05), 0.05, (200, 1)).bits
    assert told[0] < 0.02
    assert told[beat // 2] > 0.6
    assert told[beat] < 0.1


def test_information_is_never_more_than_the_uncertainty(ask):
    """Bits lie between 0 and the entropy of the candidates, and that is at most the logarithm of their number."""
    found = ask(("T223", "T225.2", "T446"), [(SEEN_M, 30.0)], lengths=(0.5, 2.0))
    assert found.uncertainty_bits == pytest.approx(np.log2(3.0))
    assert all(0.0 <= one.information_bits <= found.uncertainty_bits for one in found.choices)
    assert all(1.0 / 3.0 <= one.expected_probability <= 1.0 for one in found.choices)


def test_a_longer_stretch_never_tells_less(beliefs):
    """A stretch within another tells at most as much, up to the error of simulation."""
    bits = [_bits(beliefs, 10.0, 10.0 + length, count=400) for length in (0.3, 0.8, 1.6, 3.2)]
    assert all(after > before - 0.06 for before, after in pairwise(bits))
    assert bits[-1] > 0.95


def test_far_away_only_distances_tell(ask):
    """A thousand metres on the phase is lost: half a metre tells nothing of two near rollers, six metres do."""
    far = ask(("T223", "T225.2"), [(1000.0, 1100.0)], lengths=(0.5, 6.0))
    near = ask(("T223", "T225.2"), [(SEEN_M, 100.0)], lengths=(0.5,))
    by_length = {round(one.length_m, 1): one for one in far.choices}
    assert by_length[0.5].information_bits < 0.02
    assert by_length[6.0].information_bits > 0.5
    assert near.choices[0].information_bits > 0.5
    assert not any(one.phase_known for one in by_length[6.0].predictions)
    assert far.least_m == 6.0


def test_the_probability_stated_is_the_share_that_is_right(marks):
    """Of samples made up by another hand, the likeliest candidate is as often the right one as was said."""
    along, across, search = marks
    series = _tied(search[0], "T223", "T446")
    found = next_samples(
        along,
        across,
        series,
        rollers=TABLE,
        observed=search.observed,
        can_sample=[(SEEN_M, 20.0)],
        tried=SampleSettings(lengths_m=(0.5,), quick=32, final=400),
    )
    choice = found.choices[0]
    rng = np.random.default_rng(8)
    right = 0
    for trial in range(600):
        one = choice.predictions[trial % 2]
        # the judge knows only the places predicted: any mark at a place of the one alone decides for it
        printed = [mark for mark in one.marks if rng.random() < one.print_probability]
        inside = [mark.along_m for mark in printed if choice.from_m <= mark.along_m <= choice.to_m]
        single = [m.along_m for m in choice.predictions[0].marks if choice.from_m <= m.along_m <= choice.to_m]
        double = [m.along_m for m in choice.predictions[1].marks if choice.from_m <= m.along_m <= choice.to_m]
        alone = [at for at in single if all(abs(at - other) > 0.1 for other in double)]
        says_single = any(abs(at - other) < 0.05 for at in inside for other in alone)
        right += says_single == (trial % 2 == 0)
    assert right / 600.0 == pytest.approx(choice.expected_probability, abs=0.05)


def test_the_advised_stretch_names_the_roller_more_often_than_a_random_one(beliefs):
    """Over the stretches of one length, the best tells at least half as much again as a random one does."""
    rng = np.random.default_rng(5)
    random = [_bits(beliefs, at, at + 0.5, count=60) for at in rng.uniform(SEEN_M, 20.0, 20)]
    best = max(_bits(beliefs, at, at + 0.5, count=60) for at in np.arange(SEEN_M, 11.0, 0.2))
    assert best > 1.5 * float(np.mean(random))


def test_each_candidate_predicts_its_turns_in_the_stretch(ask):
    """Marks of the roller lie one spacing apart about the true places, within limits; its double has every other."""
    choice = ask(("T223", "T446"), [(SEEN_M, 20.0)], lengths=(3.0,)).choices[0]
    single, double = choice.predictions
    places = np.array([mark.along_m for mark in single.marks])
    turns = np.array([mark.turn for mark in single.marks])
    assert single.phase_known
    assert np.abs(places - (0.2 + SPACING_M * turns)).max() < 0.01
    assert all(mark.low_m < 0.2 + SPACING_M * mark.turn < mark.high_m for mark in single.marks)
    assert len(double.marks) in {len(places) // 2, len(places) // 2 + 1}
    assert double.spacing_m == pytest.approx(2.0 * single.spacing_m, rel=2e-3)


def test_forecasts_grow_less_sure_away_from_the_members(beliefs):
    """The further from the last member, the wider the limits; between members they are narrowest."""
    single = beliefs[0][0]
    wide = [float(forecast(single, at).sd_m.max()) for at in (4.0, 10.0, 20.0, 60.0)]
    assert wide == sorted(wide)
    assert wide[0] < 0.004


def test_one_named_candidate_needs_no_sample(marks):
    """Above 99 % nothing is left to tell apart, and without candidates nothing was compared."""
    along, across, search = marks
    ask = {"rollers": TABLE, "observed": search.observed, "can_sample": [(SEEN_M, 20.0)]}
    named = next_samples(along, across, search[0], **ask)
    assert (named.separation, named.choice, named.choices) == (Separation.NAMED, None, ())
    assert named.candidates[0][0] == "T223"
    none = next_samples(along, across, replace(search[0], candidates=()), **ask)
    assert (none.separation, none.candidates, none.uncertainty_bits) == (Separation.NONE, (), 0.0)


def test_rollers_of_one_diameter_are_tied(marks):
    """Two rollers that turn alike can't be told apart by any sample, and it says so."""
    along, across, search = marks
    table = (Roller(name="A", diameter_mm=223.0), Roller(name="B", diameter_mm=223.0))
    found = next_samples(
        along,
        across,
        _tied(search[0], "A", "B"),
        rollers=table,
        observed=search.observed,
        can_sample=[(SEEN_M, 20.0)],
        tried=SampleSettings(lengths_m=(3.0,), quick=16, final=100),
    )
    assert found.separation is Separation.TIED
    assert found.choices[0].information_bits < 0.01
    assert found.choice is None
    assert found.least_m is None


def test_another_is_a_candidate_too(ask):
    """Something that isn't in the table is told from a roller of twice its spacing."""
    found = ask((ANOTHER, "T446"), [(SEEN_M, 20.0)])
    assert found.choices[0].information_bits > 0.8
    assert {one.roller for one in found.choices[0].predictions} == {ANOTHER, "T446"}


def test_the_same_seed_gives_the_same_answer(ask):
    """Nothing depends on chance but the seed."""
    assert ask(("T223", "T446"), [(SEEN_M, 14.0)]) == ask(("T223", "T446"), [(SEEN_M, 14.0)])
    assert ask(("T223", "T446"), [(SEEN_M, 14.0)], seed=4).tried.seed == 4


def test_web_already_looked_at_is_left_out(ask):
    """What was seen tells nothing new: only the rest of a stretch is tried, and choices lie within it."""
    found = ask(("T223", "T446"), [(5.0, 12.0), (11.0, 15.0)], lengths=(1.0, 2.0))
    assert found.can_sample == ((9.0, 12.0), (12.0, 15.0))
    assert all(
        any(low <= one.from_m and one.to_m <= high + 1e-9 for low, high in found.can_sample) for one in found.choices
    )


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"can_sample": [(3.0, 2.0)]}, "can_sample"),
        ({"can_sample": [(-3.0, 2.0)]}, "can_sample"),
        ({"can_sample": [(1.0, 4.0)]}, "can_sample"),
        ({"can_sample": [(9.0, 9.2)]}, "can_sample"),
        ({"can_sample": [(float("nan"), 20.0)]}, "can_sample"),
        ({"can_sample": []}, "can_sample"),
        ({"rollers": TABLE[1:]}, "rollers"),
        ({"observed": [(5.0, 3.0)]}, "observed"),
    ],
)
def test_what_cant_be_asked_is_refused(marks, change, where):
    """One clear error names the argument, whatever is wrong with it."""
    along, across, search = marks
    ask = {"rollers": TABLE, "observed": search.observed, "can_sample": [(9.0, 20.0)]}
    with pytest.raises(ArgumentError) as refused:
        next_samples(along, across, _tied(search[0], "T223", "T446"), **(ask | change))
    assert refused.value.where.startswith(where)


@pytest.mark.parametrize("wrong", [{"lengths_m": ()}, {"lengths_m": (0.0,)}, {"seed": -1}, {"quick": 1}, {"final": 0}])
def test_settings_that_cant_be_tried_are_refused(wrong):
    """The setting is named."""
    with pytest.raises(ArgumentError, match=next(iter(wrong))):
        SampleSettings(**wrong)
