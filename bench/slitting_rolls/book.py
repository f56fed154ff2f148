"""An invented order book over ten flawed rolls, against orders served greedily from the best plans roll by roll."""

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    BookPlan,
    BookTerms,
    ByLength,
    CutRules,
    FinishedLength,
    FinishedRoll,
    Order,
    SlitWidth,
    WideRoll,
    plan_book,
    plan_cut,
)

__all__ = ["BookFigures", "book_figures", "greedy_book", "invented_book"]

_WIDTH_MM = 1380.0
_LEAST_REST_M = 30.0
_GAP = 0.002
"""Tighter than usual: the greedy cut is often within 1 % of the bound itself."""
_LENGTH_M = 2000.0
_LENGTHS = {"61.5 mm": (30.0, 60.0), "34.975 mm": (120.0, 300.0), "15.95 mm": (60.0, 120.0)}
_WORTH_PER_M = {"61.5 mm": 1.9, "34.975 mm": 1.0, "15.95 mm": 0.42}


@dataclass(frozen=True, slots=True, kw_only=True)
class BookFigures:
    """What the book earns, its gap to the proven bound, seconds, and what serving orders greedily earns."""

    value: float
    bound: float
    gap: float
    seconds: float
    cpu_seconds: float
    greedy_value: float
    short: int
    greedy_short: int
    wanted: int
    late: int
    rounds: int


def invented_book(seed: int, rolls: int = 10) -> tuple[list[WideRoll], list[Order], list[SlitWidth], CutRules]:
    """Rolls of 1.38 m by 2,000 m with streaks, dirty stretches and patches, slit one a day, and 12 orders."""
    rng = np.random.Generator(np.random.PCG64(seed))
    widths = [
        SlitWidth(
            name=name,
            width_mm=float(name.split()[0]),
            tolerance_mm=0.05,
            finish=ByLength(
                lengths=tuple(FinishedLength(length_m=m, value=0.7 * _WORTH_PER_M[name] * m) for m in lengths)
            ),
        )
        for name, lengths in _LENGTHS.items()
    ]
    waiting = [
        WideRoll(
            name=f"W-{number + 1}",
            whole=_extent((0.0, _LENGTH_M), (0.0, _WIDTH_MM)),
            avoid=tuple(_flaws(rng)),
            day=f"2026-12-{number + 1:02d}",
        )
        for number in range(rolls)
    ]
    return waiting, _orders(rng, rolls), widths, CutRules(most_cross_cuts=8)


def _orders(rng: np.random.Generator, rolls: int) -> list[Order]:
    """Twelve lines that together want about nine tenths of the area."""
    kinds = [(name, m) for name, lengths in _LENGTHS.items() for m in (*lengths, lengths[-1] * 1.5)]
    kinds += [("34.975 mm", 120.0), ("61.5 mm", 60.0), ("15.95 mm", 120.0)]
    share = rng.dirichlet(np.full(len(kinds), 3.0)) * 0.9 * rolls * _WIDTH_MM * _LENGTH_M
    orders = []
    for number, ((name, length_m), area) in enumerate(zip(kinds, share, strict=True), start=1):
        due = f"2026-12-{int(rng.integers(2, rolls + 1)):02d}" if number % 3 == 0 else ""
        orders.append(
            Order(
                number=f"O-{number}",
                product="p",
                width=name,
                length_m=length_m,
                quantity=max(int(area / (float(name.split()[0]) * length_m)), 1),
                due=due,
                value=float(_WORTH_PER_M[name] * length_m * rng.uniform(0.9, 1.2)),
            )
        )
    return orders


def _flaws(rng: np.random.Generator) -> list[Avoid]:
    flaws = []
    for _ in range(int(rng.integers(1, 4))):
        along, across = rng.uniform(0.0, _LENGTH_M), rng.uniform(0.0, _WIDTH_MM - 20.0)
        ends = (along, _LENGTH_M) if rng.random() < 0.5 else (0.0, along)
        flaws.append(Avoid(extent=_extent(ends, (across, across + rng.uniform(2.0, 12.0))), reason="streak"))
    for _ in range(int(rng.integers(1, 3))):
        along = rng.uniform(0.0, _LENGTH_M - 70.0)
        flaws.append(Avoid(extent=_extent((along, along + rng.uniform(1.0, 60.0)), (0.0, _WIDTH_MM)), reason="dirt"))
    for _ in range(int(rng.integers(1, 5))):
        along, across = rng.uniform(0.0, _LENGTH_M - 5.0), rng.uniform(0.0, _WIDTH_MM - 60.0)
        flaws.append(Avoid(extent=_extent((along, along + 3.0), (across, across + 40.0)), reason="patch"))
    return flaws


def _extent(along: tuple[float, float], across: tuple[float, float]) -> Extent:
    return Extent(along_from_m=along[0], along_to_m=along[1], across_from_mm=across[0], across_to_mm=across[1])


