"""Acceptance sampling of finished rolls by attributes, after ISO 2859-1: single sampling."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from scipy.special import bdtr, betaincinv

from wideroll.errors import ArgumentError
from wideroll.sampling.acceptance_tables import (
    LETTERS,
    LEVELS,
    LIMITS,
    LOT_SIZES,
    NORMAL,
    NOT_KNOWN,
    SAMPLE_SIZES,
    SEEN_LETTERS,
    TIGHTENED,
)

__all__ = ["AcceptancePlan", "Severity", "acceptance_plan", "acceptance_probability", "code_letter", "quality_at"]

_LEAST_LOT: Final = 2
_OWN_COPY: Final = "Take the plan from your own copy of ISO 2859-1."


class Severity(StrEnum):
    """How strictly lots are inspected. Reduced inspection, which the standard allows but never asks for, isn't used."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    DISCONTINUED = "discontinued"


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptancePlan:
    """How many of a lot to inspect, and how many nonconforming ones it may have.

    ``letter`` is what lot size and level give, ``used`` where the arrows led. ``seen`` is whether the numbers were seen
    in a text of the standard; else they are from memory. ``whole_lot``: the sample would be the lot or more, so every
    one is inspected.
    """

    lot_size: int
    level: str
    aql: float
    severity: Severity
    letter: str
    used: str
    sample_size: int
    accept: int
    reject: int
    whole_lot: bool
    seen: bool


def code_letter(lot_size: int, level: str = "II") -> str:
    """Letter of Table 1 for a lot size and inspection level.

    Raises:
        ArgumentError: when the lot has fewer than two, or there is no such level.

    Example:
        >>> code_letter(800), code_letter(5000), code_letter(200, "S-3")
        ('J', 'L', 'D')
    """
    if lot_size < _LEAST_LOT:
        raise ArgumentError(
            where="lot_size", rule="must be 2 or more", value=lot_size, mend="Inspect a single roll itself."
        )
    if level not in LEVELS:
        raise ArgumentError(
            where="level", rule=f"must be one of {', '.join(LEVELS)}", value=level, mend="II is the usual one."
        )
    letters = next(letters for least, letters in reversed(LOT_SIZES) if lot_size >= least)
    return letters[LEVELS.index(level)]


def acceptance_plan(
    lot_size: int, aql: float, *, level: str = "II", severity: Severity = Severity.NORMAL
) -> AcceptancePlan:
    """Single-sampling plan for a lot, arrows followed.

    Args:
        lot_size: rolls in the lot.
        aql: acceptance quality limit, per cent nonconforming.
        level: of inspection.
        severity: normal or tightened.

    Raises:
        ArgumentError: when there is no such limit or level, inspection is discontinued, or the plan isn't among those
            known here.

    Example:
        >>> plan = acceptance_plan(800, 2.5)
        >>> plan.letter, plan.sample_size, plan.accept, plan.reject
        ('J', 80, 5, 6)
        >>> acceptance_plan(200, 1.0).used
        'H'
    """
    if severity is Severity.DISCONTINUED:
        raise ArgumentError(
            where="severity",
            rule="sampling inspection is discontinued until the cause is mended",
            mend="Mend it, then note that inspection is resumed; it starts tightened.",
        )
    if aql not in LIMITS:
        raise ArgumentError(
            where="aql",
            rule=f"limits known here are {', '.join(f'{one:g}' for one in LIMITS)} %",
            value=aql,
            mend=_OWN_COPY,
        )
    letter = code_letter(lot_size, level)
    used = _follow(letter, aql, NORMAL if severity is Severity.NORMAL else TIGHTENED, severity)
    table = NORMAL if severity is Severity.NORMAL else TIGHTENED
    accept, size = int(table[used][LIMITS.index(aql)]), SAMPLE_SIZES[used]
    return AcceptancePlan(
        lot_size=lot_size,
        level=level,
        aql=aql,
        severity=severity,
        letter=letter,
        used=used,
        sample_size=min(size, lot_size),
        accept=accept,
        reject=accept + 1,
        whole_lot=size >= lot_size,
        seen=severity is Severity.NORMAL and {letter, used} <= SEEN_LETTERS,
    )


def _follow(letter: str, aql: float, table: dict[str, tuple[str, ...]], severity: Severity) -> str:
    """The letter whose plan is used: arrows lead to the first plan below or above."""
    place, column = LETTERS.index(letter), LIMITS.index(aql)
    while (cell := table[LETTERS[place]][column]) in {"v", "^"}:
        place += 1 if cell == "v" else -1
    if cell == NOT_KNOWN:
        raise ArgumentError(
            where="plan",
            rule=f"the {severity.value} plan for letter {letter} at {aql:g} % isn't known here",
            mend=_OWN_COPY,
        )
    return LETTERS[place]


def acceptance_probability(plan: AcceptancePlan, share: float) -> float:
    """Probability that a lot from a process with this share of nonconforming rolls is accepted (binomial).

    Raises:
        ArgumentError: when the share isn't within 0 to 1.

    Example:
        >>> round(acceptance_probability(acceptance_plan(800, 2.5), 0.025), 3)
        0.985
    """
    if not 0.0 <= share <= 1.0:
        raise ArgumentError(where="share", rule="must lie within 0 to 1", value=share, mend="Give 0.025 for 2.5 %.")
    return float(bdtr(plan.accept, plan.sample_size, share)) if plan.accept < plan.sample_size else 1.0


def quality_at(plan: AcceptancePlan, probability: float) -> float:
    """Share of nonconforming rolls at which lots are accepted with this probability (binomial).

    0.10 gives the consumer's risk quality, 0.95 the producer's: the quantile 1 − P of the beta distribution with
    Ac + 1 and n − Ac.

    Raises:
        ArgumentError: when the probability isn't between 0 and 1.

    Example:
        >>> plan = acceptance_plan(800, 2.5)
        >>> round(quality_at(plan, 0.95), 4), round(quality_at(plan, 0.10), 3)
        (0.0332, 0.113)
    """
    if not 0.0 < probability < 1.0:
        raise ArgumentError(
            where="probability", rule="must lie between 0 and 1", value=probability, mend="Give for example 0.1."
        )
    if plan.accept >= plan.sample_size:
        return 1.0
    return float(betaincinv(plan.accept + 1, plan.sample_size - plan.accept, 1.0 - probability))
