"""How alike kinds and grades were judged, as kappa or as the reason why there is none."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final, TypeAlias

from wideroll.examination import Sighting, Weights, cohen_kappa, fleiss_kappa
from wideroll.roll import MARK_KINDS
from wideroll.workflow.agreement_model import Judged
from wideroll.workflow.agreement_things import is_mark

__all__ = ["LEAST_JUDGED", "judged_by_many", "judged_by_two"]

LEAST_JUDGED: Final = 10
"""Things that two or more must have judged before kappa says anything."""

_Shared: TypeAlias = tuple[tuple[str, ...], tuple[Sighting, ...]]
"""A product's scale, and the sightings of one thing."""


def judged_by_two(shared: Sequence[tuple[tuple[str, ...], Sighting, Sighting]]) -> tuple[Judged, ...]:
    """Kinds and, scale by scale, grades of what two looks saw.

    Streaks, bands and fog, which are paired by their kind, say nothing about kinds.
    """
    kinds = [(a.kind.value, b.kind.value) for _, a, b in shared if is_mark(a) and is_mark(b)]
    found = [_cohen("kind", kinds, MARK_KINDS, weights="none")]
    for scale in _scales([scale for scale, _, _ in shared]):
        grades = [(a.grade, b.grade) for known, a, b in shared if known == scale]
        found.append(_cohen(_scale_name(scale), grades, scale, weights="linear"))
    return tuple(found)


def judged_by_many(shared: Sequence[_Shared]) -> tuple[Judged, ...]:
    """The same of what several looks saw."""
    kinds = [[one.kind.value for one in seen if is_mark(one)] for _, seen in shared]
    found = [_fleiss("kind", kinds, MARK_KINDS)]
    for scale in _scales([scale for scale, _ in shared]):
        grades = [[one.grade for one in seen] for known, seen in shared if known == scale]
        found.append(_fleiss(_scale_name(scale), grades, scale))
    return tuple(found)


def _scales(found: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    return [scale for scale in dict.fromkeys(found) if scale]


def _scale_name(scale: Sequence[str]) -> str:
    return f"grade, {scale[0]} to {scale[-1]}"


def _cohen(what: str, pairs: Sequence[tuple[str, str]], scale: Sequence[str], *, weights: Weights) -> Judged:
    known = [(one, other) for one, other in pairs if one in scale and other in scale]
    counts = Counter(known)
    table = [[counts[row, column] for column in scale] for row in scale]
    why = _why_not(len(known), known)
    return Judged(
        what=what,
        things=len(known),
        alike=sum(one == other for one, other in known),
        agreement=None if why else cohen_kappa(table, weights=weights),
        why=why,
    )


def _fleiss(what: str, answers: Sequence[Sequence[str]], scale: Sequence[str]) -> Judged:
    known = [[answer for answer in given if answer in scale] for given in answers]
    several = [given for given in known if len(given) > 1]
    why = _why_not(len(several), several)
    counts = [[given.count(word) for word in scale] for given in several]
    return Judged(what=what, things=len(several), agreement=None if why else fleiss_kappa(counts), why=why)


def _why_not(things: int, answers: Iterable[Sequence[str]]) -> str:
    """Empty where kappa can be said."""
    if things < LEAST_JUDGED:
        return f"too few to say; {LEAST_JUDGED} that more than one judged are needed"
    if len({answer for given in answers for answer in given}) == 1:
        return "all were judged the same, which chance alone might do"
    return ""
