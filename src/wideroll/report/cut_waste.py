"""What is thrown out of the lanes between the pieces, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.report.cut_places import SAME_M
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, ByLength, ByMetre, CutPlan, Finish, Run
from wideroll.slitting.request import Request

__all__ = ["LEFT_OVER", "Waste", "waste_of"]

LEFT_OVER: Final = "left over"
_NO_PIECE: Final = "no piece fits"
_TOO_MARKED: Final = "a roll would carry too many marks"
_NOT_WANTED: Final = "no piece fits that is wanted"
_UNSOLD: Final = ", not sold of this width"
_SAME_MM: Final = 1e-6
_SEEN_M: Final = 0.005
"""Of film left beside what is avoided, shorter than the lists tell."""

_Span = tuple[float, float]
_Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Waste:
    """Stretches of lanes that are thrown out, all from and to the same coated metre and for the same reasons."""

    along_from_m: float
    along_to_m: float
    lanes: tuple[int, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lane:
    """A lane of a run with what lies across it: regions, and the counted marks as (n, 2) from and to along."""

    plan: CutPlan
    avoid: tuple[Avoid, ...]
    marks: _Floats
    useful_m: float
    sells_second: bool


def waste_of(plan: CutPlan, run: Run) -> tuple[Waste, ...]:
    """What lies between the pieces of a run, in the order the slitter meets it.

    Where clean film that is long enough for a piece was left and counted marks lie in it, the marks are why, as in the
    plan's losses; else nothing could be cut from it.
    """
    found: dict[tuple[float, float, tuple[str, ...]], list[int]] = {}
    regions, marks = _rows([one.extent for one in plan.avoid]), _rows([m for one in plan.counts for m in one.marks])
    useful, second = _useful_lengths(plan), {width.name for width in plan.widths if _sells_second(width.finish)}
    for number, (name, low, high) in enumerate(run.lanes, start=1):
        gaps = _gaps(plan, run, low)
        if not gaps:
            continue
        hole = Extent(along_from_m=run.along_from_m, along_to_m=run.along_to_m, across_from_mm=low, across_to_mm=high)
        lane = _Lane(
            plan=plan,
            avoid=tuple(plan.avoid[rank] for rank in _met(regions, hole)),
            marks=marks[_met(marks, hole), :2],
            useful_m=useful.get(name, 0.0),
            sells_second=name in second,
        )
        for start, end in gaps:
            found.setdefault((start, end, _reasons(lane, start, end)), []).append(number)
    wastes = [
        Waste(along_from_m=start, along_to_m=end, lanes=tuple(lanes), reasons=reasons)
        for (start, end, reasons), lanes in found.items()
    ]
    return tuple(sorted(wastes, key=lambda one: (-one.along_to_m, one.lanes)))


def _useful_lengths(plan: CutPlan) -> dict[str, float]:
    """The shortest clean length from which each width could take anything."""
    asked = Request(whole=plan.whole, avoid=(), widths=plan.widths, rules=plan.rules)
    return {width.name: asked.useful_m(width) for width in plan.widths}


def _sells_second(finish: Finish) -> bool:
    if isinstance(finish, ByMetre):
        return finish.second_per_m > 0.0
    return isinstance(finish, ByLength) and any(one.second_value > 0.0 for one in finish.lengths)


def _rows(extents: Sequence[Extent]) -> _Floats:
    rows = [(one.along_from_m, one.along_to_m, one.across_from_mm, one.across_to_mm) for one in extents]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def _met(rows: _Floats, hole: Extent) -> list[int]:
    along = (rows[:, 0] < hole.along_to_m) & (rows[:, 1] > hole.along_from_m)
    across = (rows[:, 2] < hole.across_to_mm) & (rows[:, 3] > hole.across_from_mm)
    return np.flatnonzero(along & across).tolist()


def _reasons(lane: _Lane, start: float, end: float) -> tuple[str, ...]:
    """Why a stretch of a lane becomes no piece; film that may be sold, but isn't, says that as well."""
    met = [one for one in lane.avoid if one.extent.along_from_m < end and one.extent.along_to_m > start]
    never = [one for one in met if not (one.downgrade and lane.sells_second)]
    said = [f"{one.reason}{_UNSOLD}" if one.downgrade else one.reason for one in never]
    rest = _rest((start, end), [(one.extent.along_from_m, one.extent.along_to_m) for one in never])
    left = [(low, high) for low, high in rest if high - low > _SEEN_M or not never]
    if left:
        unsold = _unsold(lane, left)
        second = [one.reason for one in met if one not in never and _lies_in(one.extent, left)]
        said += [f"{reason}, {unsold}" for reason in second] or [f"{LEFT_OVER}: {unsold}"]
    return tuple(dict.fromkeys(said))


def _lies_in(extent: Extent, stretches: Sequence[_Span]) -> bool:
    return any(extent.along_from_m < high and extent.along_to_m > low for low, high in stretches)


def _unsold(lane: _Lane, stretches: Sequence[_Span]) -> str:
    for low, high in stretches:
        marked = np.any((lane.marks[:, 0] < high) & (lane.marks[:, 1] > low))
        if high - low >= lane.useful_m - SAME_M and marked:
            return _TOO_MARKED
    return _NOT_WANTED if lane.plan.of_book else _NO_PIECE


def _rest(span: _Span, taken: Sequence[_Span]) -> list[_Span]:
    """What of a stretch none of others takes."""
    left: list[_Span] = []
    reach = span[0]
    for low, high in [*sorted(taken), (span[1], span[1])]:
        if low - reach > SAME_M:
            left.append((reach, min(low, span[1])))
        reach = max(reach, high)
    return left


def _gaps(plan: CutPlan, run: Run, low_mm: float) -> list[_Span]:
    pieces = [
        (piece.extent.along_from_m, piece.extent.along_to_m)
        for piece in plan.pieces
        if abs(piece.extent.across_from_mm - low_mm) < _SAME_MM
        and piece.extent.along_from_m > run.along_from_m - SAME_M
        and piece.extent.along_to_m < run.along_to_m + SAME_M
    ]
    return _rest((run.along_from_m, run.along_to_m), pieces)
