"""One wide roll for the book: its best layout at given prices, and the clean stretches that are left to cut."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.slitting.across import NONE
from wideroll.slitting.along import KnifeSet, best_sets, stops_within
from wideroll.slitting.book_request import Book, RollClass
from wideroll.slitting.desk import CutDesk, best_knife_sets, lane_at, prepare_cut, rows_of
from wideroll.slitting.lane import Cuts, Floats, Ints, Lane, Selling
from wideroll.slitting.lane_stretches import clean_stretches_of
from wideroll.slitting.lane_values import cut_lane
from wideroll.slitting.model import ByLength, ByMetre, FinishedLength, SlitWidth, Spliced, Wish, WithoutWidth
from wideroll.slitting.request import Request, check_request
from wideroll.slitting.selling import selling_of
from wideroll.slitting.wishes import bars_all, refuse_impossible

__all__ = ["Layout", "StretchToCut", "best_rates", "open_desk", "price_roll", "real_name"]

_WHOLE: Final = " in whole lengths"
_SAME_M: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class StretchToCut:
    """Clean film of one lane, in slitter metres, to be cut as the book needs it.

    ``lane`` is (number of the knife set, rank of the lane), each from 0.
    """

    width: str
    lane: tuple[int, int]
    from_m: float
    to_m: float

    @property
    def length_m(self) -> float:
        """Length of film."""
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """Where the knives stand on a kind of roll.

    ``fixed`` is the value of everything that is cut whatever the book needs (widths nobody ordered, second quality)
    less the slitter's time and what splices take off; ``made`` (G,) the spliced rolls it gives.
    """

    roll: int
    desk: CutDesk
    sets: tuple[KnifeSet, ...]
    fixed: float
    made: Floats
    stretches: tuple[StretchToCut, ...]


def real_name(width: str) -> str:
    """The product's name of a width: whole lengths of a spliced width are planned under a name of their own."""
    return width.removesuffix(_WHOLE)


def open_desk(book: Book, kind: RollClass) -> CutDesk:
    """Make a kind of roll ready to be priced again and again.

    Raises:
        ArgumentError: as ``plan_cut``, naming the roll.
    """
    shortest = min((good.length_m for good in book.goods if good.bulk), default=math.inf)
    least_m = min(book.rules.least_piece_m, shortest)
    asked = Request(
        whole=kind.roll.whole,
        avoid=kind.roll.avoid,
        widths=_widths(book, np.array([good.floor for good in book.goods])),
        rules=replace(book.rules, least_piece_m=least_m),
        counts=kind.roll.counts,
        wishes=tuple(dict.fromkeys(kind.roll.wishes)),
    )
    try:
        return _ready(book, asked)
    except ArgumentError as error:
        raise ArgumentError(
            where=f"roll {kind.roll.name}: {error.where}", rule=error.rule, value=error.value, mend=error.mend
        ) from error


def _ready(book: Book, asked: Request) -> CutDesk:
    """The desk of a request, whose wishes name the widths as the product does."""
    planned = {width.name for width in asked.widths}

    def meant(wishes: tuple[Wish, ...]) -> tuple[Wish, ...]:
        whole = (WithoutWidth(name=wish.name + _WHOLE) for wish in wishes if isinstance(wish, WithoutWidth))
        return (*wishes, *(wish for wish in whole if wish.name in planned))

    request = replace(asked, wishes=meant(asked.wishes))
    check_request(replace(asked, widths=book.widths))
    prices = _best_prices(book)
    best = replace(asked, widths=_at_best_rates(book, _widths(book, prices), prices))
    if bars_all(request):
        refuse_impossible(best, meant=meant)
    desk = prepare_cut(request)
    left = {width.name for width in desk.request.widths}
    widths = tuple(width for width in best.widths if width.name in left)
    if asked.wishes and best_knife_sets(desk.priced(widths))[0] <= NONE:
        refuse_impossible(best, meant=meant)
    return desk


def _best_prices(book: Book) -> Floats:
    """(G,) the most that a finished roll of each kind may be worth."""
    prices: Floats = book.floors.max(axis=1, initial=0.0)
    for order, good in enumerate(book.good_of):
        prices[good] = max(prices[good], float(book.worth[order].max()))
    return prices


