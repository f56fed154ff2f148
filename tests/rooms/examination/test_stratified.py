"""How many there are, class of size by class of size."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.examination import chapman, stratified_chapman

COUNTS = st.tuples(st.integers(0, 40), st.integers(0, 40), st.floats(0, 1)).map(
    lambda t: (t[0], t[1], round(t[2] * min(t[0], t[1])))
)


@given(count=COUNTS)
def test_one_class_is_the_plain_estimate(count):
    """Number, standard error and both limits are those of Chapman's estimate."""
    one, plain = stratified_chapman([count]).together, chapman(*count)
    assert (one.total, one.low, one.high) == tuple(pytest.approx(v) for v in (plain.total, plain.low, plain.high))
    assert one.standard_error == pytest.approx(plain.standard_error)


@given(counts=st.lists(COUNTS, min_size=1, max_size=5))
def test_numbers_and_variances_are_added(counts):
    """The sum is that of the classes, never below what was seen, and inside its limits."""
    found = stratified_chapman(counts)
    plain = [chapman(*count) for count in counts]
    together = found.together
    assert together.total == pytest.approx(sum(one.total for one in plain))
    assert together.standard_error**2 == pytest.approx(sum(one.standard_error**2 for one in plain))
    seen = sum(first + second - both for first, second, both in counts)
    assert seen - 1e-6 <= together.low <= together.total + 1e-9 <= together.high + 2e-9
    assert together.hidden == pytest.approx(together.total - seen)


@given(counts=st.lists(COUNTS, min_size=1, max_size=4))
def test_a_class_of_nothing_changes_nothing(counts):
    """A class in which nobody saw anything leaves the estimate as it is."""
    assert stratified_chapman([*counts, (0, 0, 0)]).together.high == pytest.approx(
        stratified_chapman(counts).together.high
    )


def test_a_class_that_one_is_blind_to_has_no_upper_limit():
    """Where one saw nothing of a class, nobody knows how many there are, and the sum isn't known either."""
    assert math.isinf(stratified_chapman([(9, 0, 0), (20, 20, 15)]).together.high)


def test_no_class_is_refused():
    """Without a class there is nothing to add."""
    with pytest.raises(ArgumentError, match="counts"):
        stratified_chapman([])


def test_classes_see_what_the_plain_estimate_misses():
    """Where large marks are easier for both, the plain estimate is far too small; by classes it isn't.

    390 marks of 0.2, 0.4 and 0.8 mm, each look sees one with probability 1/(1 + (0.3 mm/size)³), 400 times: the plain
    95 % interval holds the number nearly never, that by classes in 9 of 10.
    """
    random = np.random.Generator(np.random.PCG64(11))
    there, chance = (180, 120, 90), [1.0 / (1.0 + (0.3 / size) ** 3) for size in (0.2, 0.4, 0.8)]
    held, off = np.zeros(2), np.zeros(2)
    for _ in range(400):
        counts = []
        for number, p in zip(there, chance, strict=True):
            one, other = random.random((2, number)) < p
            counts.append((int(one.sum()), int(other.sum()), int((one & other).sum())))
        plain = chapman(*(sum(column) for column in zip(*counts, strict=True)))
        for rank, found in enumerate((plain, stratified_chapman(counts).together)):
            held[rank] += found.low <= sum(there) <= found.high
            off[rank] += found.total - sum(there)
    assert held[0] / 400 < 0.05
    assert held[1] / 400 > 0.89
    assert off[0] / 400 < -80.0
    assert abs(off[1] / 400) < 10.0
