"""The slitter's rules once more, in whole numbers and without any cleverness: everything is tried.

Along it reckons in cells of a grid, across in micrometres, and money in the greatest coin that makes up all prices.
"""

import functools
import itertools
import math
from fractions import Fraction

from wideroll.slitting import ByLength, ByMetre, CrossCutAt, KnifeAt, WithoutWidth
from wideroll.slitting.knives import set_knives
from wideroll.slitting.regions import changes_of, lay_out, wished_changes
from wideroll.slitting.request import Request

__all__ = ["Bench", "candidates"]

_ROLL, _SPLICE = "a spliced roll", "a splice"


def candidates(asked):
    """Where the planner may set the knives anew, as (last coated metre before, first one after the web lost)."""
    request = Request(**{name: value if name in {"whole", "rules"} else tuple(value) for name, value in asked.items()})
    web, end_m = lay_out(request, set_knives(request)), request.whole.along_to_m
    found = {*wished_changes(web, request.rules.setup_m), *changes_of(request, web)}
    return sorted((end_m - change.begin_m, end_m - change.end_m) for change in found)


def _whole(number, unit):
    cells = Fraction(number) / unit
    if cells.denominator != 1:
        raise ValueError(number, unit)
    return int(cells)


class Bench:
    """A request on a grid of ``unit_m`` along, in slitter metres, and of micrometres across.

    With all given places and lengths on the grid, so is a best plan: where the order of the pieces is settled, all
    rules are bounds on sums of consecutive lengths, and such a system has whole solutions.
    """

    def __init__(self, whole, avoid, widths, rules, *, counts=(), wishes=(), unit_m=1):
        self.unit, self.whole = Fraction(unit_m), whole
        self.end = self._slit(whole.along_from_m)
        trim = self._um(rules.edge_trim_mm)
        self.low, self.high = self._um(whole.across_from_mm) + trim, self._um(whole.across_to_mm) - trim
        self.step, self.between = self._um(rules.knife_step_mm), self._um(rules.trim_between_mm)
        self.trim, self.strip = trim, self._um(rules.least_strip_mm)
        self.least, self.setup = self._cells(rules.least_piece_m), self._cells(rules.setup_m)
        self.run = self._cells(rules.run_m) if rules.run_m < whole.length_m else None
        gone = {wish.name for wish in wishes if isinstance(wish, WithoutWidth)}
        self.widths = [width for width in widths if width.name not in gone]
        self.wide = [self._um(width.width_mm) for width in self.widths]
        self.fixed = sorted({self._um(wish.across_mm) for wish in wishes if isinstance(wish, KnifeAt)})
        self.scale = sorted({*range(self.low, self.high + 1, self.step), *self.fixed})
        self.cuts = {self._slit(wish.along_m) for wish in wishes if isinstance(wish, CrossCutAt)}
        parts = [(part, one.downgrade) for one in avoid if (part := one.extent.meet(whole))]
        self.boxes = [(*self._box(part), second) for part, second in parts if part.area_m2 > 0]
        self.most = [limit.most for limit in counts]
        self.marks = [(*self._box(mark), number) for number, limit in enumerate(counts) for mark in limit.marks]
        minutes = Fraction(rules.stop_minutes), Fraction(rules.setup_minutes)
        self._set_prices([minute * Fraction(rules.value_per_minute) for minute in minutes])
        self.met = {}
        for method in (self.meets, self.film, self.worth, self.moves, self.layout, self.gains):
            setattr(self, method.__name__, functools.cache(method))

    def _set_prices(self, costs):
        """All that is paid, in coins: one for a stop, one for a change of knives, and each width's own."""
        prices = [self._prices(width.finish) for width in self.widths]
        amounts = [*costs, *itertools.chain.from_iterable(one.values() for one in prices)]
        self.coins = math.lcm(*(amount.denominator for amount in amounts))
        self.stop_costs, self.change_costs = (int(cost * self.coins) for cost in costs)
        self.prices = [{what: int(price * self.coins) for what, price in one.items()} for one in prices]

    def _prices(self, finish):
        """What a width is sold for: by (cells, second) where a piece is sold by itself."""
        if isinstance(finish, ByMetre):
            per_cell = [self.unit * Fraction(per_m) for per_m in (finish.value_per_m, finish.second_per_m)]
            return {(n, bool(q)): n * per_cell[q] for n in range(self.least, self.end + 1) for q in (0, 1)}
        if isinstance(finish, ByLength):
            found = {}
            for one, second in itertools.product(finish.lengths, (False, True)):
                at, value = (self._cells(one.length_m), second), one.second_value if second else one.value
                found[at] = max(found.get(at, Fraction(0)), Fraction(value))
            return found
        return {_ROLL: Fraction(finish.value), _SPLICE: Fraction(finish.loss_per_splice)}

    def _cells(self, length_m):
        return _whole(length_m, self.unit)

    def _slit(self, coated_m):
        return self._cells(Fraction(self.whole.along_to_m) - Fraction(coated_m))

    @staticmethod
    def _um(across_mm):
        return round(Fraction(across_mm) * 1000)

    def _box(self, part):
        along = self._slit(part.along_to_m), self._slit(part.along_from_m)
        return (*along, self._um(part.across_from_mm), self._um(part.across_to_mm))

    def meets(self, low, high):
        """The regions and the marks that a lane meets, by the number that they have in ``met``."""
        some = tuple(tuple(one for one in all_ if one[2] < high and one[3] > low) for all_ in (self.boxes, self.marks))
        return self.met.setdefault(some, len(self.met))

    def film(self, met, *, first_only):
        """From each place on, all that could be cut from such a lane if nothing ended it: (to, second, marks by limit).

        What carries more marks than a finished roll may is left out.
        """
        found, groups = [[] for _ in range(self.end)], list(self.met)[met]
        for start, pieces in enumerate(found):
            boxes_on, marks_on = ([one for one in some if one[1] > start] for some in groups)
            for to in range(start + 1, self.end + 1):
                under = [box for box in boxes_on if box[0] < to]
                counted = [0] * len(self.most)
                for mark in marks_on:
                    counted[mark[4]] += mark[0] < to
                if any(first_only or not box[4] for box in under) or self._too_many(counted):
                    break
                pieces.append((to, bool(under), tuple(counted)))
        return found

    def _too_many(self, counted):
        return any(n > most for n, most in zip(counted, self.most, strict=True))

    def _pieces(self, film, span):
        """The same within a knife set, where its end, stops and cuts end every piece: by the place it starts at."""
        begin, end = span
        stops = {*self.cuts, *(range(begin + self.run, end, self.run) if self.run else ()), end}
        for start in range(begin, end):
            reach = min(stop for stop in stops if stop > start)
            yield start, [piece for piece in film[start] if piece[0] <= reach]

    def worth(self, number, met, span):
        """Most coins for the film of a lane that meets these in a knife set, for one width."""
        finish = self.widths[number].finish
        if isinstance(finish, ByMetre | ByLength):
            return self._one_piece_a_roll(self.prices[number], self.film(met, first_only=False), span)
        return self._spliced(number, dict(self._pieces(self.film(met, first_only=True), span)), span)

    def _one_piece_a_roll(self, prices, film, span):
        best = {span[1]: 0}
        for start, pieces in reversed(list(self._pieces(film, span))):
            sold = [prices.get((to - start, second), 0) + best[to] for to, second, _ in pieces]
            best[start] = max(best[start + 1], *sold) if sold else best[start + 1]
        return best[span[0]]

    def _spliced(self, number, pieces, span):
        finish, prices = self.widths[number].finish, self.prices[number]
        length, apart = self._cells(finish.length_m), self._cells(finish.least_between_m)
        none = (0,) * len(self.most)

        @functools.cache
        def best(place, have, parts, counted):
            """From here on, with so much of a roll begun (none: 0), in so many parts that carry so many marks."""
            if place >= span[1]:
                return -math.inf if have else 0
            found = best(place + 1, have, parts, counted)
            for end, _, more in pieces[place]:
                cells, total = end - place, tuple(map(sum, zip(counted, more, strict=True)))
                if have + cells > length or self._too_many(total):
                    break
                if cells < apart and cells != length:
                    continue
                if have + cells == length:
                    value = prices[_ROLL] - parts * prices[_SPLICE]
                    found = max(found, value + best(end, 0, 0, none))
                elif parts < finish.most_splices:
                    found = max(found, best(end, have + cells, parts + 1, total))
            return found

        return best(span[0], 0, 0, none)

    def moves(self, before):
        """Each lane that may come after one that ends there (none: None): where it begins and ends, and its width."""
        reach = self.low if before is None else before + self.between
        found = []
        for start in sorted({*self.scale, *(() if before is None else (reach,))}):
            strip = start - self.low + self.trim if before is None else start - before
            if start < reach or not self._allowed(strip, self.trim if before is None else self.between):
                continue
            for number, wide in enumerate(self.wide):
                end = start + wide
                if end <= self.high and not any(start < knife < end for knife in self.fixed):
                    found.append((start, end, number, self.meets(start, end)))
        return found

    def _allowed(self, strip_um, usual_um):
        return strip_um == usual_um or strip_um >= max(usual_um, self.strip)

    def layout(self, span):
        """Most coins for any lanes side by side in a knife set; None where a fixed knife can't be at a border."""

        @functools.cache
        def best(before, unmet):
            """After a lane that ends there (none: None); ``unmet``: the fixed knives at which no border lies yet."""
            edge = self.high + self.trim - before if before is not None else self.trim
            found = 0 if not unmet and self._allowed(edge, self.trim) else None
            for start, end, number, met in self.moves(before):
                if unmet and start > unmet[0]:
                    break
                value = self.worth(number, met, span)
                if value > 0:
                    rest = best(end, tuple(k for k in unmet if k not in {start, end}) if unmet else ())
                    if rest is not None:
                        found = value + rest if found is None else max(found, value + rest)
            return found

        return best(None, tuple(self.fixed))

    def gains(self, span):
        """Coins for a knife set's film less what its stops cost; None where the knives can't be set."""
        worth, (begin, end) = self.layout(span), span
        stops = -(-(end - begin) // self.run) - 1 if self.run else 0
        return None if worth is None else worth - stops * self.stop_costs

    def net(self, changes):
        """Best value less cost with the knives set anew at exactly these changes; None where that can't be.

        ``changes`` are in coated metres, as ``candidates`` gives them, disjoint and in order.
        """
        coins = self._coins([(self._slit(head), self._slit(tail)) for head, tail in changes])
        return None if coins is None else Fraction(coins, self.coins)

    def _coins(self, changes):
        begins = [0, *(head for head, _ in reversed(changes))]
        ends = [*(tail for _, tail in reversed(changes)), self.end]
        spans = list(zip(begins, ends, strict=True))
        if any(end <= begin for begin, end in spans):
            return None
        gains = [self.gains(span) for span in spans]
        if None in gains:
            return None
        worthy = [gain - self.change_costs for gain in gains if gain > self.change_costs]
        return sum(worthy) + self.change_costs if worthy else max([0, *gains])

    def best(self, changes):
        """Best net value over all choices from these places to change the knives; None where no choice can be."""
        if not self.widths:
            return None
        places = [(self._slit(head), self._slit(tail)) for head, tail in sorted(changes)]
        several = (itertools.combinations(places, count) for count in range(len(places) + 1))
        coins = (self._coins(chosen) for chosen in itertools.chain.from_iterable(several))
        most = max((some for some in coins if some is not None), default=None)
        return None if most is None else Fraction(most, self.coins)
