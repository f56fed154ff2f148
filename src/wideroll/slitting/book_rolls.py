"""One wide roll of the book, cut as chosen: its pieces and finished rolls, numbered as the slitter meets them."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting.along import stops_within
from wideroll.slitting.book_layout import Layout, StretchToCut, real_name
from wideroll.slitting.book_request import Book
from wideroll.slitting.desk import CutDesk, lane_at
from wideroll.slitting.losses import charge_losses
from wideroll.slitting.model import ByMetre, CutPlan, FinishedRoll, Piece, Quality, Spliced
from wideroll.slitting.pieces import Coated, Cut, cut_sets, number_pieces, place_of

__all__ = ["RawRoll", "SlitRoll", "cut_roll", "empty_plan", "plan_of", "stays"]

_SAME_M: Final = 1e-9


@dataclass(slots=True, kw_only=True)
class RawRoll:
    """A finished roll. ``good`` is its kind where the book asks for it; ``lost`` is what its splices take off.

    ``order`` is the number of the order it fills.
    """

    rank: int
    pieces: list[Piece]
    marks: tuple[int, ...]
    value: float
    good: int | None = None
    lost: float = 0.0
    order: str = ""

    @property
    def number(self) -> str:
        """That of its first piece."""
        return self.pieces[0].number


@dataclass(slots=True, kw_only=True)
class SlitRoll:
    """A wide roll with its layout, each stretch with how many of each kind it is cut into, and what comes of it."""

    layout: Layout
    day: int
    cuts: list[tuple[StretchToCut, list[int]]]
    base: Cut
    raw: list[RawRoll] = field(default_factory=list)


def stays(book: Book, base: Cut) -> Iterator[tuple[FinishedRoll, int | None]]:
    """The finished rolls of a layout that stay as they are, with their kind where they can fill an order."""
    ordered = {good.width for good in book.goods}
    spliced = {good.width: number for number, good in enumerate(book.goods) if good.spliced}
    bulk = {width.name for width in book.widths if isinstance(width.finish, ByMetre)}
    for roll in base.rolls:
        if roll.width in spliced:
            yield roll, spliced[roll.width]
        elif real_name(roll.width) in ordered and roll.quality is Quality.FIRST:
            continue
        elif roll.width not in bulk or roll.length_m >= book.rules.least_piece_m - _SAME_M:
            yield roll, None


def cut_roll(book: Book, slit: SlitRoll) -> None:
    """Cut the stretches and number everything."""
    slit.raw = [*_raw_base(book, slit), *_raw_cuts(book, slit)]
    parts = [(raw, at, piece) for raw in slit.raw for at, piece in enumerate(raw.pieces)]
    parts.sort(key=lambda part: (-place_of(part[2]), part[2].extent.across_from_mm))
    for (raw, at, _), piece in zip(parts, number_pieces([(raw.rank, piece) for raw, _, piece in parts]), strict=True):
        raw.pieces[at] = piece
    slit.raw.sort(key=lambda raw: raw.number)


def _raw_base(book: Book, slit: SlitRoll) -> Iterator[RawRoll]:
    pieces = {piece.number: piece for piece in slit.base.pieces}
    losses = {width.name: width.finish.loss_per_splice for width in book.widths if isinstance(width.finish, Spliced)}
    for roll, good in stays(book, slit.base):
        lost = 0.0 if good is None else roll.splices * losses[roll.width]
        value = roll.value if good is None else book.goods[good].floor - lost
        yield RawRoll(
            rank=int(roll.number.split("-")[1]),
            pieces=[pieces[number] for number in roll.pieces],
            marks=roll.marks,
            value=value,
            good=good,
            lost=lost,
        )


def _raw_cuts(book: Book, slit: SlitRoll) -> Iterator[RawRoll]:
    desk = slit.layout.desk
    coated = Coated(desk).at
    for stretch, counts in slit.cuts:
        reach = stretch.from_m
        for good, count in enumerate(counts):
            for _ in range(count):
                end = min(reach + book.goods[good].length_m, stretch.to_m)
                yield _raw(slit, stretch, (coated(end), coated(reach)), book.goods[good].floor, good)
                reach = end
        width = next(width for width in book.widths if width.name == real_name(stretch.width))
        rest_m = stretch.to_m - reach
        if isinstance(width.finish, ByMetre) and rest_m >= max(book.rules.least_piece_m - _SAME_M, _SAME_M):
            along = coated(stretch.to_m), coated(reach)
            yield _raw(slit, stretch, along, (along[1] - along[0]) * width.finish.value_per_m, None)


def _raw(slit: SlitRoll, stretch: StretchToCut, along: tuple[float, float], value: float, good: int | None) -> RawRoll:
    desk = slit.layout.desk
    place, width = slit.layout.sets[stretch.lane[0]][1][stretch.lane[1]]
    low_mm, high_mm = desk.knives.lane_mm(place, width)
    extent = Extent(along_from_m=along[0], along_to_m=along[1], across_from_mm=low_mm, across_to_mm=high_mm)
    end_m = desk.request.whole.along_to_m
    lane = lane_at(desk, place, width)
    before = int(np.searchsorted(lane.mark_from, end_m - along[0], side="left"))
    gone = int(np.searchsorted(lane.mark_to, end_m - along[1], side="right"))
    marks = (lane.counted_from[before] - lane.counted_to[gone]).tolist()[: len(desk.request.counts)]
    piece = Piece(number="", width=real_name(stretch.width), extent=extent, value=0.0)
    return RawRoll(rank=stretch.lane[1] + 1, pieces=[piece], marks=tuple(marks), value=value, good=good)


def plan_of(book: Book, slit: SlitRoll) -> CutPlan:
    """The plan of a roll whose finished rolls have their values."""
    desk, rules = slit.layout.desk, book.rules
    rolls = tuple(map(_finished, slit.raw))
    pieces = [
        replace(piece, roll=raw.number, value=raw.value * piece.extent.length_m / roll.length_m)
        for raw, roll in zip(slit.raw, rolls, strict=True)
        for piece in raw.pieces
    ]
    cut = replace(slit.base, pieces=tuple(sorted(pieces, key=lambda piece: piece.number)), rolls=rolls)
    stops = sum(stops_within(stretch, rules) for stretch, _ in slit.layout.sets)
    minutes = max(len(slit.layout.sets) - 1, 0) * rules.setup_minutes + stops * rules.stop_minutes
    value = math.fsum(roll.value for roll in rolls)
    runs = tuple(
        replace(run, lanes=tuple((real_name(name), low, high) for name, low, high in run.lanes)) for run in cut.runs
    )
    return CutPlan(
        whole=desk.request.whole,
        runs=runs,
        pieces=cut.pieces,
        rolls=rolls,
        value=value,
        minutes=minutes,
        bound=None,
        optimal=False,
        of_book=True,
        losses=charge_losses(desk, cut),
        cross_cut_candidates=len(desk.changes),
        left_out=len(desk.others),
        widths=book.widths,
        avoid=desk.request.avoid,
        rules=rules,
        counts=desk.request.counts,
        wishes=desk.request.wishes,
    )


def empty_plan(book: Book, desk: CutDesk) -> CutPlan:
    """The plan of a roll that isn't slit."""
    nothing = Cut(runs=(), pieces=(), rolls=(), setups=())
    layout = Layout(roll=0, desk=desk, sets=(), fixed=0.0, made=np.zeros(0), stretches=())
    return plan_of(book, SlitRoll(layout=layout, day=0, cuts=[], base=nothing))


def _finished(raw: RawRoll) -> FinishedRoll:
    first = raw.pieces[0]
    return FinishedRoll(
        number=first.number,
        width=first.width,
        quality=first.quality,
        length_m=math.fsum(piece.extent.length_m for piece in raw.pieces),
        value=raw.value,
        pieces=tuple(piece.number for piece in raw.pieces),
        marks=raw.marks,
        order=raw.order,
    )


def base_of(layout: Layout) -> Cut:
    """What the layout gives at its own prices."""
    return cut_sets(layout.desk, layout.sets)
