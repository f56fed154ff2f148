"""How it stands with a case: cleaned or not, seen again or not, and whether it would have been seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, inf
from typing import Final

from scipy.special import bdtrc

from wideroll.repeats.cases_model import CaseState, Cleaning, SuspectRoll, When

__all__ = ["QUIET_FROM", "Standing", "Trail", "standing_of", "would_show"]

QUIET_FROM: Final = 0.95
"""A case is quiet when what was coated since its cleaning would have shown it with this probability."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """What a case left behind: rolls that show it and rolls that could have."""

    shown: tuple[SuspectRoll, ...]
    others: tuple[SuspectRoll, ...]
    """Rolls that were searched and don't show it."""
    spacing_m: float
    print_probability: float
    log_evidence_per_print: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The state of a case and what it rests on."""

    state: CaseState
    cleaned: str = ""
    rolls_since: tuple[str, ...] = ()
    metres_since: float = 0.0
    seen_probability: float = 0.0
    notes: tuple[str, ...] = ()


def standing_of(trail: Trail, cleanings: Sequence[Cleaning]) -> Standing:
    """The state by days: what can't be put in order doesn't count as cleaned, and is said.

    Args:
        trail: rolls with and without it.
        cleanings: of the roller that is most probable.
    """
    notes = tuple(_undated(trail.shown))
    dated = [roll.coated for roll in trail.shown if roll.coated is not None]
    after = [one for one in cleanings if dated and all(when.before(one.on) for when in dated)]
    if len(dated) < len(trail.shown):
        after = []
    if after:
        return _since(trail, max(after, key=lambda one: one.on.earliest), notes)
    between = [
        one
        for one in cleanings
        if any(when.before(one.on) for when in dated) and any(one.on.before(when) for when in dated)
    ]
    notes += tuple(_same_day(dated, cleanings))
    if between:
        last = max(between, key=lambda one: one.on.earliest)
        return Standing(state=CaseState.RELAPSED, cleaned=last.on.text, notes=notes)
    return Standing(state=CaseState.OPEN, notes=notes)


def would_show(trail: Trail, roll: SuspectRoll) -> float:
    """Probability that a roll would have shown the case, did the roller print as before.

    As many prints are needed as gather the evidence that a series had to reach there, at what each gave before, and as
    the search asks for at least; their number is binomial, one chance a turn.

    Example:
        >>> trail = Trail(shown=(), others=(), spacing_m=0.7, print_probability=0.3, log_evidence_per_print=4.0)
        >>> new = SuspectRoll(
        ...     roll="W-9", coated=None, observed_m=14.0, needed_log_evidence=12.0, least_turns=5, slip=0.002
        ... )
        >>> round(would_show(trail, new), 3)
        0.762
    """
    turns = floor(roll.observed_m / trail.spacing_m)
    each = trail.log_evidence_per_print
    needed = max(roll.least_turns, ceil(roll.needed_log_evidence / each) if each > 0.0 else inf)
    return float(bdtrc(needed - 1, turns, trail.print_probability)) if needed <= turns else 0.0


def _since(trail: Trail, cleaning: Cleaning, notes: tuple[str, ...]) -> Standing:
    """Cleaned after all rolls that show it."""
    since = [roll for roll in trail.others if roll.coated is not None and cleaning.on.before(roll.coated)]
    missed = 1.0
    for roll in since:
        missed *= 1.0 - would_show(trail, roll)
    seen = 1.0 - missed
    return Standing(
        state=CaseState.QUIET if seen >= QUIET_FROM else CaseState.WATCHED,
        cleaned=cleaning.on.text,
        rolls_since=tuple(roll.roll for roll in sorted(since, key=_place)),
        metres_since=sum(roll.observed_m for roll in since),
        seen_probability=seen,
        notes=(*notes, *_undated(trail.others)),
    )


def _undated(rolls: Sequence[SuspectRoll]) -> list[str]:
    names = sorted(roll.roll for roll in rolls if roll.coated is None)
    if not names:
        return []
    return [f"{', '.join(names)}: the day of coating isn't known, so it can't be put in order with cleanings"]


def _same_day(dated: Sequence[When], cleanings: Sequence[Cleaning]) -> list[str]:
    """Cleanings that may have come before a roll or after it."""
    unclear = [
        one.on.text for one in cleanings if any(not one.on.before(when) and not when.before(one.on) for when in dated)
    ]
    return [
        f"cleaned on {day}, the day a roll was coated: give both with their time to put them in order"
        for day in dict.fromkeys(unclear)
    ]


def _place(roll: SuspectRoll) -> tuple[float, str]:
    return (inf if roll.coated is None else roll.coated.earliest, roll.roll)
