"""Where the pieces of a plan lie: their knife set, run, lane and finished roll."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from wideroll.roll import Extent
from wideroll.slitting.model import CutPlan, FinishedRoll, Piece, Run

__all__ = [
    "SAME_M",
    "KnifeSet",
    "PlacedPiece",
    "finished_rolls",
    "knife_sets",
    "lane_name",
    "number_head",
    "place_pieces",
    "reason_numbers",
    "slitter_m",
    "words_of_numbers",
]

SAME_M: Final = 1e-6


def slitter_m(plan: CutPlan, coated_m: float) -> float:
    """The metre at which the slitter meets a coated place: winding reverses, the tail comes off first.

    Args:
        plan: the cut, whose ``whole`` is the wound roll.
        coated_m: metres from the roll's head, as coated.
    """
    return plan.whole.along_to_m - coated_m


@dataclass(frozen=True, slots=True, kw_only=True)
class KnifeSet:
    """Knives that stand still over one or several runs, numbered and listed as the slitter meets them."""

    number: int
    runs: tuple[Run, ...]

    @property
    def along_to_m(self) -> float:
        """Where the slitter begins it, in coated metres."""
        return self.runs[0].along_to_m

    @property
    def along_from_m(self) -> float:
        """Where the slitter ends it, in coated metres."""
        return self.runs[-1].along_from_m

    @property
    def lanes(self) -> tuple[tuple[str, float, float], ...]:
        """Its lanes from the datum edge: width name, from mm, to mm."""
        return self.runs[0].lanes

    @property
    def stops_m(self) -> tuple[float, ...]:
        """Where the wound rolls are taken off and the knives stay, in coated metres."""
        return tuple(run.along_from_m for run in self.runs[:-1])


def knife_sets(plan: CutPlan) -> tuple[KnifeSet, ...]:
    """The knife sets of a plan in the order the slitter meets them."""
    runs = sorted(plan.runs, key=lambda run: -run.along_to_m)
    sets = [tuple(group) for _, group in groupby(runs, key=lambda run: (run.knife_set, run.lanes))]
    return tuple(KnifeSet(number=number, runs=group) for number, group in enumerate(sets, start=1))


def lane_name(number: int) -> str:
    """A lane's number from the datum edge, as it stands on sheet and picture.

    Example:
        >>> lane_name(7)
        '07'
    """
    return f"{number:02d}"


def number_head(number: str, lane: int) -> str:
    """A piece's number without its lane, where it ends with that; else the whole number.

    Example:
        >>> number_head("003-07", 7), number_head("003-07", 8)
        ('003', '003-07')
    """
    head, _, tail = number.rpartition("-")
    return head if head and tail.isdigit() and int(tail) == lane else number


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPiece:
    """A piece with its knife set, run within the set and lane, all counted from 1, and its finished roll."""

    piece: Piece
    knife_set: int
    run: int
    lane: int
    roll: FinishedRoll
    wound: Run
    """The run it was wound in."""

    @property
    def part(self) -> int:
        """Which part of its finished roll it is, from 1."""
        return self.roll.pieces.index(self.piece.number) + 1

    @property
    def parts(self) -> int:
        """Parts of its finished roll."""
        return len(self.roll.pieces)


def finished_rolls(plan: CutPlan) -> dict[str, FinishedRoll]:
    """The finished roll of each piece, by the piece's number; a piece that no roll names is one by itself."""
    found = {piece.number: _alone(piece) for piece in plan.pieces}
    return found | {number: roll for roll in plan.rolls for number in roll.pieces}


def place_pieces(plan: CutPlan) -> tuple[PlacedPiece, ...]:
    """The pieces in the order the slitter meets them, lane by lane from the datum edge."""
    rolls = finished_rolls(plan)
    ordered = sorted(plan.pieces, key=lambda one: (-one.extent.along_to_m, one.extent.across_from_mm))
    runs = [(knives, rank, run) for knives in knife_sets(plan) for rank, run in enumerate(knives.runs, start=1)]
    placed: list[PlacedPiece] = []
    for piece in ordered:
        knives, rank = _run_of(piece.extent, runs)
        placed.append(
            PlacedPiece(
                piece=piece,
                knife_set=knives.number,
                run=rank,
                lane=_lane_of(piece.extent, knives),
                roll=rolls[piece.number],
                wound=knives.runs[rank - 1],
            )
        )
    return tuple(placed)


def reason_numbers(plan: CutPlan) -> dict[str, int]:
    """Each reason to avoid or downgrade film with its number on picture and sheet."""
    reasons = dict.fromkeys(one.reason for one in plan.avoid)
    return {reason: number for number, reason in enumerate(reasons, start=1)}


def words_of_numbers(numbers: Iterable[str]) -> str:
    """Numbers that follow one another drawn together; what stands before a number's last dash must be the same.

    Example:
        >>> words_of_numbers(["003-01", "003-02", "003-03", "003-07"]), words_of_numbers(["01", "02"])
        ('003-01 to 003-03, 003-07', '01, 02')
    """
    spans: list[list[str]] = []
    for number in numbers:
        if spans and _follows(spans[-1][-1], number):
            spans[-1].append(number)
        else:
            spans.append([number])
    return ", ".join(word for span in spans for word in _span_words(span))


def _span_words(span: Sequence[str]) -> Sequence[str]:
    return (f"{span[0]} to {span[-1]}",) if len(span) > 2 else span  # noqa: PLR2004  (two are said one by one)


def _follows(before: str, after: str) -> bool:
    head, _, tail = before.rpartition("-")
    other, _, last = after.rpartition("-")
    return head == other and tail.isdigit() and last.isdigit() and int(last) == int(tail) + 1


def _alone(piece: Piece) -> FinishedRoll:
    return FinishedRoll(
        number=piece.number,
        width=piece.width,
        quality=piece.quality,
        length_m=piece.extent.length_m,
        value=piece.value,
        pieces=(piece.number,),
    )


def _run_of(extent: Extent, runs: Sequence[tuple[KnifeSet, int, Run]]) -> tuple[KnifeSet, int]:
    """The knife set and the number in it of the run that holds most of a piece: all of it, in a sound plan."""
    knives, rank, _ = max(
        runs,
        key=lambda one: min(one[2].along_to_m, extent.along_to_m) - max(one[2].along_from_m, extent.along_from_m),
    )
    return knives, rank


def _lane_of(extent: Extent, knives: KnifeSet) -> int:
    return min(range(1, len(knives.lanes) + 1), key=lambda lane: abs(knives.lanes[lane - 1][1] - extent.across_from_mm))