def price_roll(book: Book, desk: CutDesk, roll: int, prices: Floats) -> tuple[float, Layout]:
    """The best layout of a kind of roll when a finished roll of each kind earns a price (G,), and what it earns.

    Film of a width sold by the metre earns its ordinary value for every metre, and each finished roll cut from it what
    its price is above that: a little more than it can really earn, as what is left of a stretch may be too short.
    """
    names = {width.name for width in desk.request.widths}
    priced = desk.priced(tuple(width for width in _widths(book, prices) if width.name in names))
    above = tuple(_above(book, width, prices) for width in priced.request.widths)
    extra = replace(priced, sold=tuple(selling_of(width, priced.request) for width in above))
    bulk = any(isinstance(width.finish, ByLength) for width in above)

    def rows(starts_m: Floats, ends_m: Floats, firsts: Ints) -> Iterator[Floats]:
        found = rows_of(priced, starts_m, ends_m, firsts)
        return map(np.add, found, rows_of(extra, starts_m, ends_m, firsts)) if bulk else found

    net, sets = best_sets(priced.scale, priced.changes, rows, rules=priced.request.rules, length_m=priced.web.length_m)
    return max(net, 0.0), _layout(book, priced, roll, sets if net > 0.0 else [])


def best_rates(book: Book, desk: CutDesk, prices: Floats) -> CutDesk:
    """The desk with film by the metre at the most that a metre of it can earn as finished rolls at prices (G,)."""
    names = {width.name for width in desk.request.widths}
    widths = tuple(width for width in _widths(book, prices) if width.name in names)
    return desk.priced(_at_best_rates(book, widths, prices))


def _at_best_rates(book: Book, widths: tuple[SlitWidth, ...], prices: Floats) -> tuple[SlitWidth, ...]:
    rates: dict[str, float] = {}
    for good, price in zip(book.goods, prices.tolist(), strict=True):
        if good.bulk:
            rates[good.width] = max(rates.get(good.width, 0.0), price / good.length_m)
    return tuple(
        replace(width, finish=replace(width.finish, value_per_m=max(width.finish.value_per_m, rates[width.name])))
        if isinstance(width.finish, ByMetre) and width.name in rates
        else width
        for width in widths
    )


def _above(book: Book, width: SlitWidth, prices: Floats) -> SlitWidth:
    """A width sold by the metre as the finished rolls cut from it, at what they earn above it; others worth nothing."""
    lengths = tuple(
        FinishedLength(length_m=good.length_m, value=float(price) - good.floor)
        for good, price in zip(book.goods, prices, strict=True)
        if good.bulk and good.width == width.name
    )
    return replace(width, finish=ByLength(lengths=lengths) if lengths else ByMetre(value_per_m=0.0))


def _widths(book: Book, prices: Floats) -> tuple[SlitWidth, ...]:
    """The widths to plan with, at prices (G,) of the finished rolls."""
    return tuple(planned for width in book.widths for planned in _planned(book, width, prices))


def _planned(book: Book, width: SlitWidth, prices: Floats) -> Iterator[SlitWidth]:
    mine = [(good, float(price)) for good, price in zip(book.goods, prices, strict=True) if good.width == width.name]
    finish = width.finish
    if not mine:
        yield width
        return
    if isinstance(finish, ByMetre):
        yield width
        return
    second = {one.length_m: one.second_value for one in finish.lengths} if isinstance(finish, ByLength) else {}
    if isinstance(finish, Spliced):
        own = next(price for good, price in mine if good.spliced)
        yield replace(width, finish=replace(finish, value=own))
    lengths = tuple(
        FinishedLength(length_m=good.length_m, value=price, second_value=second.get(good.length_m, 0.0))
        for good, price in mine
        if not good.spliced
    )
    if lengths:
        name = width.name + _WHOLE if isinstance(finish, Spliced) else width.name
        yield replace(width, name=name, finish=ByLength(lengths=lengths))


