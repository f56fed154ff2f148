"""An invented order book over ten flawed rolls, against orders served greedily from the best plans roll by roll."""

import time
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
    order that pays most.
    """
    left = {order.number: order.quantity for order in orders}
    value = 0.0
    for roll in rolls:
        worth = {
            order.number: order.value * (1.0 - terms.late_share if order.due and order.due < roll.day else 1.0)
            for order in orders
        }
        open_now = [order for order in orders if left[order.number]]
        plan = plan_cut(
            roll.whole, avoid=roll.avoid, widths=_at_orders(widths, orders, open_now, worth, terms), rules=rules
        )
        ordinary = _at_orders(widths, orders, [], worth, terms)
        for made in plan.rolls:
            fits = [o for o in orders if left[o.number] and _is_like(made, o.width, o.length_m)]
            best = max(fits, key=lambda order: worth[order.number], default=None)
            if best is None:
                value += next(
                    one.value for w in ordinary for one in w.finish.lengths if _is_like(made, w.name, one.length_m)
                )
            else:
                left[best.number] -= 1
                value += worth[best.number]
        value -= plan.cost
    short = sum(left.values())
    return value - sum(left[order.number] * order.value * terms.short_share for order in orders), short


def _is_like(made: FinishedRoll, width: str, length_m: float) -> bool:
    return made.width == width and abs(made.length_m - length_m) < 1e-6


def _at_orders(
    widths: Sequence[SlitWidth],
    orders: Sequence[Order],
    open_now: Sequence[Order],
    worth: dict[str, float],
    terms: BookTerms,
) -> list[SlitWidth]:
    """The widths with every ordered length, each at the best open order or at what surplus is worth."""
    at = []
    for width in widths:
        assert isinstance(width.finish, ByLength)
        own = {one.length_m: one.value for one in width.finish.lengths}
        values: dict[float, float] = {}
        for length_m in {*own, *(order.length_m for order in orders if order.width == width.name)}:
            asked = [order for order in orders if (order.width, order.length_m) == (width.name, length_m)]
            ordinary = own.get(length_m, min((order.value for order in asked), default=0.0))
            values[length_m] = ordinary * (1.0 - terms.over_share) if asked else ordinary
            wanted = [worth[o.number] for o in open_now if (o.width, o.length_m) == (width.name, length_m)]
            values[length_m] = max(wanted, default=values[length_m])
        lengths = tuple(FinishedLength(length_m=m, value=v) for m, v in sorted(values.items()))
        at.append(replace(width, finish=ByLength(lengths=lengths)))
    return at


def book_figures(seed: int = 7, rolls: int = 10) -> BookFigures:
    """Plan the invented book, and serve it greedily; the compiled code is warmed up before."""
    waiting, orders, widths, rules = invented_book(seed, rolls)
    terms = BookTerms()
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
