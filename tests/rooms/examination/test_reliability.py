"""How often answers are wrong, from looks that answered the same question."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from wideroll.errors import ArgumentError
from wideroll.examination import Answered, wrong_shares


def pairs(alike, apart, possible, names=("A", "A")):
    """Questions with two answers."""
    first, second = names
    return [
        *[Answered(possible=possible, answers=((first, 0), (second, 0)))] * alike,
        *[Answered(possible=possible, answers=((first, 0), (second, 1)))] * apart,
    ]


@settings(deadline=None)
@given(alike=st.integers(0, 200), share=st.floats(0, 0.3), possible=st.sampled_from([2, 3]))
def test_two_answers_of_one_examiner(alike, share, possible):
    """The share is where the likelihood of so many like pairs, times the prior, is greatest (oracle: a search)."""
    apart = round(share * alike)
    usual, weight = 0.05, 40.0

    def loss(p):
        like = (1.0 - p) ** 2 + p**2 / (possible - 1)
        prior = usual * weight * np.log(p) + (1.0 - usual) * weight * np.log1p(-p)
        return -(alike * np.log(like) + apart * np.log1p(-like) + prior)

    found = wrong_shares(pairs(alike, apart, possible), usual, weight=weight)
    if not alike:
        assert found == {}
        return
    best = minimize_scalar(loss, bounds=(1e-6, 0.5), method="bounded", options={"xatol": 1e-9}).x
    assert found["A"].share == pytest.approx(best, abs=2e-5)
    assert found["A"].low < found["A"].share < found["A"].high
    assert found["A"].answers == 2 * (alike + apart)


def test_more_disagreement_is_a_greater_share_and_more_answers_a_narrower_interval():
    """The share rises with unlike pairs; ten times the pairs leave less room."""
    few, many = (wrong_shares(pairs(9 * n, n, 3), 0.05)["A"] for n in (2, 20))
    assert wrong_shares(pairs(18, 0, 3), 0.05)["A"].share < 0.05 < few.share
    assert many.high - many.low < few.high - few.low


def test_a_lone_answer_says_nothing():
    """Questions that one look answered are left out, and so is who answered only those."""
    lone = Answered(possible=3, answers=(("B", 1),))
    assert wrong_shares([lone, *pairs(5, 1, 3)], 0.05).keys() == {"A"}


def test_three_examiners_are_told_apart():
    """Of invented examiners wrong in 3, 6 and 20 of 100 answers, each interval holds its own share."""
    random = np.random.Generator(np.random.PCG64(3))
    true = {"A": 0.03, "B": 0.06, "C": 0.20}
    asked = []
    for _ in range(600):
        right = int(random.integers(3))
        answers = [
            (n, right if random.random() >= p else (right + int(random.integers(1, 3))) % 3) for n, p in true.items()
        ]
        asked.append(Answered(possible=3, answers=tuple(answers)))
    found = wrong_shares(asked, 0.05)
    assert list(found) == ["A", "B", "C"]
    for name, share in true.items():
        assert found[name].low < share < found[name].high
    assert found["A"].high < found["C"].low


def test_the_prior_gives_way():
    """With nothing said the usual share stands; its weight decides how much evidence moves it."""
    light, heavy = (wrong_shares(pairs(20, 6, 2), 0.1, weight=w)["A"].share for w in (4.0, 400.0))
    assert 0.1 < heavy < light
    assert wrong_shares([], 0.1) == {}


@pytest.mark.parametrize(
    ("fields", "where"),
    [({"usual": 0.5}, "usual"), ({"weight": 0.0}, "weight"), ({"confidence": 1.0}, "confidence")],
)
def test_arguments_that_can_t_be_are_named(fields, where):
    """A share of half and more, no weight and a certainty are refused."""
    with pytest.raises(ArgumentError, match=where):
        wrong_shares([], **({"usual": 0.05} | fields))


def test_an_answer_that_isn_t_possible_is_refused():
    """Answers are numbered below their number."""
    with pytest.raises(ArgumentError, match="answered"):
        wrong_shares([Answered(possible=2, answers=(("A", 2),))], 0.05)