def greedy_book(
    rolls: Sequence[WideRoll],
    orders: Sequence[Order],
    *,
    widths: Sequence[SlitWidth],
    rules: CutRules,
    terms: BookTerms,
) -> tuple[float, int]:
    """Value and finished rolls short when each roll in turn gets its best plan for the orders still open.

    Open orders count at their value, lengths without one at what surplus is worth; each finished roll then fills the
    order that pays most. Where an order is filled before the roll is at its end, the rest of the roll is planned anew
    without it, with no set-up lost and around the finished rolls that have begun, or the plan is kept and the surplus
    taken: whichever is worth more on that roll.
    """
    left, value = Counter({order.number: order.quantity for order in orders}), 0.0
    for roll in rolls:
        late = {order.number: bool(order.due) and order.due < roll.day for order in orders}
        worth = {o.number: o.value * (1.0 - terms.late_share if late[o.number] else 1.0) for o in orders}
        shop = _Shop(roll=roll, orders=orders, widths=widths, rules=rules, terms=terms, worth=worth)
        earned, left = max((_serve(shop, left, anew=anew) for anew in (False, True)), key=lambda one: one[0])
        value += earned
    unserved = sum(order.quantity * order.value * terms.short_share for order in orders)
    return value - unserved, sum(left.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shop:
    """A roll at the slitter, and what a finished roll of each order is worth from it."""

    roll: WideRoll
    orders: Sequence[Order]
    widths: Sequence[SlitWidth]
    rules: CutRules
    terms: BookTerms
    worth: dict[str, float]


def _serve(shop: _Shop, left: Counter[str], *, anew: bool) -> tuple[float, Counter[str]]:
    """What a roll earns, short orders it saves included, and what is still wanted."""
    left, value, in_use, rest = left.copy(), 0.0, list[Extent](), [shop.roll.whole]
    while rest:
        whole = rest.pop()
        open_now = [order for order in shop.orders if left[order.number]]
        taken = [Avoid(extent=extent, reason="in use") for extent in in_use]
        avoid = [one for one in (*shop.roll.avoid, *taken) if one.extent.meet(whole) is not None]
        plan = plan_cut(whole, avoid=avoid, widths=_at_orders(shop, open_now), rules=shop.rules)
        ends = {piece.number: piece.extent for piece in plan.pieces}
        for made in sorted(plan.rolls, key=lambda roll: -ends[roll.number].along_to_m):
            reach = ends[made.number].along_to_m
            fits = [o for o in open_now if _is_like(made, o.width, o.length_m)]
            wanted = [order for order in fits if left[order.number]]
            if anew and fits and not wanted and reach - whole.along_from_m > _LEAST_REST_M:
                rest.append(replace(whole, along_to_m=reach))
                break
            best = max(wanted, key=lambda order: shop.worth[order.number], default=None)
            in_use.append(ends[made.number])
            if best is None:
                value += _ordinary(shop, made)
            else:
                left[best.number] -= 1
                value += shop.worth[best.number] + best.value * shop.terms.short_share
        value -= plan.cost
    return value, left


def _ordinary(shop: _Shop, made: FinishedRoll) -> float:
    return next(
        one.value
        for width in _at_orders(shop, [])
        if isinstance(width.finish, ByLength)
        for one in width.finish.lengths
        if _is_like(made, width.name, one.length_m)
    )


def _is_like(made: FinishedRoll, width: str, length_m: float) -> bool:
    return made.width == width and abs(made.length_m - length_m) < 1e-6


def _at_orders(shop: _Shop, open_now: Sequence[Order]) -> list[SlitWidth]:
    """The widths with every ordered length, each at the best open order or at what surplus is worth."""
    at, orders, worth = [], shop.orders, shop.worth
    for width in shop.widths:
        assert isinstance(width.finish, ByLength)
        own = {one.length_m: one.value for one in width.finish.lengths}
        values: dict[float, float] = {}
        for length_m in {*own, *(order.length_m for order in orders if order.width == width.name)}:
            asked = [order for order in orders if (order.width, order.length_m) == (width.name, length_m)]
            ordinary = own.get(length_m, min((order.value for order in asked), default=0.0))
            values[length_m] = ordinary * (1.0 - shop.terms.over_share) if asked else ordinary
            wanted = [o for o in open_now if (o.width, o.length_m) == (width.name, length_m)]
            saved = {o.number: worth[o.number] + o.value * shop.terms.short_share for o in wanted}
            values[length_m] = max(saved.values(), default=values[length_m])
        lengths = tuple(FinishedLength(length_m=m, value=v) for m, v in sorted(values.items()))
        at.append(replace(width, finish=ByLength(lengths=lengths)))
    return at


def book_figures(seed: int = 7, rolls: int = 10) -> BookFigures:
    """Plan the invented book, and serve it greedily; the compiled code is warmed up before."""
    waiting, orders, widths, rules = invented_book(seed, rolls)
    terms = BookTerms(gap=_GAP)
    plan_book(waiting[:1], orders[:2], widths=widths, rules=rules, terms=BookTerms(rounds=1))
    began, cpu_began = time.perf_counter(), time.process_time()
    book: BookPlan = plan_book(waiting, orders, widths=widths, rules=rules, terms=terms)
    seconds, cpu_seconds = time.perf_counter() - began, time.process_time() - cpu_began
    greedy_value, greedy_short = greedy_book(waiting, orders, widths=widths, rules=rules, terms=terms)
    return BookFigures(
        value=book.value,
        bound=book.bound,
        gap=book.gap,
        seconds=seconds,
        cpu_seconds=cpu_seconds,
        greedy_value=greedy_value,
        short=sum(fill.short for fill in book.fills),
        greedy_short=greedy_short,
        wanted=sum(order.quantity for order in orders),
        late=sum(fill.late for fill in book.fills),
        rounds=book.rounds,
    )
