"""Causes stand by what they cost."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.control import pareto
from wideroll.errors import ArgumentError

_AMOUNTS = st.dictionaries(st.text("abcdef", min_size=1, max_size=3), st.integers(0, 50), max_size=8)


@given(amounts=_AMOUNTS)
def test_shares_fall_and_come_to_one(amounts):
    """The largest cause is first, shares fall and come to 1; no cause with an amount is missing."""
    lines = pareto(amounts)
    assert [line.amount for line in lines] == sorted((one for one in amounts.values() if one), reverse=True)
    assert {line.cause for line in lines} == {cause for cause, amount in amounts.items() if amount}
    if lines:
        assert lines[-1].cumulative == pytest.approx(1.0)
        assert lines[0].vital


@given(amounts=_AMOUNTS, order=st.randoms(use_true_random=False))
def test_the_order_of_the_entries_does_not_matter(amounts, order):
    """Equal amounts stand by name, so the same causes always give the same lines."""
    mixed = list(amounts.items())
    order.shuffle(mixed)
    assert pareto(dict(mixed)) == pareto(amounts)


def test_the_vital_few_come_to_four_fifths():
    """Causes are vital until 80 % is reached, with the one that reaches it; the unknown is last and never vital."""
    lines = pareto({"a": 50, "b": 30, "c": 15, "d": 5, "not known": 900}, unknown="not known")
    assert [line.cause for line in lines] == ["a", "b", "c", "d", "not known"]
    assert [line.vital for line in pareto({"a": 50, "b": 30, "c": 15, "d": 5})] == [True, True, False, False]
    assert not lines[-1].vital


def test_counted_shares_have_exact_intervals():
    """The interval of 13 in 20 cases is Clopper and Pearson's; amounts that aren't counts have none."""
    line = pareto({"a": 13, "b": 7}, counted=True)[0]
    exact = stats.binomtest(13, 20).proportion_ci(0.95)
    assert (line.share_low, line.share_high) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert pareto({"a": 1.5})[0].share_low is None


@pytest.mark.parametrize(
    ("amounts", "counted", "says"),
    [
        ({"a": -1}, False, r"amounts\[a\]: must be finite and at least 0"),
        ({"a": 1.5}, True, "counts are whole numbers"),
    ],
)
def test_impossible_amounts_are_refused(amounts, counted, says):
    """The message names the cause."""
    with pytest.raises(ArgumentError, match=says):
        pareto(amounts, counted=counted)
