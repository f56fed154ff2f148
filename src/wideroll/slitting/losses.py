"""Where the web goes that becomes no piece: each place is charged to one reason, so that areas add up."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Extent
from wideroll.slitting.desk import CutDesk, lane_at
from wideroll.slitting.lane import Floats
from wideroll.slitting.model import Avoid, ByMetre, Loss
from wideroll.slitting.pieces import Cut

__all__ = ["charge_losses"]

EDGE: Final = "edge trim"
SETUP: Final = "setting the knives"
SHORT: Final = "too short"
REST: Final = "rest of a finished length"
MARKS: Final = "too many marks"
BETWEEN: Final = "trim between lanes"
LEFT: Final = "left over"

_ROWS: Final = 256
_LEAST_M2: Final = 1e-12
_SAME_M: Final = 1e-9
_UM: Final = 1000.0

_Span = tuple[float, float]
_Lane = tuple[str, float, float]


class _Cut(NamedTuple):
    """Rectangles are (n, 4): along from and to, across from and to. The number of a piece's reason is 0."""

    desk: CutDesk
    codes: Mapping[str, int]
    numbers: Mapping[str, int]
    """Of the widths by their names."""
    avoided: Floats
    avoided_for: Floats
    """(n,) numbers of the reasons; in the order of painting, so the first given comes last."""
    pieces: Floats


def charge_losses(desk: CutDesk, cut: Cut) -> tuple[Loss, ...]:
    """Area lost for each reason that lost any.

    In this order: what lies in the edge trims; what is avoided, for the first reason given that names the place, and
    with it the whole width of a lane that touches it; downgraded film of which no second quality is made; the web lost
    with setting the knives; clean film in a lane that is too short, left of a finished length, or given up because a
    finished roll would carry too many marks; the trim between neighbouring lanes; and what no lane was laid on.
    """
    request = desk.request
    ordered = sorted(request.avoid, key=lambda one: one.downgrade)
    reasons = [EDGE, *dict.fromkeys(_reason(one) for one in ordered), SETUP, MARKS, SHORT, REST, BETWEEN, LEFT]
    codes = {reason: code for code, reason in enumerate(reasons, start=1)}
    told = _Cut(
        desk=desk,
        codes=codes,
        numbers={width.name: number for number, width in enumerate(request.widths)},
        avoided=_rectangles([one.extent for one in reversed(ordered)]),
        avoided_for=np.array([codes[_reason(one)] for one in reversed(ordered)], dtype=np.float64),
        pieces=_rectangles([piece.extent for piece in cut.pieces]),
    )
    areas = np.zeros(len(reasons) + 1)
    for along, lanes in _zones(request.whole, cut):
        if along[1] > along[0]:
            areas += _zone_areas(along, np.concatenate(list(_boxes(along, lanes, told))), areas.size)
    return tuple(
        Loss(reason=reason, area_m2=float(areas[code])) for reason, code in codes.items() if areas[code] > _LEAST_M2
    )


def _reason(one: Avoid) -> str:
    return f"{'downgraded' if one.downgrade else 'avoided'}: {one.reason}"


def _rectangles(extents: Sequence[Extent]) -> Floats:
    rows = [(one.along_from_m, one.along_to_m, one.across_from_mm, one.across_to_mm) for one in extents]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def _zones(whole: Extent, cut: Cut) -> Iterator[tuple[_Span, tuple[_Lane, ...] | None]]:
    """Runs with their lanes; the web lost with setting the knives, without; and what no knives were set for."""
    setups = [(start, end, None) for start, end in cut.setups if end > start]
    runs = [(run.along_from_m, run.along_to_m, run.lanes) for run in cut.runs]
    reach = whole.along_from_m
    for start, end, lanes in sorted([*setups, *runs], key=lambda one: one[:2]):
        yield (reach, start), ()
        yield (start, end), lanes
        reach = end
    yield (reach, whole.along_to_m), ()


