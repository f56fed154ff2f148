"""From the choice to finished rolls: every roll cut, its finished rolls given to the orders, the surplus left."""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import linprog

from wideroll.slitting.book_layout import StretchToCut
from wideroll.slitting.book_master import Chosen, Key, Pattern, Pool, key_of, only_pattern
from wideroll.slitting.book_model import RollOfOrder
from wideroll.slitting.book_request import Book
from wideroll.slitting.book_rolls import RawRoll, SlitRoll, base_of, cut_roll, stays
from wideroll.slitting.lane import Ints

__all__ = ["Filled", "finish_book"]

_NOTHING: Final = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filled:
    """The rolls that are slit, by their place in the sequence; the finished rolls of each order; the surplus (G,)."""

    slit: Mapping[int, SlitRoll]
    rolls: tuple[tuple[RollOfOrder, ...], ...]
    surplus: Ints


def finish_book(pool: Pool, chosen: Chosen) -> Filled:
    """Cut every roll as chosen and give its finished rolls to the orders."""
    book = pool.book
    slit = dict(sorted(_slit_rolls(pool, chosen)))
    made = np.zeros((len(book.goods), book.days), dtype=np.int64)
    for one in slit.values():
        for good in (good for _, good in stays(book, one.base) if good is not None):
            made[good, one.day] += 1
        for _, counts in one.cuts:
            made[:, one.day] += counts
    fills = _assign(book, made)
    used = np.zeros_like(made)
    np.add.at(used, np.array(book.good_of, dtype=np.int64), fills)
    _leave_surplus(book, slit, made - used)
    for one in slit.values():
        cut_roll(book, one)
    rolls = _give(book, slit, fills)
    kept = [raw.good for one in slit.values() for raw in one.raw if raw.good is not None]
    surplus = np.bincount(kept, minlength=len(book.goods)) - used.sum(axis=1)
    return Filled(slit=slit, rolls=rolls, surplus=surplus)


def _slit_rolls(pool: Pool, chosen: Chosen) -> Iterator[tuple[int, SlitRoll]]:
    """The chosen layouts given to the rolls of their kind, the patterns to the stretches of their size.

    Layouts that came into the pool after the choice are in no roll.
    """
    book = pool.book
    free = [iter(kind.members) for kind in book.classes]
    waiting = {
        pair: iter([pattern for pattern, times in sorted(cuts.items(), reverse=True) for _ in range(times)])
        for pair, cuts in chosen.cuts.items()
    }
    for layout, count in zip(pool.layouts, chosen.layouts.tolist(), strict=False):
        day = book.classes[layout.roll].day
        for member in itertools.islice(free[layout.roll], count):
            cuts = [(stretch, list(_pattern(book, day, stretch, waiting))) for stretch in layout.stretches]
            yield member, SlitRoll(layout=layout, day=day, cuts=cuts, base=base_of(layout))


def _pattern(
    book: Book, day: int, stretch: StretchToCut, waiting: Mapping[tuple[int, Key], Iterator[Pattern]]
) -> Pattern:
    nothing = (0,) * len(book.goods)
    key = key_of(book, stretch)
    if key is None:
        return nothing
    return only_pattern(book, key) or next(waiting.get((day, key), iter(())), nothing)


def _assign(book: Book, made: Ints) -> Ints:
    """(O, days) how many finished rolls made on a day fill each order, so that they earn most: a transport problem."""
    orders, goods, days = len(book.orders), len(book.goods), book.days
    if not orders:
        return np.zeros((0, days), dtype=np.int64)
    floor = np.repeat([good.floor for good in book.goods], days)
    gain = (book.worth + book.short_cost[:, None]).ravel() - floor.reshape(goods, days)[list(book.good_of)].ravel()
    supply, demand = np.zeros((goods * days, orders * days)), np.zeros((orders, orders * days))
    for order, day in itertools.product(range(orders), range(days)):
        supply[book.good_of[order] * days + day, order * days + day] = 1.0
        demand[order, order * days + day] = 1.0
    found = linprog(
        -gain,
        A_ub=np.vstack([supply, demand]),
        b_ub=np.concatenate([made.ravel(), book.quantity]),
        method="highs-ds",
    )
    fills: Ints = np.rint(found.x).astype(np.int64).reshape(orders, days)
    return fills


def _leave_surplus(book: Book, slit: Mapping[int, SlitRoll], surplus: Ints) -> None:
    """Take what no order is left for out of the last stretches, where it is worth no more than the film uncut."""
    left = surplus.copy()
    for one in reversed(list(slit.values())):
        for _, counts in reversed(one.cuts):
            for number, good in enumerate(book.goods):
                if good.bulk or good.floor <= _NOTHING:
                    out = min(counts[number], int(left[number, one.day]))
                    counts[number] -= out
                    left[number, one.day] -= out


def _give(book: Book, slit: Mapping[int, SlitRoll], fills: Ints) -> tuple[tuple[RollOfOrder, ...], ...]:
    """The finished rolls of each order; those due first are served first from what is made first."""
    ready: dict[tuple[int, int], list[tuple[int, RawRoll]]] = {}
    for member, one in slit.items():
        for raw in one.raw:
            if raw.good is not None:
                ready.setdefault((raw.good, one.day), []).append((member, raw))
    waiting = {key: iter(rolls) for key, rolls in ready.items()}
    given: list[list[RollOfOrder]] = [[] for _ in book.orders]
    due = sorted(range(len(book.orders)), key=lambda order: (book.orders[order].due or "9", order))
    for order, day in itertools.product(due, range(book.days)):
        for member, raw in itertools.islice(waiting.get((book.good_of[order], day), iter(())), int(fills[order, day])):
            raw.value = float(book.worth[order, day]) - raw.lost
            raw.order = book.orders[order].number
            given[order].append(
                RollOfOrder(wide_roll=book.rolls[member].name, number=raw.number, late=book.late[order][day])
            )
    return tuple(tuple(sorted(one, key=lambda roll: (roll.late, roll.wide_roll, roll.number))) for one in given)
