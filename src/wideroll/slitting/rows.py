"""What lanes are worth in every berth, for every place where a knife set may begin or end.

Film that isn't spliced is worth what its clean stretches are: where nothing but their length matters it is looked up
(``lane_steps``), and neighbouring berths mostly have the same stretches, so what was found for one is used for the
next. What is left is worked out by way of sale: ``lane_metre``, ``lane_graded``, ``lane_length``. Spliced rolls reach
over stretches: ``rows_spliced``.

The compiled steps are called one after the other for some berths at a time. Called from one another each would be
compiled anew with all that calls it.
"""

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.slitting.across import NONE
from wideroll.slitting.lane import BY_METRE, SPLICED, Floats, Ints, Selling
from wideroll.slitting.lane_graded import graded_ends
from wideroll.slitting.lane_length import length_places
from wideroll.slitting.lane_metre import metre_starts
from wideroll.slitting.lane_spliced import is_crowded
from wideroll.slitting.lane_steps import step_worth
from wideroll.slitting.lane_stretches import TOUCH_M, count_to
from wideroll.slitting.lanes import Stowed, lane_of_berth
from wideroll.slitting.rows_divide import PLAIN, Asked, Divided, divide, rows_at
from wideroll.slitting.rows_spliced import fill_crowded, fill_spliced
from wideroll.slitting.rows_stops import add_between_stops, with_stops

__all__ = ["fill_berths", "fill_rows", "rows_at"]

_BERTHS_AT_ONCE: Final = 128
_MOST_AT_ONCE: Final = 2_000_000
"""Worths between stops worked out at once."""


class _Lines(NamedTuple):
    """Rows of worths to be worked out (J,): the berth, the start, and where in all worths they go.

    The ends asked for lie in ``ends_m``, those of row j from ``at[j]`` to ``at[j + 1]`` (J + 1,).
    """

    berth: Ints
    starts_m: Floats
    ends_m: Floats
    at: Ints
    into: Ints


def fill_rows(  # noqa: PLR0917  -- half of it goes on to compiled code
    stowed: Stowed,
    banned: NDArray[np.bool_],
    berths: tuple[int, int],
    sold: Selling,
    starts_m: Floats,
    ends_m: Floats,
    firsts: Ints,
    out: Floats,
) -> None:
    """Fill the worths of the berths of one width into ``out``, laid out as ``rows_at`` says."""
    asked = Asked(starts_m, ends_m, firsts)
    some = berths[0] + np.flatnonzero(~banned[berths[0] : berths[1]])
    fill_berths(stowed, some, sold, asked, banned.size, out)
    for berth in (np.flatnonzero(banned[berths[0] : berths[1]]) + berths[0]).tolist():
        out[berth :: banned.size] = NONE