def _boxes(along: _Span, lanes: tuple[_Lane, ...] | None, cut: _Cut) -> Iterator[Floats]:
    """Boxes (n, 5), the reason last, to paint one over the other: the last one painted takes the place."""
    whole, usable_mm = cut.desk.request.whole, cut.desk.knives.usable_mm
    taken = _within(cut.pieces, along)[1]
    rows = [(*along, whole.across_from_mm, whole.across_to_mm, cut.codes[SETUP if lanes is None else LEFT])]
    for lane in lanes or ():
        rows += _lane_rows(along, lane, taken[taken[:, 2] == lane[1]], cut)
    trim_mm = cut.desk.request.rules.trim_between_mm
    for before, after in zip((lanes or ())[:-1], (lanes or ())[1:], strict=True):
        rows.append((*along, before[2], min(after[1], before[2] + trim_mm), cut.codes[BETWEEN]))
    yield np.array(rows, dtype=np.float64)
    met, avoided = _within(cut.avoided, along)
    avoided[:, 2:] = np.clip(avoided[:, 2:], whole.across_from_mm, whole.across_to_mm)
    yield np.column_stack([_widened(avoided, lanes or ()), cut.avoided_for[met]])
    yield np.array(
        [
            (*along, whole.across_from_mm, usable_mm[0], cut.codes[EDGE]),
            (*along, usable_mm[1], whole.across_to_mm, cut.codes[EDGE]),
        ],
        dtype=np.float64,
    )
    yield np.column_stack([taken if lanes else taken[:0], np.zeros(len(taken) if lanes else 0)])


def _within(rectangles: Floats, along: _Span) -> tuple[NDArray[np.intp], Floats]:
    """Which rectangles meet a stretch of the web, and their parts in it."""
    met = np.flatnonzero((rectangles[:, 0] < along[1]) & (rectangles[:, 1] > along[0]))
    parts = rectangles[met]
    parts[:, :2] = np.clip(parts[:, :2], *along)
    return met, parts


def _lane_rows(along: _Span, lane: _Lane, taken: Floats, cut: _Cut) -> list[tuple[float, float, float, float, int]]:
    """A lane without its pieces, and over it the gaps that are there because of counted marks."""
    name, low, high = lane
    number, request = cut.numbers[name], cut.desk.request
    by_metre = isinstance(request.widths[number].finish, ByMetre)
    rows = [(*along, low, high, cut.codes[SHORT if by_metre else REST])]
    if not request.counts:
        return rows
    place = (round(low * _UM) - cut.desk.knives.origin_um) // cut.desk.knives.unit_um
    marks = request.whole.along_to_m - lane_at(cut.desk, place, number).mark_from
    useful_m = request.useful_m(request.widths[number])
    reach = along[0]
    for start, end in [*sorted(taken[:, :2].tolist()), (along[1], along[1])]:
        long_enough = start > reach and start - reach >= useful_m - _SAME_M
        if long_enough and np.any((marks > reach) & (marks <= start + _SAME_M)):
            rows.append((reach, start, low, high, cut.codes[MARKS]))
        reach = max(reach, end)
    return rows


def _widened(parts: Floats, lanes: Sequence[_Lane]) -> Floats:
    """Parts to avoid with the whole width of each lane that they touch."""
    if not lanes or not parts.size:
        return parts
    lows, highs = np.array([lane[1] for lane in lanes]), np.array([lane[2] for lane in lanes])
    first = np.searchsorted(highs, parts[:, 2], side="right")
    last = np.searchsorted(lows, parts[:, 3], side="left") - 1
    touched = first <= last
    wide = parts.copy()
    wide[touched, 2] = np.minimum(parts[touched, 2], lows[first[touched]])
    wide[touched, 3] = np.maximum(parts[touched, 3], highs[last[touched]])
    return wide


def _zone_areas(zone: _Span, table: Floats, reasons: int) -> Floats:
    """(reasons,) area in m² that each reason is left with when the boxes are painted in their order."""
    along = np.unique(np.clip(table[:, :2], *zone))
    across = np.unique(table[:, 2:4])
    rows = np.searchsorted(along, table[:, :2])
    columns = np.searchsorted(across, table[:, 2:4])
    codes = table[:, 4].astype(np.int16)
    lengths, widths = np.diff(along), np.diff(across)
    areas = np.zeros(reasons)
    for top in range(0, lengths.size, _ROWS):
        height = min(_ROWS, lengths.size - top)
        painted = np.zeros((height, widths.size), dtype=np.int16)
        for box in np.flatnonzero((rows[:, 0] < top + height) & (rows[:, 1] > top)).tolist():
            first, end = max(rows[box, 0] - top, 0), rows[box, 1] - top
            painted[first:end, columns[box, 0] : columns[box, 1]] = codes[box]
        cells = np.outer(lengths[top : top + height], widths) / 1000.0
        areas += np.bincount(painted.ravel(), weights=cells.ravel(), minlength=reasons)
    return areas
