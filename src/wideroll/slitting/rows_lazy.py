"""Worths of lanes that are known exactly only where that matters.

To work out spliced rolls with counted marks takes long, and most berths are in no good plan. A lane that meets only
what lies in all of several neighbouring berths is worth at least as much as the lane in each of them. So a berth counts
with that worth at first, and is worked out when the best plan would have a lane in it. A plan that is best though the
other lanes count with too much is the best.
"""

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np
from numba import njit

from wideroll.slitting.across import NONE
from wideroll.slitting.lane import SPLICED, Floats, Ints, Selling
from wideroll.slitting.lane_stretches import WORTH_TIE, count_to
from wideroll.slitting.lanes import LaneTable
from wideroll.slitting.rows import fill_berths, fill_rows
from wideroll.slitting.rows_divide import Asked, rows_at

__all__ = ["TOGETHER", "LazyRows", "pays"]

TOGETHER: Final = 8
"""Neighbouring berths that count with one worth at first."""

_NEAR: Final = 0.05
"""Of the length of a roll: beginnings no farther apart count with the worths of the first at first."""
_SPARE: Final = 1000
_SEARCH: Final = 8
"""To look for the best plan anew takes about as long as to work out so many lanes from one beginning."""


def pays(sold: Selling, table: LaneTable) -> bool:
    """Whether the lanes of a width take so long to work out that it is done only where it matters."""
    return sold.kind == SPLICED and sold.most_splices > 0 and table.stowed.mark_from.size > 0


class LazyRows:
    """The worths of all berths from each beginning of a set to each end, some of them too high at first.

    Args:
        table: the lanes.
        rough: those of so many neighbouring berths together as TOGETHER says.
        sold: how each width is sold.
    """

    def __init__(self, table: LaneTable, rough: LaneTable, sold: tuple[Selling, ...]) -> None:
        """Nothing is worked out yet."""
        self._table, self._rough, self._sold = table, rough, sold
        self._asked = Asked(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
        self._at, self._out = np.zeros(1, dtype=np.int64), np.zeros(0)
        self._known, self._left = np.zeros((0, 0), dtype=np.bool_), 0

    def rows(self, starts_m: Floats, ends_m: Floats, firsts: Ints) -> Iterator[Floats]:
        """(E − first, B) worths for each beginning of a set; ``sharpen`` lowers them in place."""
        table, berths = self._table, self._table.breaks.size
        self._asked, self._at = Asked(starts_m, ends_m, firsts), rows_at(firsts, ends_m.size, berths)
        self._out = np.empty(self._at[-1])
        self._known, self._left = np.zeros((starts_m.size, berths), dtype=np.bool_), berths + _SPARE
        views = [self._out[low:high].reshape(-1, berths) for low, high in pairwise(self._at.tolist())]
        for width, (sold, own) in enumerate(zip(self._sold, pairwise(table.offsets.tolist()), strict=True)):
            if pays(sold, table):
                self._known[:, own[0] : own[1]] = table.banned[own[0] : own[1]]
                self._fill_roughly(width, own, views)
            else:
                self._known[:, own[0] : own[1]] = True
                fill_rows(table.stowed, table.banned, own, sold, *self._asked, self._out)
        return iter(views)

    def _fill_roughly(self, width: int, own: tuple[int, int], views: list[Floats]) -> None:
        """The worths of a width's berths as those of several together, and from some beginnings as from one before."""
        rough, sold, (starts_m, ends_m, firsts) = self._rough, self._sold[width], self._asked
        some = _apart(starts_m, sold.lengths_m[0] * _NEAR if sold.run_m == np.inf else 0.0)
        low, high = rough.offsets[width : width + 2].tolist()
        at = rows_at(firsts[some], ends_m.size, rough.breaks.size)
        found, group = np.empty(at[-1]), low + np.arange(own[1] - own[0]) // TOGETHER
        free = np.zeros(rough.breaks.size, dtype=np.bool_)
        fill_rows(rough.stowed, free, (low, high), sold, starts_m[some], ends_m, firsts[some], found)
        tables = [found[one:other].reshape(-1, free.size) for one, other in pairwise(at.tolist())]
        for view, first, one in zip(views, firsts, np.searchsorted(some, range(firsts.size), "right") - 1, strict=True):
            view[:, own[0] : own[1]] = tables[one][first - firsts[some[one]] :, group]
            view[:, own[0] : own[1]][:, self._table.banned[own[0] : own[1]]] = NONE

    def sharpen(self, start: int, lanes: list[tuple[int, int]]) -> bool:
        """Work out lanes, as (place, width number), from one beginning of a set; whether any wasn't yet.

        When so many had to be that to work out all at once would have been as quick, all are.
        """
        asked, berths, offsets = self._asked, self._table.breaks.size, self._table.offsets
        wanted = np.unique([self._table.berth_of(*lane) for lane in lanes])
        wanted = wanted[~self._known[start, wanted]] if lanes else np.zeros(0, dtype=np.int64)
        self._left -= int(wanted.size) + _SEARCH
        if wanted.size and self._left < 0:
            return self._sharpen_all()
        one = Asked(asked.starts_m[start : start + 1], asked.ends_m, asked.firsts[start : start + 1])
        out = self._out[self._at[start] : self._at[start + 1]]
        for sold, (first, end) in zip(self._sold, pairwise(offsets.tolist()), strict=True):
            some = wanted[(wanted >= first) & (wanted < end)]
            if some.size:
                fill_berths(self._table.stowed, some, sold, one, berths, out)
                if sold.run_m == np.inf:
                    _lower_later(asked, start, some, self._at, self._out)
        self._known[start, wanted] = True
        return bool(wanted.size)

    def _sharpen_all(self) -> bool:
        table = self._table
        for sold, own in zip(self._sold, pairwise(table.offsets.tolist()), strict=True):
            if pays(sold, table):
                fill_rows(table.stowed, table.banned, own, sold, *self._asked, self._out)
        self._known[:] = True
        return True


def _apart(starts_m: Floats, near_m: float) -> Ints:
    """The numbers of beginnings (S,) of which each lies beyond what is near the one before it."""
    apart = [0]
    for start, start_m in enumerate(starts_m.tolist()):
        if start_m - starts_m[apart[-1]] > near_m:
            apart.append(start)
    return np.array(apart)


@njit(cache=True, nogil=True)
def _lower_later(asked: Asked, start: int, berths: Ints, at: Ints, out: Floats) -> None:
    """Lower the worths from later beginnings: with what is made before it a lane isn't worth more than from ``start``.

    That holds where no stop depends on where a set begins.
    """
    first, ends = asked.firsts[start], asked.ends_m.size
    all_berths = (at[start + 1] - at[start]) // max(ends - first, 1)
    for later in range(start + 1, asked.starts_m.size):
        before = count_to(asked.ends_m, asked.starts_m[later]) - 1 - first
        for end in range(asked.firsts[later], ends):
            row, line = at[start] + (end - first) * all_berths, at[later] + (end - asked.firsts[later]) * all_berths
            for berth in berths:
                made = out[at[start] + before * all_berths + berth] if before >= 0 else 0.0
                more = out[row + berth] - made
                out[line + berth] = min(out[line + berth], more + WORTH_TIE if more > WORTH_TIE else 0.0)
