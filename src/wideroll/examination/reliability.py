"""How often each kind of answer is wrong, from looks that answered the same question."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.examination.model import Floats

__all__ = ["PRIOR_WEIGHT", "Answered", "WrongShare", "wrong_shares"]

PRIOR_WEIGHT: Final = 40.0
"""Answers that what is usually taken for the share of wrong ones counts for."""

_STEPS: Final = 500
_CLOSE: Final = 1e-10
_GRID: Final = 2000
_MOST: Final = 0.5
_TWO: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One question about one thing, and the answer of each look: whose look, and which of the possible answers."""

    possible: int
    answers: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongShare:
    """The share of an examiner's answers that are wrong, with its interval."""

    share: float
    low: float
    high: float
    confidence: float
    answers: int
    """Answers to questions that another look answered too."""


def wrong_shares(
    answered: Sequence[Answered], usual: float, *, weight: float = PRIOR_WEIGHT, confidence: float = 0.95
) -> Mapping[str, WrongShare]:
    """The share of each examiner's answers that are wrong, from questions that two looks or more answered.

    Nobody knows which answer is right: each of the k possible ones is as probable beforehand, an answer is right with
    probability 1 − p, and each wrong one has p/(k − 1). So two answers of one examiner are alike with probability
    (1 − p)² + p²/(k − 1). The shares of all examiners are found together (EM, Dawid and Skene 1979, with one share for
    each examiner); beforehand each is taken for ``usual`` as if ``weight`` answers had shown it. The interval is that
    of one share, by its likelihood times the beta distribution that stands for these answers, the others held.

    Args:
        answered: questions with their answers; those that one look alone answered say nothing.
        usual: share of wrong answers where nothing is known, between 0 and 0.5.
        weight: answers that it counts for, above 0.
        confidence: of the intervals.

    Returns:
        By the examiners' names, sorted; only those with an answer beside another.

    Raises:
        ArgumentError: when ``usual``, ``weight`` or ``confidence`` can't be, or an answer isn't a possible one.

    Example:
        >>> alike = [Answered(possible=3, answers=(("A", 0), ("A", 0)))] * 45
        >>> apart = [Answered(possible=3, answers=(("A", 0), ("A", 1)))] * 5
        >>> found = wrong_shares([*alike, *apart], 0.05)["A"]
        >>> found.answers, round(found.share, 3)
        (100, 0.051)
    """
    _check(answered, usual, weight, confidence)
    shared = Counter(_pattern(one) for one in answered if len(one.answers) >= _TWO)
    given: Counter[str] = Counter()
    for one, count in shared.items():
        for name, _ in one.answers:
            given[name] += count
    names = sorted(given)
    shares = dict.fromkeys(names, usual)
    for _ in range(_STEPS):
        wrong = _expected_wrong(shared, shares)
        new = {n: min((wrong[n] + usual * weight) / (given[n] + weight), _MOST) for n in names}
        moved = max((abs(new[n] - shares[n]) for n in names), default=0.0)
        shares = new
        if moved < _CLOSE:
            break
    prior = (usual * weight, (1.0 - usual) * weight)
    limits = {name: _limits(name, shared, shares, prior, confidence) for name in names}
    return {
        name: WrongShare(
            share=shares[name],
            low=limits[name][0],
            high=limits[name][1],
            confidence=confidence,
            answers=given[name],
        )
        for name in names
    }


def _pattern(one: Answered) -> Answered:
    """The same for all questions answered alike: which answers are alike counts, not what they say."""
    names: dict[int, int] = {}
    ordered = sorted(one.answers)
    return Answered(
        possible=one.possible,
        answers=tuple((name, names.setdefault(answer, len(names))) for name, answer in ordered),
    )


def _expected_wrong(shared: Mapping[Answered, int], shares: Mapping[str, float]) -> dict[str, float]:
    """Wrong answers of each examiner, as far as the others tell which answer is right."""
    wrong = dict.fromkeys(shares, 0.0)
    for one, count in shared.items():
        likely = _likelihoods(one, shares)
        right = likely / likely.sum()
        for name, answer in one.answers:
            wrong[name] += count * (1.0 - float(right[answer]))
    return wrong


def _likelihoods(one: Answered, shares: Mapping[str, float]) -> Floats:
    """Of all answers to a question, for each answer that may be the right one."""
    likely = np.ones(one.possible)
    for name, answer in one.answers:
        chance = np.full(one.possible, shares[name] / (one.possible - 1))
        chance[answer] = 1.0 - shares[name]
        likely *= chance
    return likely


def _limits(
    name: str,
    shared: Mapping[Answered, int],
    shares: Mapping[str, float],
    prior: tuple[float, float],
    confidence: float,
) -> tuple[float, float]:
    grid = (np.arange(_GRID) + 0.5) * _MOST / _GRID
    log = prior[0] * np.log(grid) + prior[1] * np.log1p(-grid)
    for one, count in shared.items():
        mine = [answer for who, answer in one.answers if who == name]
        if not mine:
            continue
        others = Answered(possible=one.possible, answers=tuple(a for a in one.answers if a[0] != name))
        rest = _likelihoods(others, shares)
        chance = np.zeros(_GRID)
        for truth in range(one.possible):
            right = mine.count(truth)
            chance += rest[truth] * (1.0 - grid) ** right * (grid / (one.possible - 1)) ** (len(mine) - right)
        log += count * np.log(chance)
    cumulated = np.cumsum(np.exp(log - log.max()))
    tail = (1.0 - confidence) / 2.0
    low, high = (float(np.interp(at * cumulated[-1], cumulated, grid)) for at in (tail, 1.0 - tail))
    return low, high


def _check(answered: Sequence[Answered], usual: float, weight: float, confidence: float) -> None:
    rules = (
        ("usual", usual, 0.0 < usual < _MOST, "must lie between 0 and 0.5"),
        ("weight", weight, weight > 0.0, "must be above 0"),
        ("confidence", confidence, 0.0 < confidence < 1.0, "must lie between 0 and 1"),
    )
    for where, value, holds, rule in rules:
        if not holds:
            raise ArgumentError(where=where, rule=rule, value=value, mend="Correct the argument.")
    for one in answered:
        if one.possible < _TWO or any(not 0 <= answer < one.possible for _, answer in one.answers):
            raise ArgumentError(
                where="answered",
                rule="each answer is one of the possible ones, of which there are two or more",
                value=one,
                mend="Number the answers from 0.",
            )