def fill_berths(  # noqa: PLR0917  -- as the compiled code it calls
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    """Fill the worths of some berths (n,) of one width into ``out``, laid out for all as ``rows_at`` says."""
    fill = _fill_unspliced
    if berths.size and sold.kind == SPLICED and sold.most_splices > 0:
        fill = fill_crowded if is_crowded(sold) else fill_spliced
    fill(stowed, berths, sold, asked, all_berths, out)


def _fill_unspliced(  # noqa: PLR0917  -- as the compiled code it calls
    stowed: Stowed, berths: Ints, sold: Selling, asked: Asked, all_berths: int, out: Floats
) -> None:
    stops = sold.run_m < np.inf
    between, whole = with_stops(asked, sold.run_m) if stops else asked, sold._replace(run_m=np.inf)
    room = int(rows_at(between.firsts, between.ends_m.size, 1)[-1])
    at_once = max(min(_MOST_AT_ONCE // room, _BERTHS_AT_ONCE), 1) if stops else _BERTHS_AT_ONCE
    for first in range(0, berths.size, at_once):
        some = berths[first : first + at_once]
        divided = divide(stowed, some, whole, between)
        worths = np.zeros(divided.at[-1])
        for work, stretches in _ways(sold, divided):
            if stretches.size:
                work(stowed, whole, _lines_of(divided, stretches, between), worths)
        if stops:
            own, alone = np.empty(room * some.size), np.arange(some.size)
            _put_together(divided, whole, between, worths, (alone, some.size), own)
            add_between_stops(between, own, asked, sold.run_m, some, all_berths, out)
        else:
            _put_together(divided, whole, between, worths, (some, all_berths), out)


def _ways(sold: Selling, divided: Divided) -> list[tuple[Callable[..., None], Ints]]:
    """The stretches to be worked out, by way of sale."""
    own = divided.source == np.arange(divided.source.size)
    if sold.kind != BY_METRE:
        return [(_work_by_length, np.flatnonzero(own))]
    graded = divided.holds_second > 0
    return [(_work_by_metre, np.flatnonzero(own & ~graded)), (_work_graded, np.flatnonzero(own & graded))]


@njit(cache=True, nogil=True)
def _lines_of(divided: Divided, stretches: Ints, asked: Asked) -> _Lines:
    """The rows of the tables of some stretches."""
    rows, cells, inside = 0, 0, divided.inside
    for one in stretches:
        rows += inside[one, 1] - inside[one, 0] + 1
        cells += divided.at[one + 1] - divided.at[one]
    berth, into, at = np.zeros(rows, dtype=np.int64), np.zeros(rows, dtype=np.int64), np.zeros(rows + 1, dtype=np.int64)
    starts_m, ends_m, line = np.empty(rows), np.empty(cells), 0
    for one in stretches:
        for row in range(inside[one, 1] - inside[one, 0] + 1):
            start_m, beyond_m, first = _row_of(divided, one, asked, row)
            if divided.stretches[one, 1] > start_m + TOUCH_M:
                berth[line], into[line], starts_m[line] = divided.berth[one], first, start_m
                at[line + 1] = at[line] + beyond_m.size
                ends_m[at[line] : at[line + 1]] = beyond_m
                line += 1
    return _Lines(berth[:line], starts_m[:line], ends_m, at[: line + 1], into[:line])


@njit(cache=True, nogil=True)
def _work_by_length(stowed: Stowed, sold: Selling, lines: _Lines, worths: Floats) -> None:
    lane, berth = lane_of_berth(stowed, 0), 0
    for line in range(lines.into.size):
        if lines.berth[line] != berth:
            lane, berth = lane_of_berth(stowed, lines.berth[line]), lines.berth[line]
        ends_m = lines.ends_m[lines.at[line] : lines.at[line + 1]]
        found = length_places(lane, sold, lines.starts_m[line], ends_m)[0]
        worths[lines.into[line] : lines.into[line] + found.size] = found


@njit(cache=True, nogil=True)
def _work_by_metre(stowed: Stowed, sold: Selling, lines: _Lines, worths: Floats) -> None:
    lane, berth = lane_of_berth(stowed, 0), 0
    for line in range(lines.into.size):
        if lines.berth[line] != berth:
            lane, berth = lane_of_berth(stowed, lines.berth[line]), lines.berth[line]
        ends_m = lines.ends_m[lines.at[line] : lines.at[line + 1]]
        found = metre_starts(lane, sold, 0.0, lines.starts_m[line], ends_m)[0]
        worths[lines.into[line] : lines.into[line] + found.size] = found


@njit(cache=True, nogil=True)
def _work_graded(stowed: Stowed, sold: Selling, lines: _Lines, worths: Floats) -> None:
    lane, berth = lane_of_berth(stowed, 0), 0
    for line in range(lines.into.size):
        if lines.berth[line] != berth:
            lane, berth = lane_of_berth(stowed, lines.berth[line]), lines.berth[line]
        ends_m = lines.ends_m[lines.at[line] : lines.at[line + 1]]
        found = graded_ends(lane, sold, lines.starts_m[line], ends_m)[0]
        worths[lines.into[line] : lines.into[line] + found.size] = found


@njit(cache=True, nogil=True)
def _row_of(divided: Divided, one: int, asked: Asked, row: int) -> tuple[float, Floats, int]:
    """Where a row of a stretch's table starts, the ends beyond it, and where in all worths the first of them lies."""
    from_m, to_m = divided.stretches[one, 0], divided.stretches[one, 1]
    column, columns = divided.inside[one, 2], divided.inside[one, 3]
    start_m = from_m if row == 0 else asked.starts_m[divided.inside[one, 0] + row - 1]
    first, width = max(count_to(asked.ends_m, start_m), column), columns - column + 1
    ends_m = np.empty(columns - first + 1)
    ends_m[:-1] = asked.ends_m[first:columns]
    ends_m[-1] = to_m
    return start_m, ends_m, divided.at[one] + row * width + first - column


@njit(cache=True, nogil=True)
def _put_together(  # noqa: PLR0917  -- compiled
    divided: Divided, sold: Selling, asked: Asked, worths: Floats, where: tuple[Ints, int], out: Floats
) -> None:
    """The worth between each beginning and end: a part of a stretch, whole stretches, and a part of another one."""
    inside, (berths, all_berths) = divided.inside, where
    at = rows_at(asked.firsts, asked.ends_m.size, all_berths)
    for one in range(divided.source.size):
        source, low, high = divided.source[one], divided.at[one], divided.at[one + 1]
        if source == PLAIN:
            for row in range(inside[one, 1] - inside[one, 0] + 1):
                start_m, ends_m, line = _row_of(divided, one, asked, row)
                for end in range(ends_m.size):
                    worths[line + end] = step_worth(sold, ends_m[end] - start_m)
        elif source < one:
            worths[low:high] = worths[divided.at[source] : divided.at[source + 1]]
    for number in range(berths.size):
        _add_up(divided, asked, worths, number, (at, all_berths, berths[number]), out)


@njit(cache=True, nogil=True)
def _add_up(  # noqa: PLR0917  -- compiled
    divided: Divided, asked: Asked, worths: Floats, number: int, where: tuple[Ints, int, int], out: Floats
) -> None:
    """The worths of one lane."""
    at, berths, berth = where
    base, count = divided.first[number], divided.first[number + 1] - divided.first[number]
    stretches, table = divided.stretches[base : base + count], divided.at[base : base + count]
    whole, inside = np.zeros(count + 1), divided.inside[base : base + count]
    for one in range(count):
        whole[one + 1] = whole[one] + worths[table[one] + inside[one, 3] - inside[one, 2]]
    for start in range(asked.starts_m.size):
        start_m = asked.starts_m[start]
        first = count_to(stretches[:, 1], start_m)
        within = first < count and stretches[first, 0] < start_m
        head, line, number_of = 0.0, 0, first
        if within:
            row, column, columns = inside[first, 0], inside[first, 2], inside[first, 3]
            line = table[first] + (start - row + 1) * (columns - column + 1)
            head = worths[line + columns - column] - (whole[first + 1] - whole[first])
            line -= column
        for end in range(asked.firsts[start], asked.ends_m.size):
            end_m = asked.ends_m[end]
            while number_of < count and stretches[number_of, 1] <= end_m:
                number_of += 1
            worth = whole[number_of] - whole[first]
            if within and number_of > first:
                worth += head
            if number_of < count and stretches[number_of, 0] < end_m:
                if within and number_of == first:
                    worth = worths[line + end]
                else:
                    worth += worths[table[number_of] + end - inside[number_of, 2]]
            out[at[start] + (end - asked.firsts[start]) * berths + berth] = worth
