"""Where a roller's series and a lap print claim the same marks, the one with more evidence stays."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, log
from typing import Final

from wideroll.repeats.model import Series, SeriesKind

__all__ = ["ROLLER_ODDS", "settle_rivals"]

ROLLER_ODDS: Final = 10.0
"""Prior odds that what returns is a roller's series, not a lap print: judgement, not measurement."""

_FAR: Final = 700.0
_CLAIMED: Final = 0.5  # a series with this share of its members claimed by a likelier one has no marks of its own


def settle_rivals(rollers: Sequence[Series], laps: Sequence[Series]) -> tuple[Series, ...]:
    """Series and lap prints together, without those whose marks a likelier one of the other kind explains.

    Both evidences are likelihood ratios against the same scattered marks, each averaged over all that its kind leaves
    open, so that with the prior odds their ratio is that of the two accounts. From the likeliest down, one goes when
    at least half of its members belong to those of the other kind that stay.

    What stays says how probable the other kind still is: a run of ten or twenty marks often leaves both open.

    Returns:
        Most significant first.

    Example:
        >>> settle_rivals((), ())
        ()
    """
    stay: list[Series] = []
    for one in sorted((*rollers, *laps), key=lambda one: -_log_odds(one)):
        if not _claimed(one, [other for other in stay if other.kind is not one.kind]):
            stay.append(one)
        else:
            stay = [_with_rival(other, one) for other in stay]
    return tuple(sorted(stay, key=lambda one: (-one.log_evidence, one.across_mm)))


def _claimed(one: Series, by: Sequence[Series]) -> bool:
    members = set(one.members)
    return len(members & {member for other in by for member in other.members}) >= _CLAIMED * len(members)


def _with_rival(stays: Series, goes: Series) -> Series:
    """The series that stays, with the probability of the account that goes, where that is of the same marks."""
    if stays.kind is goes.kind or not _claimed(stays, (goes,)):
        return stays
    other = 1.0 / (1.0 + exp(min(_log_odds(stays) - _log_odds(goes), _FAR)))
    return replace(stays, other_kind=max(stays.other_kind, other))


def _log_odds(one: Series) -> float:
    return one.log_evidence + (log(ROLLER_ODDS) if one.kind is SeriesKind.ROLLER else 0.0)
