"""Lots, their plans and how strictly the next is inspected."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from wideroll.errors import ArgumentError
from wideroll.sampling import (
    Inspection,
    Lot,
    Severity,
    acceptance_plan,
    acceptance_probability,
    judge_lots,
    quality_at,
    switch,
)


def lot(name, found, **kw):
    """A lot of 800 at 2.5 %: normal 80, 5/6; tightened 80, 3/4."""
    return Lot(name=name, size=800, aql=2.5, found=found, **kw)


def follow(answers):
    """The states after each lot."""
    state, states = Inspection(), []
    for accepted in answers:
        if state.severity is Severity.DISCONTINUED:
            break
        state = switch(state, accepted=accepted)
        states.append(state.severity)
    return states


def test_two_of_five_tighten():
    """Two refused among five tighten, two further apart don't."""
    assert follow([False, True, True, True, False])[-1] is Severity.TIGHTENED
    assert follow([False, True, True, True, True, False])[-1] is Severity.NORMAL


def test_five_in_a_row_return_to_normal():
    """Five accepted in a row loosen again; four, or five broken by one, don't."""
    tight = [False, False]
    assert follow([*tight, *[True] * 5])[-1] is Severity.NORMAL
    assert follow([*tight, *[True] * 4])[-1] is Severity.TIGHTENED
    assert follow([*tight, *[True] * 4, False, *[True] * 4])[-1] is Severity.TIGHTENED


def test_five_refused_on_tightened_stop():
    """The fifth refused lot on tightened inspection discontinues it, accepted ones between or not."""
    assert follow([False, False, *[False, True] * 4, False])[-1] is Severity.DISCONTINUED
    with pytest.raises(ArgumentError, match="discontinued"):
        switch(Inspection(severity=Severity.DISCONTINUED), accepted=True)


@given(st.lists(st.booleans(), max_size=40))
def test_switching_follows_the_rules_told_plainly(answers):
    """The state equals that of a slow reading of the rules over the whole history (oracle)."""
    severity, since, seen = Severity.NORMAL, 0, []
    for accepted in answers:
        if severity is Severity.DISCONTINUED:
            break
        seen.append(accepted)
        here = seen[since:]
        if severity is Severity.NORMAL:
            if any(
                here[a:b].count(False) >= 2 for a in range(len(here)) for b in range(a + 1, min(a + 5, len(here)) + 1)
            ):
                severity, since = Severity.TIGHTENED, len(seen)
        elif here.count(False) >= 5:
            severity = Severity.DISCONTINUED
        elif here[-5:] == [True] * 5:
            severity, since = Severity.NORMAL, len(seen)
    assert (follow(answers) or [Severity.NORMAL])[-1] is severity


def test_a_history_is_judged_lot_by_lot():
    """Each lot falls under the plan of its turn; a resubmitted one doesn't count for switching."""
    results, state = judge_lots([lot("a", 6), lot("a", 5, resubmitted=True), lot("b", 6), lot("c", 4), lot("d", 3)])
    assert [r.accepted for r in results] == [False, True, False, False, True]
    assert [r.plan.accept for r in results] == [5, 5, 5, 3, 3]
    assert "tightened" in results[2].change
    assert state.refused == 1


def test_inspection_is_resumed_tightened():
    """After a stop, lots are refused until one says that inspection is resumed."""
    stopped = [lot(str(n), 9) for n in range(7)]
    with pytest.raises(ArgumentError, match=r"lot x: .*discontinued"):
        judge_lots([*stopped, lot("x", 0)])
    results, state = judge_lots([*stopped, lot("x", 0, resumed=True)])
    assert results[-1].plan.severity is state.severity is Severity.TIGHTENED
    with pytest.raises(ArgumentError, match="only discontinued"):
        judge_lots([lot("x", 0, resumed=True)])


def test_a_small_lot_is_inspected_whole():
    """Where the sample would be the lot or more, all of it is inspected."""
    plan = acceptance_plan(40, 1.0)
    assert (plan.letter, plan.used, plan.sample_size, plan.whole_lot) == ("D", "E", 13, False)
    plan = acceptance_plan(8, 1.0)
    assert (plan.sample_size, plan.whole_lot) == (8, True)


@given(size=st.integers(2, 400_000), aql=st.sampled_from([0.65, 1.0, 1.5, 2.5, 4.0, 6.5]), share=st.floats(0.001, 0.3))
def test_operating_points_are_binomial(size, aql, share):
    """Acceptance has the binomial probability, and quality_at turns it round."""
    plan = acceptance_plan(size, aql)
    chance = acceptance_probability(plan, share)
    assert chance == pytest.approx(binom.cdf(plan.accept, plan.sample_size, share), abs=1e-9)
    if 0.01 < chance < 0.99:
        assert quality_at(plan, chance) == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: acceptance_plan(1, 1.0), "lot_size"),
        (lambda: acceptance_plan(100, 1.0, level="IV"), "level"),
        (lambda: acceptance_plan(100, 10.0), "aql"),
        (lambda: acceptance_plan(100, 1.0, severity=Severity.DISCONTINUED), "severity"),
        (lambda: judge_lots([lot("a", 81)]), "lot a: found"),
        (lambda: acceptance_probability(acceptance_plan(100, 1.0), 2.0), "share"),
        (lambda: quality_at(acceptance_plan(100, 1.0), 0.0), "probability"),
    ],
)
def test_impossible_lots_are_named(call, named):
    """An impossible lot gives an error that names the field."""
    with pytest.raises(ArgumentError, match=f"^{named}:"):
        call()
