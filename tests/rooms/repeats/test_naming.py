"""Rollers named by what their prints are and by when they were cleaned."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.repeats import ANOTHER, Candidate, Roller, Sign, Stage, cleaning_weight, weigh_candidates
from wideroll.repeats.naming import LEAST_WEIGHT
from wideroll.repeats.traces import LEAVES, STRAY, Trace, left_by, left_by_any, log_likelihood, seen_words
from wideroll.roll import Side

EMBEDDED = Sign(some_records=0.05, on_emulsion=0.02, on_base=0.02)
ON_TOP = Sign(embedded=0.03, all_records=0.03, some_records=0.03, on_base=0.1)
ON_BASE = Sign(embedded=0.01, all_records=0.01, some_records=0.01, on_emulsion=0.1)
SIGNS = st.builds(Sign, **dict.fromkeys(("embedded", "all_records", "some_records"), st.floats(0.01, 1.0)))
SIDES = st.sampled_from((None, *Side))
STAGES = st.sampled_from((None, *Stage))


def roller(name: str, side: Side | None = None, stage: Stage | None = None) -> Roller:
    """A roller of 200 mm."""
    return Roller(name=name, diameter_mm=200.0, side=side, stage=stage)


def spread(**probability: float) -> list[Candidate]:
    """Candidates by the spacing alone; the rest is another."""
    named = [Candidate(roller=name, probability=p, slip=0.001) for name, p in probability.items()]
    return [*named, Candidate(roller=ANOTHER, probability=1.0 - sum(probability.values()), slip=0.0)]


def by_name(candidates: tuple[Candidate, ...]) -> dict[str, float]:
    """Probability of each."""
    return {one.roller: one.probability for one in candidates}


BASE, EMULSION = roller("base", Side.BASE, Stage.DRY), roller("emulsion", Side.EMULSION, Stage.DRY)
TABLE = (BASE, EMULSION)


def test_table_is_a_table_of_probabilities_without_certainty():
    """Each row sums to 1 and nothing in it is 0 or 1, since a side or zone may stand wrong in plant.toml."""
    assert set(LEAVES) == set(itertools.product(Stage, Side))
    for row in LEAVES.values():
        assert math.fsum(row.values()) == pytest.approx(1.0)
        assert all(0.0 < share < 1.0 for share in row.values())


def test_table_says_what_is_common_practice():
    """A base roller seldom leaves a deposit on the emulsion but may dent it; what is embedded came wet."""
    for stage in Stage:
        base, emulsion = LEAVES[stage, Side.BASE], LEAVES[stage, Side.EMULSION]
        assert base[Trace.EMBEDDED] < emulsion[Trace.EMBEDDED]
        assert base[Trace.ON_EMULSION] < emulsion[Trace.ON_EMULSION]
        assert base[Trace.ALL_RECORDS] + base[Trace.SOME_RECORDS] > 0.2
    wet, dry = LEAVES[Stage.WET, Side.EMULSION], LEAVES[Stage.DRY, Side.EMULSION]
    assert wet[Trace.EMBEDDED] > 5.0 * dry[Trace.EMBEDDED]
    assert dry[Trace.ON_EMULSION] >= 5.0 * wet[Trace.ON_EMULSION]


def test_probabilities_are_bayes_over_all_traces():
    """The result is prior times the sum over traces of share times the product over sightings, written out plainly."""
    signs = (ON_TOP, EMBEDDED, ON_BASE)
    candidates = spread(base=0.5, emulsion=0.3)

    def plainly(leaves):
        total = 0.0
        for trace, share in leaves.items():
            product = share
            for sign in signs:
                values = sign.by_trace
                product *= 0.9 * values[trace] / (sum(values.values()) / 5.0) + 0.1
            total += product
        return total

    assert STRAY == 0.1
    weights = {
        "base": 0.5 * plainly(left_by(BASE)),
        "emulsion": 0.3 * plainly(left_by(EMULSION)),
        ANOTHER: 0.2 * plainly(left_by_any()),
    }
    found = by_name(weigh_candidates(candidates, TABLE, signs))
    for name, weight in weights.items():
        assert found[name] == pytest.approx(weight / sum(weights.values()), rel=1e-12)


@given(st.lists(SIGNS, max_size=30), SIDES, STAGES, st.floats(0.01, 0.8), st.none() | st.floats(0.0, 1000.0))
def test_probabilities_sum_to_one_and_stay_in_order(signs, side, stage, share, days):
    """Whatever was seen and cleaned, the probabilities sum to 1, the most probable stands first, slips stay."""
    table = (roller("one", side, stage), roller("two"))
    candidates = spread(one=share, two=0.1)
    found = weigh_candidates(candidates, table, signs, days_since=None if days is None else {"one": days})
    assert math.fsum(one.probability for one in found) == pytest.approx(1.0)
    assert [one.probability for one in found] == sorted((one.probability for one in found), reverse=True)
    assert {one.roller: one.slip for one in found} == {one.roller: one.slip for one in candidates}


def test_without_signs_and_cleanings_nothing_changes():
    """The spacing alone is left as it was."""
    candidates = spread(base=0.5, emulsion=0.3)
    assert weigh_candidates(candidates, TABLE) == tuple(candidates)


def test_sign_that_says_nothing_changes_nothing():
    """A mark of which nothing that tells was noted leaves the probabilities."""
    found = by_name(weigh_candidates(spread(base=0.5, emulsion=0.3), TABLE, [Sign(), Sign()]))
    assert found["base"] == pytest.approx(0.5)


@given(st.lists(st.sampled_from((EMBEDDED, ON_TOP, ON_BASE)), max_size=400))
def test_sightings_never_tell_more_than_the_table(signs):
    """However many sightings agree, no roller gains more than 14 times against another."""
    logs = [log_likelihood(row, signs) for row in LEAVES.values()]
    assert max(logs) - min(logs) <= math.log(14.0)


def test_one_sighting_on_the_wrong_side_does_not_overturn_the_spacing():
    """A roller of 99 % by its spacing stays first against one, or ten, sightings that speak for the other."""
    for count in (1, 10):
        found = weigh_candidates(spread(base=0.99, emulsion=0.005), TABLE, [ON_TOP] * count)
        assert found[0].roller == "base"
        assert found[0].probability > 0.85


def test_sides_of_one_diameter_are_told_apart_by_sightings():
    """Of two tied rollers the right one comes first clearly more often than not; dents from both sides tell nothing."""
    rng = np.random.default_rng(12)
    right = {1: 0, 5: 0}
    for _ in range(400):
        truth = TABLE[int(rng.integers(2))]
        shares = left_by(truth)
        trace = list(Trace)[rng.choice(5, p=list(shares.values()))]
        for count in right:
            signs = [_said(trace, rng) for _ in range(count)]
            found = weigh_candidates(spread(base=0.45, emulsion=0.45), TABLE, signs)
            named = next(one.roller for one in found if one.roller != ANOTHER)
            right[count] += named == truth.name
    assert right[1] / 400 > 0.68
    assert right[5] / 400 > 0.72


def _said(trace: Trace, rng: np.random.Generator) -> Sign:
    """What an examiner says who is wrong one time in ten."""
    said = trace if rng.random() < 0.9 else list(Trace)[int(rng.integers(5))]
    return Sign(**{one.name.lower(): 0.92 if one is said else 0.02 for one in Trace})


def test_why_names_what_spoke_for_and_against():
    """Each candidate says in a few words what besides the spacing moved it."""
    found = weigh_candidates(spread(base=0.45, emulsion=0.45), TABLE, [ON_TOP] * 3, days_since={"base": 2.4})
    why = {one.roller: one.why for one in found}
    assert why["emulsion"] == "for: touches the emulsion after drying; 3 marks seen on sheets: on top of the emulsion"
    assert why["base"] == (
        "against: touches only the base after drying; 3 marks seen on sheets: on top of the emulsion; "
        "against: cleaned 2 days before"
    )
    assert why[ANOTHER] == ""


def test_words_are_as_fine_as_what_was_said():
    """Dark in all records is embedded or a change of all; a metallic look tells which; unclear says nothing."""
    assert seen_words([EMBEDDED] * 2) == "in the emulsion, in all records"
    assert seen_words([Sign(embedded=0.9, all_records=0.1, some_records=0.0, on_emulsion=0.0, on_base=0.0)] * 2) == (
        "in or under the emulsion"
    )
    assert seen_words([Sign(embedded=0.1, all_records=0.1, some_records=0.1)] * 3) == "on the surface"
    assert seen_words([Sign()]) == ""
    assert seen_words([]) == ""


def test_cleaned_roller_is_less_likely_and_never_excluded():
    """The weight rises with the days from a tenth to 1."""
    days = [0.0, 1.0, 5.0, 30.0, 90.0, 3650.0]
    weights = [cleaning_weight(one) for one in days]
    assert weights == sorted(weights)
    assert weights[0] == LEAST_WEIGHT == 0.1
    assert weights[3] == pytest.approx(1.0 - math.exp(-1.0))
    assert weights[-1] == pytest.approx(1.0)
    found = by_name(weigh_candidates(spread(base=0.45, emulsion=0.45), TABLE, days_since={"base": 1.0}))
    assert found["base"] == pytest.approx(0.045 / 0.595)


@pytest.mark.parametrize(("days", "usual"), [(-1.0, 30.0), (math.nan, 30.0), (1.0, 0.0), (1.0, math.inf)])
def test_days_that_can_not_be_are_refused(days, usual):
    """Negative days and usual days that aren't greater than 0 are an error of the call."""
    with pytest.raises(ArgumentError):
        cleaning_weight(days, usual)


def test_name_from_another_table_is_refused():
    """A candidate that is no roller of the table is an error, not a silent weight of 1."""
    with pytest.raises(ArgumentError, match="nobody"):
        weigh_candidates(spread(nobody=0.5), TABLE)


def test_sign_without_any_likelihood_is_refused():
    """Likelihoods that are all 0, negative or infinite can't be weighed."""
    none = dict.fromkeys(("embedded", "all_records", "some_records", "on_emulsion", "on_base"), 0.0)
    for fields in (none, {"embedded": -1.0}, {"on_base": math.inf}):
        with pytest.raises(ArgumentError):
            Sign(**fields)
