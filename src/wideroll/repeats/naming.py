"""The roller by more than its spacing: by what its prints are, and by when it was last cleaned."""

from collections.abc import Mapping, Sequence
from math import exp, fsum, isfinite
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.repeats.model import ANOTHER, Candidate, Roller, Stage
from wideroll.repeats.traces import Sign, left_by, left_by_any, log_likelihood, seen_words
from wideroll.roll import Side

__all__ = ["LEAST_WEIGHT", "USUAL_DAYS", "cleaning_weight", "weigh_candidates"]

USUAL_DAYS: Final = 30.0
"""After this many days a cleaned roller is nearly as likely to mark as one that nobody cleaned. Judgement."""
LEAST_WEIGHT: Final = 0.1
"""Weight of a roller cleaned just before: a nick isn't cleaned away, and cleaning may fail. Judgement."""

_TELLS: Final = 1.5  # ratio of likelihoods from which on it is given as a reason
_STAGES: Final = {Stage.BEFORE: "before coating", Stage.WET: "where it is wet", Stage.DRY: "after drying"}


def cleaning_weight(days: float, usual_days: float = USUAL_DAYS) -> float:
    """How likely a roller marks, against one of which no cleaning is known: 1 − e^(−days ⁄ usual days), 0.1 at least.

    Args:
        days: from its last cleaning to the day the roll was coated.
        usual_days: how long a cleaned roller usually stays so.

    Raises:
        ArgumentError: when ``days`` is negative, or ``usual_days`` isn't greater than 0.

    Example:
        >>> round(cleaning_weight(1.0), 2), round(cleaning_weight(15.0), 2), round(cleaning_weight(365.0), 2)
        (0.1, 0.39, 1.0)
    """
    for name, value, good in (
        ("days", days, isfinite(days) and days >= 0.0),
        ("usual_days", usual_days, isfinite(usual_days) and usual_days > 0.0),
    ):
        if not good:
            rule = "must be a number greater than 0" if name == "usual_days" else "must be a number of 0 or more"
            raise ArgumentError(where=name, rule=rule, value=value, mend="Give it in days.")
    return max(LEAST_WEIGHT, 1.0 - exp(-days / usual_days))


def weigh_candidates(
    candidates: Sequence[Candidate],
    rollers: Sequence[Roller],
    signs: Sequence[Sign] = (),
    *,
    days_since: Mapping[str, float] | None = None,
    usual_days: float = USUAL_DAYS,
) -> tuple[Candidate, ...]:
    """Weigh the names that a spacing gave by what the prints are and by cleaning.

    Bayes: the probability from the spacing alone, times the likelihood of the signs, times the weight of the cleaning,
    made to sum to 1 again. *Another* has the likelihood averaged over all it could be, and the weight 1.

    Args:
        candidates: from the spacing; their probabilities sum to 1.
        rollers: the table, for the side and stage of each.
        signs: what was said of each print that was also seen on a sheet; may be none.
        days_since: by roller, from its last cleaning to the day of coating; a roller without one was never noted.
        usual_days: how long a cleaned roller usually stays so.

    Returns:
        The same makers, most probable first, each with why.

    Raises:
        ArgumentError: when a candidate is neither in the table nor *another*, or days are negative.

    Example:
        >>> tied = [Candidate(roller=name, probability=0.45, slip=0.0) for name in ("guide", "lay-on")]
        >>> tied.append(Candidate(roller=ANOTHER, probability=0.1, slip=0.0))
        >>> table = [
        ...     Roller(name="guide", diameter_mm=200.0, side=Side.BASE, stage=Stage.DRY),
        ...     Roller(name="lay-on", diameter_mm=200.0, side=Side.EMULSION, stage=Stage.DRY),
        ... ]
        >>> on_top = Sign(embedded=0.05, all_records=0.05, some_records=0.05, on_base=0.1)
        >>> named = weigh_candidates(tied, table, [on_top] * 2)
        >>> named[0].roller, round(named[0].probability, 2)
        ('lay-on', 0.83)
        >>> named[1].why
        'against: touches only the base after drying; 2 marks seen on sheets: on top of the emulsion'
    """
    known = {roller.name: roller for roller in rollers}
    _check(candidates, known)
    since = days_since or {}
    usual = log_likelihood(left_by_any(), signs)
    of_signs = {name: exp(log_likelihood(left_by(roller), signs) - usual) for name, roller in known.items()}
    of_cleaning = {name: cleaning_weight(days, usual_days) for name, days in since.items()}
    weights = [one.probability * of_signs.get(one.roller, 1.0) * of_cleaning.get(one.roller, 1.0) for one in candidates]
    total = fsum(weights)
    if not total > 0.0:
        return tuple(candidates)
    weighed = [
        Candidate(
            roller=one.roller,
            probability=weight / total,
            slip=one.slip,
            why="; ".join(
                (
                    *_why_signs(known.get(one.roller), of_signs.get(one.roller, 1.0), signs),
                    *_why_cleaning(since.get(one.roller), of_cleaning.get(one.roller, 1.0)),
                )
            ),
        )
        for one, weight in zip(candidates, weights, strict=True)
    ]
    return tuple(sorted(weighed, key=lambda one: -one.probability))


def _check(candidates: Sequence[Candidate], known: Mapping[str, Roller]) -> None:
    for one in candidates:
        if one.roller != ANOTHER and one.roller not in known:
            raise ArgumentError(
                where="candidates",
                rule="each is a roller of the table or another",
                value=one.roller,
                mend="Give the table that the series was searched with.",
            )


def _why_signs(roller: Roller | None, ratio: float, signs: Sequence[Sign]) -> tuple[str, ...]:
    """What the prints say for or against a roller, where it is clear what they are and where it touches."""
    if roller is None or not signs or (roller.side is None and roller.stage is None):
        return ()
    seen = seen_words(signs)
    if not seen or 1.0 / _TELLS < ratio < _TELLS:
        return ()
    side = "for" if ratio > 1.0 else "against"
    marks = "1 mark" if len(signs) == 1 else f"{len(signs)} marks"
    return (f"{side}: touches {_touch(roller)}; {marks} seen on sheets: {seen}",)


def _touch(roller: Roller) -> str:
    side = {None: "the web", Side.BASE: "only the base", Side.EMULSION: "the emulsion"}[roller.side]
    return side if roller.stage is None else f"{side} {_STAGES[roller.stage]}"


def _why_cleaning(days: float | None, weight: float) -> tuple[str, ...]:
    if days is None or weight > 1.0 / _TELLS:
        return ()
    whole = int(days)
    when = "less than a day before" if whole < 1 else "1 day before" if whole == 1 else f"{whole} days before"
    return (f"against: cleaned {when}",)
