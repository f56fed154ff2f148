"""What the rewinder does with each wound lane: its counter, pieces, film to throw out, and splices."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import KnifeSet, PlacedPiece, lane_name, number_head, words_of_numbers
from wideroll.report.cut_waste import waste_of
from wideroll.report.grid import Cell, Column, Grid
from wideroll.slitting.model import CutPlan, Quality, Run

__all__ = ["Step", "WoundLanes", "rewinder_m", "rewinding_grid", "run_words", "wound_lanes"]

_DONE: Final = "☐"
_AWAY: Final = "throw out"


def rewinder_m(run: Run, coated_m: float) -> float:
    """How far a coated place lies from the loose end of a lane wound in a run.

    The slitter winds the run's start onto the core and its end last, so the end comes off first at the rewinder.

    Args:
        run: in which the lane was wound.
        coated_m: metres from the wide roll's head, as coated.

    Example:
        >>> rewinder_m(Run(along_from_m=40.0, along_to_m=70.0, lanes=()), 55.0)
        15.0
    """
    return coated_m - run.along_from_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A length of a wound lane: a piece of each lane, or film to throw out for ``reasons``.

    ``splice`` says what to splice it to, ``until_m`` is the rewinder's counter at its end.
    """

    from_m: float
    until_m: float
    pieces: tuple[PlacedPiece, ...] = ()
    reasons: tuple[str, ...] = ()
    splice: str = ""

    @property
    def key(self) -> tuple[object, ...]:
        """What lanes must have in common to be told together."""
        if not self.pieces:
            return (self.from_m, self.until_m, self.reasons)
        one = self.pieces[0]
        number = number_head(one.roll.number, one.lane)
        return (self.from_m, self.until_m, number, one.piece.quality, one.roll.order, one.part, one.parts, self.splice)


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundLanes:
    """Lanes of one run that are rewound alike, as the rewinder meets them: what was slit last comes first."""

    width: str
    lanes: tuple[int, ...]
    steps: tuple[Step, ...]


def wound_lanes(plan: CutPlan, placed: Sequence[PlacedPiece], knives: KnifeSet, rank: int) -> tuple[WoundLanes, ...]:
    """The wound lanes of a run, those alike together, in the order of their first lanes.

    Args:
        plan: the cut.
        placed: all its pieces (``place_pieces``).
        knives: the knife set.
        rank: of the run in the set, from 1.
    """
    run = knives.runs[rank - 1]
    steps: dict[int, list[Step]] = {lane: [] for lane in range(1, len(run.lanes) + 1)}
    runs = {one.piece.number: one.run for one in placed if one.parts > 1}
    for one in placed:
        if (one.knife_set, one.run) == (knives.number, rank):
            place = one.piece.extent
            from_m, until_m = (rewinder_m(run, at) for at in (place.along_from_m, place.along_to_m))
            steps[one.lane].append(Step(from_m=from_m, until_m=until_m, pieces=(one,), splice=_splice(one, runs)))
    for waste in waste_of(plan, run):
        from_m, until_m = (rewinder_m(run, at) for at in (waste.along_from_m, waste.along_to_m))
        for lane in waste.lanes:
            steps[lane].append(Step(from_m=from_m, until_m=until_m, reasons=waste.reasons))
    wound = [
        WoundLanes(
            width=run.lanes[lane - 1][0], lanes=(lane,), steps=tuple(sorted(found, key=lambda step: step.from_m))
        )
        for lane, found in steps.items()
    ]
    alike: dict[tuple[object, ...], list[WoundLanes]] = {}
    for each in wound:
        alike.setdefault((each.width, *(step.key for step in each.steps)), []).append(each)
    return tuple(_together(group) for group in alike.values())


def rewinding_grid(lanes: WoundLanes, units: CutUnits = METRIC) -> Grid:
    """What to do with each of the lanes, from the loose end on, with a box to tick."""
    return Grid(
        caption=f"{_lane_words(lanes.lanes)} · {lanes.width}",
        columns=(
            Column(head=f"cut at, {units.along}", number=True),
            Column(head="film before it"),
            Column(head=f"length, {units.along}", number=True),
            Column(head=_DONE),
        ),
        rows=tuple(
            (
                Cell(text=units.show_along(step.until_m), tone="strong"),
                _film(step),
                Cell(text=units.show_along(step.until_m - step.from_m)),
                Cell(text=_DONE),
            )
            for step in lanes.steps
        ),
        empty="Nothing is wound.",
    )


def run_words(knives: KnifeSet, rank: int) -> str:
    """A run by its knife set, and by its number where the set has several.

    Example:
        >>> run = Run(along_from_m=0.0, along_to_m=70.0, lanes=())
        >>> run_words(KnifeSet(number=2, runs=(run,)), 1), run_words(KnifeSet(number=2, runs=(run, run)), 1)
        ('Set 2', 'Set 2, run 1 of 2')
    """
    return f"Set {knives.number}" if len(knives.runs) == 1 else f"Set {knives.number}, run {rank} of {len(knives.runs)}"


def _splice(one: PlacedPiece, runs: dict[str, int]) -> str:
    """What is spliced behind a part: the rewinder meets the last part of a roll first."""
    if one.part == one.parts:
        return ""
    after = one.part + 1
    run = runs[one.roll.pieces[one.part]]
    return f"splice part {one.part} to part {after}" + (f", from run {run}" if run != one.run else "")


def _together(group: Sequence[WoundLanes]) -> WoundLanes:
    first = group[0]
    steps = [
        Step(
            from_m=like[0].from_m,
            until_m=like[0].until_m,
            pieces=tuple(piece for step in like for piece in step.pieces),
            reasons=like[0].reasons,
            splice=like[0].splice,
        )
        for like in zip(*(each.steps for each in group), strict=True)
    ]
    return WoundLanes(width=first.width, lanes=tuple(lane for each in group for lane in each.lanes), steps=tuple(steps))


def _lane_words(lanes: Sequence[int]) -> str:
    names = words_of_numbers(lane_name(lane) for lane in lanes)
    return f"{'Lane' if len(lanes) == 1 else f'{len(lanes)} lanes:'} {names}"


def _film(step: Step) -> Cell:
    if not step.pieces:
        return Cell(text=_AWAY, note="; ".join(step.reasons))
    one = step.pieces[0]
    many = len(step.pieces) > 1
    number = f"{number_head(one.roll.number, one.lane)}-lane" if many else one.roll.number
    return Cell(text=number, note="; ".join(_notes(one, step)), tone="strong")


def _notes(one: PlacedPiece, step: Step) -> Iterator[str]:
    if one.piece.quality is Quality.SECOND:
        yield "◇ second quality"
    if one.parts > 1:
        yield step.splice or f"part {one.part} of {one.parts}"
    if one.roll.order:
        yield f"order {one.roll.order}"
