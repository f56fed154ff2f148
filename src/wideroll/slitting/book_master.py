"""The choice among layouts and patterns: the linear programme for prices, the mixed-integer one for the plan."""

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array

from wideroll.slitting.book_layout import Layout, StretchToCut, real_name
from wideroll.slitting.book_patterns import best_patterns, full_patterns, units_of
from wideroll.slitting.book_request import Book
from wideroll.slitting.lane import Floats, Ints
from wideroll.slitting.model import ByMetre

__all__ = [
    "Chosen",
    "Key",
    "Pattern",
    "Pool",
    "Prices",
    "choose",
    "key_of",
    "lowest_prices",
    "only_pattern",
    "solve_prices",
]

_MM: Final = 1000.0
_SAME_M: Final = 1e-9
_TIME_IS_UP: Final = 1

Key = tuple[str, int]
"""Stretches cut alike: width and size, in the measure of its lengths (bulk: in whole millimetres)."""

_Entry = tuple[int, int, float]
"""Row, column and value of a sparse matrix."""

Pattern = tuple[int, ...]
"""How many finished rolls of each kind (G,) a stretch is cut into."""


@dataclass(slots=True)
class Pool:
    """What the choice is among: layouts, and for each size of stretch the patterns found so far."""

    book: Book
    layouts: list[Layout] = field(default_factory=list)
    groups: list[dict[Key, int]] = field(default_factory=list)
    """For each layout, how many stretches there are of each size that can be cut in several ways."""
    made: list[Floats] = field(default_factory=list)
    """For each layout, the finished rolls (G,) that it gives in any case."""
    patterns: dict[Key, dict[Pattern, float]] = field(default_factory=dict)
    """With the value of the film that is left of the stretch."""
    seen: set[object] = field(default_factory=set)

    def add(self, layout: Layout) -> bool:
        """Take a layout in; False where it was there."""
        sign = layout.roll, tuple((along, tuple(lanes)) for along, lanes in layout.sets)
        if sign in self.seen or not layout.sets:
            return False
        self.seen.add(sign)
        groups: dict[Key, int] = {}
        made = layout.made.copy()
        for key in (key_of(self.book, stretch) for stretch in layout.stretches):
            only = only_pattern(self.book, key) if key else None
            if only is not None:
                made += only
            elif key is not None:
                groups[key] = groups.get(key, 0) + 1
                self.patterns.setdefault(key, {})
                self._keep(key, (0,) * len(self.book.goods))
        self.layouts.append(layout)
        self.groups.append(groups)
        self.made.append(made)
        return True

    def cut_at(self, prices: Floats) -> bool:
        """Add the best pattern of every size at prices (G, days); False where nothing is new."""
        new = False
        for width in dict.fromkeys(key[0] for key in self.patterns):
            keys = [key for key in self.patterns if key[0] == width]
            for day in range(self.book.days):
                for key, pattern in zip(keys, self._best(width, keys, prices[:, day]), strict=True):
                    new |= self._keep(key, pattern)
        return new

    def cut_all_ways(self, most: int) -> None:
        """Add every pattern that leaves no room for another finished roll, of sizes that have at most so many."""
        for key in self.patterns:
            mine = _lengths_of(self.book, key[0])
            units, size = self._measured(mine, key)
            ways = list(itertools.islice(full_patterns(tuple(units.tolist()), size), most + 1))
            for counts in ways if len(ways) <= most else ():
                self._keep(key, self._pattern(mine, counts))

    def _measured(self, mine: list[int], key: Key) -> tuple[Ints, int]:
        """What each length takes of a stretch and how much that holds, in one measure."""
        unit_m, units = units_of(tuple(self.book.goods[number].length_m for number in mine))
        return units, key[1] // (round(unit_m * _MM) if self.book.goods[mine[0]].bulk else 1)

    def _pattern(self, mine: list[int], counts: Iterable[int]) -> Pattern:
        pattern = [0] * len(self.book.goods)
        for number, count in zip(mine, counts, strict=True):
            pattern[number] = count
        return tuple(pattern)

    def _keep(self, key: Key, pattern: Pattern) -> bool:
        if pattern in self.patterns[key]:
            return False
        self.patterns[key][pattern] = _rest_value(self.book, key, pattern)
        return True

    def _best(self, width: str, keys: list[Key], prices: Floats) -> Iterator[Pattern]:
        mine = _lengths_of(self.book, width)
        goods = [self.book.goods[number] for number in mine]
        units = self._measured(mine, keys[0])[0]
        sizes = np.array([self._measured(mine, key)[1] for key in keys], dtype=np.int64)
        floors = np.array([good.floor if good.bulk else 0.0 for good in goods])
        for row in best_patterns(units, prices[mine] - floors, sizes):
            yield self._pattern(mine, row.tolist())


