"""Knife sets and their lanes to runs, pieces and finished rolls, numbered in the order the slitter meets them."""

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting.desk import CutDesk, KnifeSet, lane_at
from wideroll.slitting.lane import Lane
from wideroll.slitting.lane_values import cut_lane
from wideroll.slitting.model import ByLength, ByMetre, FinishedRoll, Piece, Quality, Run, SlitWidth

__all__ = ["Coated", "Cut", "cut_sets", "number_pieces", "place_of"]

_LEAST_DIGITS: Final = (3, 2)
_SAME_M: Final = 1e-9
_SAME_DECIMALS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What the knife sets give: runs from the head on, pieces and finished rolls as the slitter meets them."""

    runs: tuple[Run, ...]
    pieces: tuple[Piece, ...]
    rolls: tuple[FinishedRoll, ...]
    setups: tuple[tuple[float, float], ...]
    """The web lost with setting the knives, in coated metres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A piece without its number: ``lane`` is its lane from the datum edge, ``roll`` tells finished rolls apart."""

    lane: int
    roll: tuple[int, int, int]
    piece: Piece
    marks: tuple[int, ...]


def cut_sets(desk: CutDesk, sets: Sequence[KnifeSet]) -> Cut:
    """The sets cut into pieces, each lane at its best."""
    coated = Coated(desk)
    laid = [(stretch, lanes) for stretch, lanes in sets if lanes]
    parts = [part for number, one in enumerate(laid) for part in _parts(desk, coated, number, one)]
    pieces = number_pieces([(part.lane, part.piece) for part in _slitter_order(parts)])
    rolls = tuple(_rolls(desk, _slitter_order(parts), pieces))
    owner = {number: roll.number for roll in rolls for number in roll.pieces}
    share = {number: roll.value / roll.length_m for roll in rolls for number in roll.pieces}
    runs = [run for number, one in enumerate(laid, start=1) for run in _runs(desk, coated, number, one)]
    return Cut(
        runs=tuple(sorted(runs, key=lambda run: run.along_from_m)),
        pieces=tuple(
            replace(one, roll=owner[one.number], value=share[one.number] * one.extent.length_m) for one in pieces
        ),
        rolls=rolls,
        setups=tuple(
            (coated.at(after[0][0]), coated.at(max(before[0][1], after[0][0] - desk.request.rules.setup_m)))
            for before, after in itertools.pairwise(laid)
        ),
    )


class Coated:
    """Slitter metres back to coated ones; the borders of regions to just what was given."""

    def __init__(self, desk: CutDesk) -> None:
        whole = desk.request.whole
        self.end_m = whole.along_to_m
        extents = [one.extent for one in desk.request.avoid]
        extents += [extent for limit in desk.request.counts for extent in limit.marks]
        given = [whole.along_from_m, *(end for extent in extents for end in (extent.along_from_m, extent.along_to_m))]
        self.given = {self.end_m - place: place for place in reversed(given)}

    def at(self, slitter_m: float) -> float:
        """The coated metre of a slitter metre."""
        return self.given.get(slitter_m, self.end_m - slitter_m)


def _runs(desk: CutDesk, coated: Coated, number: int, one: KnifeSet) -> Iterator[Run]:
    (start, end), lanes = one
    widths = desk.request.widths
    borders = tuple((widths[width].name, *desk.knives.lane_mm(place, width)) for place, width in lanes)
    run_m = desk.request.rules.run_m
    while start < end:
        stop = end if math.isinf(run_m) or start + run_m >= end - _SAME_M else start + run_m
        yield Run(along_from_m=coated.at(stop), along_to_m=coated.at(start), lanes=borders, knife_set=number)
        start = stop


def _parts(desk: CutDesk, coated: Coated, number: int, one: KnifeSet) -> Iterator[_Part]:
    (start, end), lanes = one
    for rank, (place, width) in enumerate(lanes, start=1):
        low_mm, high_mm = desk.knives.lane_mm(place, width)
        lane = lane_at(desk, place, width)
        cuts = cut_lane(lane, desk.sold[width], start, end)
        for from_m, to_m, roll, second in zip(*(column.tolist() for column in cuts), strict=True):
            extent = Extent(
                along_from_m=coated.at(to_m),
                along_to_m=coated.at(from_m),
                across_from_mm=low_mm,
                across_to_mm=high_mm,
            )
            quality = Quality.SECOND if second else Quality.FIRST
            piece = Piece(number="", width=desk.request.widths[width].name, extent=extent, value=0.0, quality=quality)
            yield _Part(lane=rank, roll=(number, rank, roll), piece=piece, marks=_marks(desk, lane, from_m, to_m))


def _marks(desk: CutDesk, lane: Lane, from_m: float, to_m: float) -> tuple[int, ...]:
    """How many counted marks a piece of the lane meets, for each limit."""
    before = int(np.searchsorted(lane.mark_from, to_m, side="left"))
    gone = int(np.searchsorted(lane.mark_to, from_m, side="right"))
    return tuple(
        int(lane.counted_from[before, limit] - lane.counted_to[gone, limit])
        for limit in range(len(desk.request.counts))
    )


def place_of(piece: Piece) -> float:
    """Where the slitter meets a piece: places that differ by rounding alone are one, whatever lane reckoned them."""
    return round(piece.extent.along_to_m, _SAME_DECIMALS)


def _slitter_order(parts: Sequence[_Part]) -> list[_Part]:
    return sorted(parts, key=lambda one: (-place_of(one.piece), one.piece.extent.across_from_mm))


def number_pieces(pieces: Sequence[tuple[int, Piece]]) -> tuple[Piece, ...]:
    """Pieces with their lanes' numbers, in the order the slitter meets them, each with its own number.

    The slitter unwinds the tail first. A number such as ``003-07`` is the third place along where pieces begin, counted
    from the tail, and the seventh lane of its run from the datum edge. Sorted as text, numbers keep the order.
    """
    groups = [list(group) for _, group in itertools.groupby(pieces, key=lambda one: place_of(one[1]))]
    digits = max(_LEAST_DIGITS[0], len(str(len(groups))))
    lane_digits = max([_LEAST_DIGITS[1], *(len(str(lane)) for lane, _ in pieces)])
    return tuple(
        replace(piece, number=f"{place:0{digits}d}-{lane:0{lane_digits}d}")
        for place, group in enumerate(groups, start=1)
        for lane, piece in group
    )


def _rolls(desk: CutDesk, parts: Sequence[_Part], pieces: Sequence[Piece]) -> Iterator[FinishedRoll]:
    """The finished rolls, in the order of their first pieces."""
    widths: Mapping[str, SlitWidth] = {width.name: width for width in desk.request.widths}
    together: dict[tuple[int, int, int], list[tuple[_Part, Piece]]] = {}
    for part, piece in zip(parts, pieces, strict=True):
        together.setdefault(part.roll, []).append((part, piece))
    for members in together.values():
        first = members[0][1]
        length_m = math.fsum(piece.extent.length_m for _, piece in members)
        roll = FinishedRoll(
            number=first.number,
            width=first.width,
            quality=first.quality,
            length_m=length_m,
            value=0.0,
            pieces=tuple(piece.number for _, piece in members),
            marks=tuple(map(sum, zip(*(part.marks for part, _ in members), strict=True))),
        )
        yield replace(roll, value=_value(widths[first.width], roll))


def _value(width: SlitWidth, roll: FinishedRoll) -> float:
    """What a finished roll is worth."""
    finish, second = width.finish, roll.quality is Quality.SECOND
    if isinstance(finish, ByMetre):
        return roll.length_m * (finish.second_per_m if second else finish.value_per_m)
    if isinstance(finish, ByLength):
        length = min(finish.lengths, key=lambda one: abs(one.length_m - roll.length_m))
        return length.second_value if second else length.value
    return finish.value - finish.loss_per_splice * roll.splices
