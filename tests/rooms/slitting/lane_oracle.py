"""The best pieces of one lane by trying all on a grid of units, small lanes at random, and the rules of pieces."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from hypothesis import strategies as st

from wideroll.slitting.lane import BY_LENGTH, BY_METRE, SPLICED, Lane, Selling


@dataclass(frozen=True, kw_only=True)
class Task:
    """A lane and its selling in whole units; ``unit_m`` metres each. Marks are (from, to, limit)."""

    unit_m: float
    blocked: tuple[tuple[int, int], ...]
    second: tuple[tuple[int, int], ...]
    marks: tuple[tuple[int, int, int], ...]
    most: tuple[int, ...]
    kind: int
    start: int
    ends: tuple[int, ...]
    run: int | None = None
    per: tuple[int, int] = (0, 0)
    least: int = 0
    lengths: tuple[tuple[int, int, int], ...] = ()
    most_splices: int = 0
    least_between: int = 1
    loss: int = 0

    def lane(self):
        """As compiled code takes it."""
        columns = [self._column(group, side) for group in (self.blocked, self.second) for side in (0, 1)]
        mark_from, counted_from = self._counted(0)
        mark_to, counted_to = self._counted(1)
        return Lane(*columns, mark_from, mark_to, counted_from, counted_to)

    def sold(self):
        """As compiled code takes it."""
        return Selling(
            kind=self.kind,
            per_m=self.per[0] / self.unit_m,
            second_per_m=self.per[1] / self.unit_m,
            least_m=self.least * self.unit_m,
            lengths_m=np.array([one[0] * self.unit_m for one in self.lengths], dtype=np.float64),
            values=np.array([one[1] for one in self.lengths], dtype=np.float64),
            second_values=np.array([one[2] for one in self.lengths], dtype=np.float64),
            most_splices=self.most_splices,
            least_between_m=self.least_between * self.unit_m,
            loss_per_splice=float(self.loss),
            most=np.array(self.most, dtype=np.int64),
            run_m=np.inf if self.run is None else self.run * self.unit_m,
        )

    def ends_m(self):
        """The ends in metres."""
        return np.array(self.ends, dtype=np.float64) * self.unit_m

    def _column(self, group, side):
        return np.array([one[side] * self.unit_m for one in group], dtype=np.float64)

    def _counted(self, side):
        ordered = sorted(self.marks, key=lambda mark: mark[side])
        rule = np.array([[mark[2] == limit for mark in ordered] for limit in range(len(self.most))], dtype=np.int64)
        counted = np.zeros((len(self.marks) + 1, len(self.most)), dtype=np.int64)
        counted[1:] = np.cumsum(rule.reshape(len(self.most), -1), axis=1).T
        return self._column(ordered, side), counted

    def marks_in(self, a, b):
        """How many marks of each limit [a, b) meets."""
        return tuple(
            sum(mark[0] < b and mark[1] > a and mark[2] == limit for mark in self.marks)
            for limit in range(len(self.most))
        )

    def is_second(self, a, b):
        """Whether [a, b) meets downgraded film."""
        return any(low < b and high > a for low, high in self.second)

    def is_whole(self, a, b):
        """Whether [a, b) lies across nothing blocked and no stop."""
        stops = range(self.start, 100, self.run) if self.run else ()
        blocked = any((low < b and high > a) for low, high in self.blocked)
        return not blocked and not any(a < stop < b for stop in stops)

    def roll_worth(self, parts):
        """Worth of a finished roll of these parts; None where it may not be."""
        length = sum(b - a for a, b in parts)
        second = any(self.is_second(*part) for part in parts)
        marks = np.sum([self.marks_in(*part) for part in parts], axis=0)
        if not all(self.is_whole(*part) for part in parts) or np.any(marks > np.array(self.most)):
            return None
        if self.kind == BY_METRE:
            return self.per[second] * length if length >= max(self.least, 1) and self.per[second] else None
        worths = [one[1 + second] for one in self.lengths if one[0] == length and one[1 + second]]
        if self.kind == BY_LENGTH or not worths:
            return max(worths, default=None)
        short = len(parts) > 1 and min(b - a for a, b in parts) < self.least_between
        return (
            None if short or second or len(parts) > self.most_splices + 1 else worths[0] - self.loss * (len(parts) - 1)
        )


def best_worth(task, end):
    """Greatest worth of a lane up to an end, by trying every cut on the grid."""

    @cache
    def best(at, parts):
        if at >= end:
            return 0
        tried = [best(at + 1, parts)]
        for to in range(at + 1, end + 1):
            if task.is_whole(at, to):
                roll = (*parts, (at, to))
                worth = task.roll_worth(roll)
                if worth is not None:
                    tried.append(worth + best(to, ()))
                if task.kind == SPLICED and _goes_on(task, roll):
                    tried.append(best(to, roll))
        return max(tried)

    return best(task.start, ())


def _goes_on(task, roll):
    length = sum(b - a for a, b in roll)
    fits = len(roll) <= task.most_splices and length + task.least_between <= task.lengths[0][0]
    return fits and roll[-1][1] - roll[-1][0] >= task.least_between and not task.is_second(*roll[-1])


def check_cuts(task, cuts, end, worth):
    """Raise unless the pieces obey all rules of the lane, and are worth that."""
    rolls = {}
    reach, last_roll = task.start * task.unit_m, -1
    for a, b, roll, second in zip(*(column.tolist() for column in cuts), strict=True):
        assert a >= reach
        assert b > a
        assert roll in {last_roll, last_roll + 1}
        reach, last_roll = b, roll
        rolls.setdefault(roll, []).append((_tidy(a / task.unit_m), _tidy(b / task.unit_m)))
        assert second == task.is_second(*rolls[roll][-1])
    assert not rolls or reach <= end * task.unit_m
    worths = [task.roll_worth(parts) for parts in rolls.values()]
    assert None not in worths
    assert sum(worths) == worth


def _tidy(place):
    """A whole number of units, as all places of a best cut are."""
    assert abs(place - round(place)) < 1e-6
    return round(place)


@st.composite
def tasks(draw, kind, *, most_length=14):
    """Lanes of some units with blocked and downgraded film, marks of one or two limits and stops."""
    length = draw(st.integers(3, most_length))
    most = tuple(draw(st.lists(st.integers(0, 3), min_size=1, max_size=2)))
    spot = st.tuples(st.integers(0, length), st.integers(0, length)).map(lambda pair: tuple(sorted(pair)))
    marks = draw(st.lists(st.tuples(spot, st.integers(0, len(most) - 1)), max_size=5))
    start = draw(st.sampled_from([0, 0, 1, 3]))
    common = {
        "unit_m": draw(st.sampled_from([1.0, 0.1, 0.7, 30.48])),
        "blocked": _apart(draw(st.lists(spot, max_size=2)), empty=True),
        "second": _apart(draw(st.lists(spot, max_size=2)), empty=False),
        "marks": tuple((low, high, limit) for (low, high), limit in marks),
        "most": most,
        "kind": kind,
        "start": start,
        "ends": tuple(sorted(draw(st.sets(st.integers(0, length), min_size=1, max_size=4)))),
        "run": draw(st.sampled_from([None, None, 2, 3, 5])),
    }
    worth = st.integers(1, 9)
    if kind == BY_METRE:
        per = tuple(sorted(draw(st.tuples(st.integers(0, 9), worth)), reverse=True))
        return Task(**common, per=per, least=draw(st.integers(0, 4)))
    if kind == BY_LENGTH:
        sizes = draw(st.lists(st.integers(1, 6), min_size=1, max_size=3, unique=True))
        worths = [tuple(sorted(draw(st.tuples(st.integers(0, 9), worth)), reverse=True)) for _ in sizes]
        return Task(**common, lengths=tuple((size, *pair) for size, pair in zip(sizes, worths, strict=True)))
    return Task(
        **common,
        lengths=((draw(st.integers(1, 8)), draw(st.integers(2, 9)), 0),),
        most_splices=draw(st.integers(0, 3)),
        least_between=draw(st.integers(1, 3)),
        loss=draw(st.integers(0, 2)),
    )


def _apart(spots, *, empty):
    """Joined where they touch."""
    joined = []
    for low, high in sorted(spot for spot in spots if empty or spot[0] < spot[1]):
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return tuple(joined)
