"""Examiners' agreement beyond chance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from statsmodels.stats import inter_rater

from wideroll.errors import ArgumentError
from wideroll.examination import cohen_kappa, fleiss_kappa

TABLES = arrays(np.int64, (3, 3), elements=st.integers(0, 30)).filter(lambda t: (t.sum(axis=0) > 0).sum() > 1)


@given(table=TABLES)
def test_kappa_does_not_depend_on_who_is_first_or_how_grades_are_named(table):
    """Exchanging examiners, or renaming grades for both, keeps kappa and its error."""
    one = cohen_kappa(table.tolist())
    for other in (table.T, table[::-1, ::-1]):
        found = cohen_kappa(other.tolist())
        assert found.kappa == pytest.approx(one.kappa)
        assert found.standard_error == pytest.approx(one.standard_error, abs=1e-9)


def test_full_agreement_is_one_and_chance_is_zero():
    """Only equal grades give 1; grades without any relation give 0."""
    assert cohen_kappa([[5, 0], [0, 9]]).kappa == pytest.approx(1.0)
    assert cohen_kappa([[4, 4], [4, 4]]).kappa == pytest.approx(0.0)


@pytest.mark.parametrize("table", [[], [[1, 2]], [[1, -1], [0, 1]], [[0, 0], [0, 0]], [[7, 0], [0, 0]]])
def test_tables_without_meaning_are_refused(table):
    """A table that isn't square, counts below 0, holds nothing or one grade only is an error."""
    with pytest.raises(ArgumentError, match=r"^table:"):
        cohen_kappa(table)


@settings(deadline=None)
@given(table=TABLES, weights=st.sampled_from([("none", None), ("linear", "linear"), ("quadratic", "quadratic")]))
def test_kappa_and_its_error_are_those_of_statsmodels(table, weights):
    """With and without weights, kappa and its large-sample standard error are the other's too."""
    mine, theirs = weights
    found = cohen_kappa(table.tolist(), weights=mine)
    with np.errstate(all="ignore"):
        other = inter_rater.cohens_kappa(table, wt=theirs)
    assert found.kappa == pytest.approx(other.kappa, abs=1e-12)
    assert found.standard_error**2 == pytest.approx(max(other.var_kappa, 0.0), abs=1e-12)


def test_steps_of_the_scale_count_in_part():
    """Grades one step apart agree more with linear weights than without, and more with quadratic ones."""
    table = [[6, 3, 0], [2, 6, 3], [0, 2, 6]]
    plain, linear, quadratic = (cohen_kappa(table, weights=w).kappa for w in ("none", "linear", "quadratic"))
    assert plain < linear < quadratic
    assert cohen_kappa([[5, 2], [1, 9]], weights="quadratic").kappa == pytest.approx(
        cohen_kappa([[5, 2], [1, 9]]).kappa
    )


RATINGS = arrays(np.int64, (6, 3), elements=st.integers(0, 4))


def has_meaning(counts):
    """Two things judged twice, two answers given."""
    return (counts.sum(axis=1) > 1).sum() > 1 and (counts.sum(axis=0) > 0).sum() > 1


@settings(deadline=None)
@given(answers=arrays(np.int64, (8, 4), elements=st.integers(0, 2)).filter(lambda a: len(np.unique(a)) > 1))
def test_fleiss_kappa_is_that_of_statsmodels(answers):
    """Where each thing was judged equally often, it is the other's kappa."""
    counts = np.stack([(answers == k).sum(axis=1) for k in range(3)], axis=1)
    assert fleiss_kappa(counts).kappa == pytest.approx(inter_rater.fleiss_kappa(counts), abs=1e-12)


@given(counts=RATINGS.filter(has_meaning))
def test_fleiss_kappa_knows_no_order(counts):
    """The order of things and answers, and answers that nobody gave, change nothing."""
    found = fleiss_kappa(counts)
    other = fleiss_kappa(np.column_stack([counts[::-1, ::-1], np.zeros(len(counts))]))
    assert (other.judged, other.kappa) == (found.judged, pytest.approx(found.kappa))
    assert other.standard_error == pytest.approx(found.standard_error, abs=1e-9)
    assert -1.0 <= found.low <= found.kappa <= found.high <= 1.0


def test_fleiss_kappa_of_full_agreement_is_one():
    """Things judged by two, three or five, always alike, give 1."""
    assert fleiss_kappa([[2, 0], [0, 3], [5, 0], [0, 2]]).kappa == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("counts", "rule"),
    [
        ([], "things, answers"),
        ([[1, -1]], "things, answers"),
        ([[2, 0], [1, 0]], "judged twice"),
        ([[2, 0], [3, 0]], "more than one answer"),
    ],
)
def test_counts_without_meaning_are_refused(counts, rule):
    """A table that isn't one, too few things judged twice, or one answer only is an error."""
    with pytest.raises(ArgumentError, match=rule):
        fleiss_kappa(counts)


@pytest.mark.parametrize(("things", "sure", "least"), [(20, 0.5, 0.90), (20, 0.8, 0.90), (50, 0.8, 0.91)])
def test_the_interval_of_fleiss_kappa_covers(things, sure, least):
    """In at least nine of ten invented sets the 95 % interval holds the true kappa, with two to five judges a thing.

    Each answers the truth with probability q and else by chance, so that kappa is q².
    """
    random = np.random.Generator(np.random.PCG64(7))
    share = np.array([0.4, 0.3, 0.2, 0.1])
    held = 0
    for _ in range(300):
        truth = random.choice(4, things, p=share)
        counts = np.zeros((things, 4))
        for thing, right in enumerate(truth):
            judges = int(random.integers(2, 6))
            answers = np.where(random.random(judges) < sure, right, random.choice(4, judges, p=share))
            np.add.at(counts[thing], answers, 1)
        found = fleiss_kappa(counts)
        held += found.low <= sure**2 <= found.high
    assert held / 300 >= least