def _lengths_of(book: Book, width: str) -> list[int]:
    """The kinds of finished rolls that are cut from whole stretches of a width."""
    return [n for n, good in enumerate(book.goods) if good.width == real_name(width) and not good.spliced]


def key_of(book: Book, stretch: StretchToCut) -> Key | None:
    """Which stretches a stretch is cut like; None where it is too short for anything."""
    goods = [book.goods[number] for number in _lengths_of(book, stretch.width)]
    unit_m, units = units_of(tuple(good.length_m for good in goods))
    if goods[0].bulk:
        size_mm = int((stretch.length_m + _SAME_M) * _MM)
        shortest_m = min(book.rules.least_piece_m, *(good.length_m for good in goods))
        return (stretch.width, size_mm) if size_mm / _MM >= shortest_m - _SAME_M else None
    size = int((stretch.length_m + _SAME_M) / unit_m)
    return (stretch.width, size) if size >= units.min() else None


def only_pattern(book: Book, key: Key) -> Pattern | None:
    """The pattern of stretches that hold but one kind of finished roll; None where there is a choice."""
    mine = _lengths_of(book, key[0])
    units = units_of(tuple(book.goods[number].length_m for number in mine))[1]
    fit = [(number, key[1] // int(unit)) for number, unit in zip(mine, units, strict=True) if unit <= key[1]]
    if book.goods[mine[0]].bulk or len(fit) != 1:
        return None
    return tuple(fit[0][1] if number == fit[0][0] else 0 for number in range(len(book.goods)))


def _rest_value(book: Book, key: Key, pattern: Pattern) -> float:
    """What film by the metre is left of a stretch is worth."""
    width = next(width for width in book.widths if width.name == real_name(key[0]))
    if not isinstance(width.finish, ByMetre):
        return 0.0
    taken = sum(count * good.length_m for count, good in zip(pattern, book.goods, strict=True))
    rest_m = key[1] / _MM - taken
    return rest_m * width.finish.value_per_m if rest_m >= book.rules.least_piece_m - _SAME_M else 0.0


class Prices(NamedTuple):
    """What the best mixture of layouts is worth, and what one more finished roll of each kind and day would add.

    ``film`` is the value before short orders are paid for.
    """

    value: float
    film: float
    prices: Floats
    layouts: Floats
    """(P,) how many rolls of each layout, in parts."""


class Chosen(NamedTuple):
    """How many rolls of each layout (P,), and for each day and size how many stretches are cut to which pattern.

    ``film`` is the value before short orders are paid for.
    """

    layouts: Ints
    cuts: dict[tuple[int, Key], dict[Pattern, int]]
    value: float
    film: float
    timed_out: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """Columns: layouts, cuts, fills (O, days), over (G, days), short (O). All rows but the orders' are at most.

    ``gain`` is above the value of slitting nothing: a fill also saves what being short would cost.
    ``first`` is where each kind of column begins. Rows: kinds of rolls, stretches by day and size (no
    matter which layout they come from), finished rolls by kind and day.
    """

    cuts: list[tuple[int, Key, Pattern]]
    first: list[int]
    links: int
    gain: Floats
    at_most: csr_array
    limits: Floats
    orders: csr_array


def _model(pool: Pool) -> _Model:
    book = pool.book
    days = [book.classes[layout.roll].day for layout in pool.layouts]
    pairs = list(dict.fromkeys((day, key) for day, groups in zip(days, pool.groups, strict=True) for key in groups))
    cuts = [(day, key, pattern) for day, key in pairs for pattern in pool.patterns[key]]
    orders, goods = len(book.orders), len(book.goods)
    sizes = (len(pool.layouts), len(cuts), orders * book.days, goods * book.days, orders)
    first = [0, *itertools.accumulate(sizes)]
    links = len(book.classes) + len(pairs)
    entries = [
        *_layout_entries(pool, pairs, links),
        *_cut_entries(pool, pairs, cuts, links),
        *_fill_entries(book, first, links),
    ]
    filling = [(o, first[2] + o * book.days + day, 1.0) for o in range(orders) for day in range(book.days)]
    filling += [(o, first[4] + o, 1.0) for o in range(orders)]
    limits = np.zeros(links + goods * book.days)
    limits[: len(book.classes)] = [len(kind.members) for kind in book.classes]
    left = [pool.patterns[key][pattern] for _, key, pattern in cuts]
    fixed = [layout.fixed for layout in pool.layouts]
    filled = book.worth + book.short_cost[:, None]
    return _Model(
        cuts=cuts,
        first=first,
        links=links,
        gain=np.concatenate([fixed, left, filled.ravel(), book.floors.ravel(), np.zeros(orders)]),
        at_most=_sparse(entries, (limits.size, first[-1])),
        limits=limits,
        orders=_sparse(filling, (orders, first[-1])),
    )


def _layout_entries(pool: Pool, pairs: list[tuple[int, Key]], links: int) -> Iterator[_Entry]:
    """Each layout takes a roll, gives stretches to cut, and makes what it makes in any case."""
    days, kinds = pool.book.days, pool.book.classes
    row = {pair: number for number, pair in enumerate(pairs, start=len(kinds))}
    for p, layout in enumerate(pool.layouts):
        yield layout.roll, p, 1.0
        for key, count in pool.groups[p].items():
            yield row[kinds[layout.roll].day, key], p, -float(count)
        for good in np.flatnonzero(pool.made[p]).tolist():
            yield links + good * days + kinds[layout.roll].day, p, -float(pool.made[p][good])


def _cut_entries(
    pool: Pool, pairs: list[tuple[int, Key]], cuts: list[tuple[int, Key, Pattern]], links: int
) -> Iterator[_Entry]:
    """Each cut takes a stretch of its size, and makes its finished rolls."""
    days, kinds = pool.book.days, pool.book.classes
    row = {pair: number for number, pair in enumerate(pairs, start=len(kinds))}
    for at, (day, key, pattern) in enumerate(cuts, start=len(pool.layouts)):
        yield row[day, key], at, 1.0
        for good, count in enumerate(pattern):
            if count:
                yield links + good * days + day, at, -float(count)


def _fill_entries(book: Book, first: list[int], links: int) -> Iterator[_Entry]:
    """What fills orders, and what is over, must be made."""
    for day in range(book.days):
        for order, good in enumerate(book.good_of):
            yield links + good * book.days + day, first[2] + order * book.days + day, 1.0
        for good in range(len(book.goods)):
            yield links + good * book.days + day, first[3] + good * book.days + day, 1.0


def _sparse(entries: list[_Entry], shape: tuple[int, int]) -> csr_array:
    rows, columns, values = zip(*entries, strict=True) if entries else ((), (), ())
    at = np.array(rows, dtype=np.int64), np.array(columns, dtype=np.int64)
    return csr_array(coo_array((np.array(values, dtype=np.float64), at), shape=shape))


def lowest_prices(book: Book, prices: Floats) -> Floats:
    """Prices (G, days) raised to what a finished roll is worth without an order: a bound needs that."""
    return np.maximum(prices, book.floors)


def solve_prices(pool: Pool, least: Floats | None = None) -> Prices:
    """The best mixture of layouts and patterns, parts of rolls allowed; patterns are added while they help.

    ``least`` (P,) are the rolls of each layout that are settled already.
    """
    while True:
        model = _model(pool)
        lower = np.zeros(model.gain.size)
        if least is not None:
            lower[: least.size] = least
        found = linprog(
            -model.gain,
            A_ub=model.at_most,
            b_ub=model.limits,
            A_eq=model.orders,
            b_eq=pool.book.quantity,
            bounds=np.stack([lower, np.full(lower.size, np.inf)], axis=1),
            method="highs",
        )
        prices = lowest_prices(pool.book, -found.ineqlin.marginals[model.links :].reshape(-1, pool.book.days))
        if not pool.cut_at(prices):
            value = pool.book.nothing - float(found.fun)
            short = float(pool.book.short_cost @ found.x[model.first[4] :])
            return Prices(value, value + short, prices, found.x[: len(pool.layouts)])


def choose(pool: Pool, *, bound: float, missing: float, seconds: float) -> Chosen:
    """The best choice of whole rolls and stretches; the search ends where no more than ``missing`` can be gained."""
    model, wanted = _model(pool), pool.book.quantity
    layouts = len(pool.layouts)
    whole = np.zeros(model.gain.size)
    whole[: layouts + len(model.cuts)] = 1.0
    found = milp(
        -model.gain,
        integrality=whole,
        bounds=Bounds(0.0, np.inf),
        constraints=[
            LinearConstraint(model.at_most, ub=model.limits),
            LinearConstraint(model.orders, wanted, wanted),
        ],
        options={"mip_rel_gap": missing / max(bound - pool.book.nothing, missing), "time_limit": seconds},
    )
    x = np.zeros(model.gain.size) if found.x is None else found.x
    taken = np.rint(x)
    cuts: dict[tuple[int, Key], dict[Pattern, int]] = {}
    for (day, key, pattern), count in zip(model.cuts, taken[layouts:].astype(np.int64).tolist(), strict=False):
        if count:
            cuts.setdefault((day, key), {})[pattern] = count
    value = -np.inf if found.x is None else pool.book.nothing - float(found.fun)
    film = value + float(pool.book.short_cost @ x[model.first[4] :])
    return Chosen(taken[:layouts].astype(np.int64), cuts, value, film, found.status == _TIME_IS_UP)
