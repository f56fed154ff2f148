"""The search for the cut that serves the book best: price every kind of roll, mix, price again; then whole rolls."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.slitting.book_layout import best_rates, open_desk, price_roll
from wideroll.slitting.book_master import Chosen, Pool, choose, lowest_prices, solve_prices
from wideroll.slitting.book_request import Book
from wideroll.slitting.bound import bound_of
from wideroll.slitting.desk import CutDesk
from wideroll.slitting.lane import Floats

__all__ = ["Found", "search_book"]

_HALF: Final = 0.5
_LEAST_GAP: Final = 1e-7
_SHARE_OF_GAP: Final = 0.25
_PRICED_A_DIVE: Final = 4
_WAYS: Final = 40
"""Sizes of stretches that can be cut in no more ways than this have all of them tried in the end."""
_SAME: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The pool with the choice among it, and the bounds."""

    pool: Pool
    desks: tuple[CutDesk, ...]
    chosen: Chosen
    bound: float
    bound_anywhere: float
    rounds: int
    timed_out: bool


def search_book(book: Book) -> Found:
    """Search until the gap is reached, nothing new is found, or the rounds are used up.

    For any prices of the finished rolls the best that every roll can earn at them, and every order above them, add up
    to a bound; the least over all rounds is kept.
    """
    desks = tuple(open_desk(book, kind) for kind in book.classes)
    pool = Pool(book)
    bound, prices, rounds, film = _mix(pool, desks)
    anywhere = max(bound, _bound_anywhere(book, desks, prices))
    seconds = book.terms.seconds * _HALF
    chosen = choose(pool, bound=bound, missing=_may_miss(book, film, _HALF), seconds=seconds)
    if not _is_close(book, bound, chosen.value, chosen.film):
        _dive(pool, desks)
        pool.cut_all_ways(_WAYS)
        again = choose(pool, bound=bound, missing=_LEAST_GAP * (bound - book.nothing), seconds=seconds)
        chosen = max(chosen, again, key=lambda one: one.value)
    return Found(
        pool=pool,
        desks=desks,
        chosen=chosen,
        bound=bound,
        bound_anywhere=anywhere,
        rounds=rounds,
        timed_out=chosen.timed_out,
    )


def _may_miss(book: Book, film: float, share: float) -> float:
    return max(share * book.terms.gap, _LEAST_GAP) * film


def _is_close(book: Book, bound: float, value: float, film: float, share: float = 1.0) -> bool:
    """Whether a value is within a share of the wanted gap, which is counted of what the film could earn."""
    return bound - value <= _may_miss(book, film + bound - value, share)


def _mix(pool: Pool, desks: Sequence[CutDesk]) -> tuple[float, Floats, int, float]:
    """Fill the pool; the least bound, the prices that gave it, the rounds, and what the film of the mixture earns."""
    book = pool.book
    prices = centre = lowest_prices(book, _first_prices(book))
    best, rounds, smooth, film = np.inf, 0, False, 0.0
    while rounds < book.terms.rounds:
        rounds += 1
        bound, new = _price_all(pool, desks, prices)
        if bound < best:
            best, centre = bound, prices
        pool.cut_at(prices)
        mixed = solve_prices(pool)
        film = mixed.film
        if _is_close(book, float(best), mixed.value, mixed.film, _SHARE_OF_GAP):
            break
        if not new and not smooth:
            break
        smooth = new
        prices = lowest_prices(book, _HALF * (centre + mixed.prices)) if smooth else mixed.prices
    return float(best), centre, rounds, film


def _dive(pool: Pool, desks: Sequence[CutDesk]) -> None:
    """Settle the mixture roll by roll, with new layouts for what is still to be served; they are added to the pool."""
    book = pool.book
    settled = np.zeros(len(pool.layouts))
    for _ in book.rolls:
        mixed = solve_prices(pool, settled)
        for _ in range(_PRICED_A_DIVE):
            if not _price_all(pool, desks, mixed.prices)[1]:
                break
            settled = np.concatenate([settled, np.zeros(len(pool.layouts) - settled.size)])
            mixed = solve_prices(pool, settled)
        down = np.floor(mixed.layouts + _SAME)
        parts = mixed.layouts - down
        if down.sum() <= settled.sum() + _SAME:
            if parts.max(initial=0.0) < _SAME:
                return
            down[np.argmax(parts)] += 1.0
        settled = down
        if settled.sum() >= len(book.rolls):
            return


def _price_all(pool: Pool, desks: Sequence[CutDesk], prices: Floats) -> tuple[float, bool]:
    """Price every kind of roll: the bound at these prices, and whether a layout was new."""
    book, new = pool.book, False
    bound = _orders_side(book, prices)
    for number, (kind, desk) in enumerate(zip(book.classes, desks, strict=True)):
        net, layout = price_roll(book, desk, number, prices[:, kind.day])
        bound += len(kind.members) * net
        new |= pool.add(layout)
    return bound, new


def _orders_side(book: Book, prices: Floats) -> float:
    """What the orders can earn at most above the prices of the finished rolls that fill them."""
    above = (book.worth - prices[list(book.good_of)]).max(axis=1, initial=-np.inf)
    return float(np.sum(book.quantity * np.maximum(above, -book.short_cost)))


def _first_prices(book: Book) -> Floats:
    prices = book.floors
    for order, good in enumerate(book.good_of):
        prices[good] = np.maximum(prices[good], book.worth[order])
    return prices


def _bound_anywhere(book: Book, desks: Sequence[CutDesk], prices: Floats) -> float:
    bound = _orders_side(book, prices)
    for kind, desk in zip(book.classes, desks, strict=True):
        bound += len(kind.members) * max(bound_of(best_rates(book, desk, prices[:, kind.day])), 0.0)
    return bound
