"""The series of many rolls as cases: one roller at one place across, in one roll or in several."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from statistics import median
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.repeats.cases_model import Case, Cleaning, SuspectRoll, Suspicion, When
from wideroll.repeats.model import Roller, SeriesKind
from wideroll.repeats.naming import USUAL_DAYS, weigh_candidates
from wideroll.repeats.standing import Trail, standing_of
from wideroll.repeats.together import Seen, makers_of, mean_spacing, same_maker

__all__ = ["ACROSS_MM", "days_since_cleaning", "gather_cases"]

ACROSS_MM: Final = 10.0
"""How far apart across the series of two rolls may lie: a web is steered to some millimetres (common practice)."""


def gather_cases(
    rolls: Sequence[SuspectRoll],
    rollers: Sequence[Roller],
    cleanings: Sequence[Cleaning] = (),
    *,
    across_mm: float = ACROSS_MM,
    usual_days: float = USUAL_DAYS,
) -> tuple[Case, ...]:
    """Put the series of all rolls together that one roller made at one place across.

    Two series belong together when they lie within ``across_mm`` of one another and it is more likely that one maker
    made both than that each has its own. Signs from sheets and cleanings are weighed once for the case, not once a
    roll: what misleads in one roll misleads in all. Lap prints are no matter of a roller and are left out.

    Args:
        rolls: all that were searched, with and without series, in any order.
        rollers: the table.
        cleanings: of the rollers.
        across_mm: tolerance across.
        usual_days: how long a cleaned roller usually stays so.

    Returns:
        The cases, those with the most evidence first.

    Raises:
        ArgumentError: when a roll is given twice, or a tolerance isn't greater than 0.

    Example:
        >>> gather_cases([], [Roller(name="guide", diameter_mm=200.0)])
        ()
    """
    _check(rolls, across_mm)
    groups: list[list[_Piece]] = []
    for piece in sorted(_pieces(rolls), key=_order):
        best, group = max(
            ((_gain(group, piece, rollers, across_mm), group) for group in groups),
            key=lambda one: one[0],
            default=(-inf, []),
        )
        if best > 0.0:
            group.append(piece)
        else:
            groups.append([piece])
    made = (_case(group, rolls, rollers, cleanings, usual_days) for group in groups)
    return tuple(sorted(made, key=lambda case: (-case.log_evidence, case.across_mm)))


def days_since_cleaning(cleanings: Sequence[Cleaning], coated: When | None) -> Mapping[str, float]:
    """By roller, days from its last cleaning to a roll's coating; only cleanings that surely came before it count.

    Example:
        >>> monday, friday = (When(text=text, earliest=n, latest=n + 1.0) for text, n in (("Mon", 0.0), ("Fri", 4.0)))
        >>> dict(days_since_cleaning([Cleaning(roller="guide", on=monday)], friday))
        {'guide': 4.0}
    """
    since: dict[str, float] = {}
    for one in cleanings:
        if coated is not None and one.on.before(coated):
            days = max(0.0, coated.earliest - one.on.earliest)
            since[one.roller] = min(days, since.get(one.roller, inf))
    return since


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A suspicion and its roll."""

    roll: SuspectRoll
    suspicion: Suspicion

    @property
    def seen(self) -> Seen:
        """As ``together`` takes it."""
        return Seen(suspicion=self.suspicion, slip=self.roll.slip)

    @property
    def across_mm(self) -> float:
        """Where its series lies."""
        return self.suspicion.series.across_mm


def _check(rolls: Sequence[SuspectRoll], across_mm: float) -> None:
    if not across_mm > 0.0:
        raise ArgumentError(
            where="across_mm", rule="must be greater than 0", value=across_mm, mend="Give how far the web may wander."
        )
    names = [roll.roll for roll in rolls]
    for name in names:
        if names.count(name) > 1:
            raise ArgumentError(where="rolls", rule="each roll once", value=name, mend="Leave out the other.")


def _pieces(rolls: Sequence[SuspectRoll]) -> list[_Piece]:
    return [
        _Piece(roll=roll, suspicion=one)
        for roll in rolls
        for one in roll.suspicions
        if one.series.kind is SeriesKind.ROLLER and one.series.candidates
    ]


def _order(piece: _Piece) -> tuple[float, str, float]:
    """By day, those without one last."""
    coated = piece.roll.coated
    return (inf if coated is None else coated.earliest, piece.roll.roll, -piece.suspicion.series.log_evidence)


def _gain(group: Sequence[_Piece], piece: _Piece, rollers: Sequence[Roller], across_mm: float) -> float:
    """How much more likely a series belongs to a group than stands by itself, as a logarithm."""
    if abs(median(one.across_mm for one in group) - piece.across_mm) > across_mm:
        return -inf
    mine = _one_a_roll(group)
    if any(one.roll.roll == piece.roll.roll for one in mine):
        mine = [one for one in mine if one.roll.roll != piece.roll.roll]
    if not mine:
        return same_maker([group[0].seen, piece.seen], rollers)
    joined = [one.seen for one in (*mine, piece)]
    return same_maker(joined, rollers) - same_maker([one.seen for one in mine], rollers)


def _one_a_roll(group: Sequence[_Piece]) -> list[_Piece]:
    """The clearest series of each roll: two nicks of one roller share its slip, and tell no more of it than one."""
    best: dict[str, _Piece] = {}
    for piece in group:
        before = best.get(piece.roll.roll)
        if before is None or piece.suspicion.series.log_evidence > before.suspicion.series.log_evidence:
            best[piece.roll.roll] = piece
    return list(best.values())


def _case(
    group: Sequence[_Piece],
    rolls: Sequence[SuspectRoll],
    rollers: Sequence[Roller],
    cleanings: Sequence[Cleaning],
    usual_days: float,
) -> Case:
    clearest = [one.seen for one in _one_a_roll(group)]
    candidates = weigh_candidates(
        makers_of(clearest, rollers),
        rollers,
        [sign for piece in group for sign in piece.suspicion.signs],
        days_since=days_since_cleaning(cleanings, group[0].roll.coated),
        usual_days=usual_days,
    )
    series = [piece.suspicion.series for piece in group]
    low, middle, high = mean_spacing(clearest)
    marks, evidence = sum(len(one.members) for one in series), sum(one.log_evidence for one in series)
    trail = _trail(group, rolls, middle, evidence / max(marks, 1))
    standing = standing_of(trail, [one for one in cleanings if one.roller == candidates[0].roller])
    dated = [roll.coated.text for roll in trail.shown if roll.coated is not None]
    return Case(
        candidates=candidates,
        across_mm=median(one.across_mm for one in series),
        spacing_m=middle,
        spacing_low_m=low,
        spacing_high_m=high,
        rolls=tuple(roll.roll for roll in trail.shown),
        first=dated[0] if dated else "",
        last=dated[-1] if dated else "",
        marks=marks,
        log_evidence=evidence,
        print_probability=trail.print_probability,
        state=standing.state,
        cleaned=standing.cleaned,
        rolls_since=standing.rolls_since,
        metres_since=standing.metres_since,
        seen_probability=standing.seen_probability,
        notes=standing.notes,
    )


def _trail(group: Sequence[_Piece], rolls: Sequence[SuspectRoll], spacing_m: float, per_print: float) -> Trail:
    shown = {piece.roll.roll: piece.roll for piece in group}
    return Trail(
        shown=tuple(shown.values()),
        others=tuple(roll for roll in rolls if roll.roll not in shown),
        spacing_m=spacing_m,
        print_probability=min(piece.suspicion.series.print_probability for piece in group),
        log_evidence_per_print=per_print,
    )