def _layout(book: Book, desk: CutDesk, roll: int, sets: list[KnifeSet]) -> Layout:
    rules = book.rules
    stops = sum(stops_within(stretch, rules) for stretch, _ in sets)
    minutes = max(len(sets) - 1, 0) * rules.setup_minutes + stops * rules.stop_minutes
    fixed, made = -minutes * rules.value_per_minute, np.zeros(len(book.goods))
    stretches: list[StretchToCut] = []
    spliced = {good.width: number for number, good in enumerate(book.goods) if good.spliced}
    ordered = {good.width for good in book.goods}
    for number, ((start, end), lanes) in enumerate(sets):
        for rank, (place, at) in enumerate(lanes):
            width, sold, lane = desk.request.widths[at], desk.sold[at], lane_at(desk, place, at)
            cuts = cut_lane(lane, sold, start, end)
            finish = width.finish
            if isinstance(finish, Spliced) and width.name in ordered:
                rolls = len(np.unique(cuts.roll))
                made[spliced[width.name]] += rolls
                fixed -= finish.loss_per_splice * (len(cuts.roll) - rolls)
                continue
            free = real_name(width.name) in ordered
            fixed += _kept(width, cuts, free=free, least_m=rules.least_piece_m)
            if free:
                stretches += [
                    StretchToCut(width=width.name, lane=(number, rank), from_m=from_m, to_m=to_m)
                    for from_m, to_m in _to_cut(lane, sold, (start, end), cuts)
                ]
    return Layout(roll=roll, desk=desk, sets=tuple(sets), fixed=fixed, made=made, stretches=tuple(stretches))


def _kept(width: SlitWidth, cuts: Cuts, *, free: bool, least_m: float) -> float:
    """Value of the pieces that stay as they are: all of a width nobody ordered, else only those of second quality."""
    finish, value = width.finish, 0.0
    rolls = len(np.unique(cuts.roll))
    if isinstance(finish, Spliced):
        return rolls * finish.value - finish.loss_per_splice * (len(cuts.roll) - rolls)
    for length_m, second in zip((cuts.to_m - cuts.from_m).tolist(), cuts.second.tolist(), strict=True):
        if free and not second:
            continue
        if isinstance(finish, ByMetre):
            rate = finish.second_per_m if second else finish.value_per_m
            value += rate * length_m if length_m >= least_m - _SAME_M else 0.0
        else:
            one = min(finish.lengths, key=lambda one: abs(one.length_m - length_m))
            value += one.second_value if second else one.value
    return value


def _to_cut(lane: Lane, sold: Selling, along: tuple[float, float], cuts: Cuts) -> Iterator[tuple[float, float]]:
    """Film of first quality; where a finished roll could carry too many marks, only the pieces already found there."""
    first = [
        (a, b)
        for a, b, second in zip(*(c.tolist() for c in (cuts.from_m, cuts.to_m, cuts.second)), strict=True)
        if not second
    ]
    second = list(zip(lane.second_from.tolist(), lane.second_to.tolist(), strict=True))
    second += list(zip(cuts.from_m[cuts.second].tolist(), cuts.to_m[cuts.second].tolist(), strict=True))
    for start, end in clean_stretches_of(lane, sold, *along).tolist():
        for from_m, to_m in _without((start, end), sorted(second)):
            if _within_limits(lane, sold, from_m, to_m):
                yield from_m, to_m
            else:
                yield from ((a, b) for a, b in first if a >= from_m - _SAME_M and b <= to_m + _SAME_M)


def _without(stretch: tuple[float, float], taken: list[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    reach, end = stretch
    for from_m, to_m in taken:
        if min(from_m, end) > reach + _SAME_M:
            yield reach, min(from_m, end)
        reach = max(reach, to_m)
    if end > reach + _SAME_M:
        yield reach, end


def _within_limits(lane: Lane, sold: Selling, from_m: float, to_m: float) -> bool:
    """Whether all of a stretch could be one finished roll by its marks."""
    before = int(np.searchsorted(lane.mark_from, to_m, side="left"))
    gone = int(np.searchsorted(lane.mark_to, from_m, side="right"))
    return bool(np.all(lane.counted_from[before] - lane.counted_to[gone] <= sold.most))
