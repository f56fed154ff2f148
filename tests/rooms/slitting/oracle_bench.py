"""The slitter's rules once more, in whole numbers and fractions and without any cleverness: everything is tried."""

import functools
import itertools
from fractions import Fraction

from wideroll.slitting import ByLength, ByMetre, CrossCutAt, KnifeAt, WithoutWidth
from wideroll.slitting.knives import set_knives
from wideroll.slitting.regions import changes_of, lay_out, wished_changes
from wideroll.slitting.request import Request

__all__ = ["Bench", "candidates"]


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


def _by_start(pieces):
    return {start: list(group) for start, group in itertools.groupby(pieces, key=lambda piece: piece[0])}


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
        minute = Fraction(rules.value_per_minute)
        self.stop_costs = Fraction(rules.stop_minutes) * minute
        self.change_costs = Fraction(rules.setup_minutes) * minute
        gone = {wish.name for wish in wishes if isinstance(wish, WithoutWidth)}
        self.widths = [width for width in widths if width.name not in gone]
        self.fixed = sorted({self._um(wish.across_mm) for wish in wishes if isinstance(wish, KnifeAt)})
        self.cuts = {self._slit(wish.along_m) for wish in wishes if isinstance(wish, CrossCutAt)}
        parts = [(part, one.downgrade) for one in avoid if (part := one.extent.meet(whole))]
        self.boxes = [(*self._box(part), second) for part, second in parts if part.area_m2 > 0]
        self.most = [limit.most for limit in counts]
        self.marks = [(*self._box(mark), number) for number, limit in enumerate(counts) for mark in limit.marks]
        self._lane_best = functools.cache(self._lane_best)
        self._layout = functools.cache(self.layout)

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

    def pieces(self, boxes, marks, span, *, first_only):
        """All that could be cut from a lane in one stretch of a knife set: (from, to, second, marks by limit)."""
        begin, end = span
        stops = {*self.cuts, *(range(begin + self.run, end, self.run) if self.run else ())}
        for start in range(begin, end):
            for to in range(start + 1, end + 1):
                if to - 1 > start and to - 1 in stops:
                    break
                met = [box for box in boxes if box[0] < to and box[1] > start]
                if any(first_only or not box[4] for box in met):
                    break
                counted = [0] * len(self.most)
                for mark in marks:
                    counted[mark[4]] += mark[0] < to and mark[1] > start
                yield start, to, bool(met), tuple(counted)

    def worth(self, lane, number, span):
        """Best value of the film of one lane for one width in a knife set."""
        meets = [
            tuple(one for one in some if one[2] < lane[1] and one[3] > lane[0]) for some in (self.boxes, self.marks)
        ]
        return self._lane_best(number, *meets, span)

    def _lane_best(self, number, boxes, marks, span):
        finish = self.widths[number].finish
        if isinstance(finish, ByMetre | ByLength):
            return self._one_piece_a_roll(finish, self.pieces(boxes, marks, span, first_only=False), span)
        return self._spliced(finish, self.pieces(boxes, marks, span, first_only=True), span)

    def _price(self, finish, cells, second):
        """Value of a piece sold by itself, 0 where it can't be."""
        if isinstance(finish, ByMetre):
            per_m = finish.second_per_m if second else finish.value_per_m
            return cells * self.unit * Fraction(per_m) if cells >= self.least else Fraction(0)
        prices = [
            one.second_value if second else one.value for one in finish.lengths if cells == self._cells(one.length_m)
        ]
        return Fraction(max(prices, default=0))

    def _one_piece_a_roll(self, finish, pieces, span):
        best = {span[1]: Fraction(0)}
        by_start = _by_start(pieces)
        for start in range(span[1] - 1, span[0] - 1, -1):
            best[start] = best[start + 1]
            for _, end, second, counted in by_start.get(start, ()):
                if all(n <= most for n, most in zip(counted, self.most, strict=True)):
                    best[start] = max(best[start], self._price(finish, end - start, second) + best[end])
        return best[span[0]]

    def _spliced(self, finish, pieces, span):
        length, apart = self._cells(finish.length_m), self._cells(finish.least_between_m)
        by_start = _by_start(pieces)

        @functools.cache
        def best(place, have, parts, counted):
            """From here on, with so much of a roll begun (none: 0), in so many parts that carry so many marks."""
            if place >= span[1]:
                return Fraction(0) if not have else Fraction(-(10**9))
            found = best(place + 1, have, parts, counted)
            for start, end, _, more in by_start.get(place, ()):
                cells, total = end - start, tuple(map(sum, zip(counted, more, strict=True)))
                if have + cells > length or any(n > most for n, most in zip(total, self.most, strict=True)):
                    continue
                if cells < apart and cells != length:
                    continue
                if have + cells == length:
                    value = Fraction(finish.value) - parts * Fraction(finish.loss_per_splice)
                    found = max(found, value + best(end, 0, 0, (0,) * len(self.most)))
                elif parts < finish.most_splices:
                    found = max(found, best(end, have + cells, parts + 1, total))
            return found

        return best(span[0], 0, 0, (0,) * len(self.most))

    def layout(self, span):
        """The best value of any lanes side by side in a knife set; None where a fixed knife can't be at a border."""
        scale = {*range(self.low, self.high + 1, self.step), *self.fixed}

        def allowed(strip_um, usual_um):
            return strip_um == usual_um or strip_um >= max(usual_um, self.strip)

        @functools.cache
        def best(before, unmet):
            """After a lane that ends there (none: None); ``unmet``: the fixed knives at which no border lies yet."""
            edge = self.high + self.trim - before if before is not None else self.trim
            found = Fraction(0) if not unmet and allowed(edge, self.trim) else None
            reach = self.low if before is None else before + self.between
            for start in sorted(
                {*(place for place in scale if place >= reach), *({reach} if before is not None else ())}
            ):
                if unmet and start > unmet[0]:
                    break
                strip = start - self.low + self.trim if before is None else start - before
                if not allowed(strip, self.trim if before is None else self.between):
                    continue
                for number, width in enumerate(self.widths):
                    end = start + self._um(width.width_mm)
                    if end > self.high or any(start < knife < end for knife in self.fixed):
                        continue
                    value = self.worth((start, end), number, span)
                    if value > 0:
                        rest = best(end, tuple(k for k in unmet if k not in {start, end}))
                        if rest is not None:
                            found = value + rest if found is None else max(found, value + rest)
            return found

        return best(None, tuple(self.fixed))

    def net(self, changes):
        """Best value less cost with the knives set anew at exactly these changes; None where that can't be.

        ``changes`` are in coated metres, as ``candidates`` gives them, disjoint and in order.
        """
        begins = [0, *(self._slit(head) for head, _ in reversed(changes))]
        ends = [*(self._slit(tail) for _, tail in reversed(changes)), self.end]
        spans = list(zip(begins, ends, strict=True))
        if any(end <= begin for begin, end in spans):
            return None
        layouts = [self._layout(span) for span in spans]
        if None in layouts:
            return None
        stops = [-(-(end - begin) // self.run) - 1 if self.run else 0 for begin, end in spans]
        gains = [worth - many * self.stop_costs for worth, many in zip(layouts, stops, strict=True)]
        worthy = [gain - self.change_costs for gain in gains if gain > self.change_costs]
        return sum(worthy) + self.change_costs if worthy else max([0, *gains])

    def best(self, changes):
        """Best net value over all choices from these places to change the knives; None where no choice can be."""
        if not self.widths:
            return None
        several = (itertools.combinations(sorted(changes), count) for count in range(len(changes) + 1))
        nets = (self.net(chosen) for chosen in itertools.chain.from_iterable(several))
        return max((net for net in nets if net is not None), default=None)
