"""Where the web goes that becomes no piece: each place is charged to one reason, so that areas add up."""

import itertools
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting.clean import Floats
from wideroll.slitting.knives import Knives
from wideroll.slitting.model import Avoid, Loss, Piece, Run
from wideroll.slitting.request import Request

__all__ = ["charge_losses"]

EDGE: Final = "edge trim"
SETUP: Final = "setting the knives"
SHORT: Final = "too short"
BETWEEN: Final = "trim between lanes"
LEFT: Final = "left over"

_ROWS: Final = 256
_LEAST_M2: Final = 1e-12

_Lanes = tuple[tuple[float, float], ...]

_Box = tuple[float, float, float, float, int]
"""Along from and to, across from and to, and the number of the reason (0 is a piece)."""


class _Cut(NamedTuple):
    avoid: Sequence[Avoid]
    pieces: Sequence[Piece]
    usable_mm: tuple[float, float]
    between_mm: float
    codes: dict[str, int]


def charge_losses(request: Request, knives: Knives, runs: Sequence[Run], pieces: Sequence[Piece]) -> tuple[Loss, ...]:
    """Area lost for each reason that lost any.

    In this order: what lies in the edge trims; what is avoided, for the first reason given that names the place, and
    with it the whole width of a lane that touches it; the web lost with setting the knives; what is too short for a
    piece; the trim between neighbouring lanes; and what no lane was laid on.
    """
    reasons = [EDGE, *dict.fromkeys(_avoided(one) for one in request.avoid), SETUP, SHORT, BETWEEN, LEFT]
    codes = {reason: code for code, reason in enumerate(reasons, start=1)}
    cut = _Cut(request.avoid, pieces, knives.usable_mm, request.rules.trim_between_mm, codes)
    areas = np.zeros(len(reasons) + 1)
    for zone, lanes in _zones(request.whole, runs):
        if zone.length_m > 0.0:
            areas += _zone_areas(zone, list(_boxes(zone, lanes, cut)), areas.size)
    return tuple(
        Loss(reason=reason, area_m2=float(areas[code])) for reason, code in codes.items() if areas[code] > _LEAST_M2
    )


def _avoided(one: Avoid) -> str:
    return f"avoided: {one.reason}"


def _zones(whole: Extent, runs: Sequence[Run]) -> Iterator[tuple[Extent, _Lanes | None]]:
    """Runs with their lanes, and between them the web lost with setting the knives, without; the ends are left over."""
    ordered = sorted(runs, key=lambda one: one.along_from_m)
    reach = whole.along_from_m
    for number, run in enumerate(ordered):
        yield _between(whole, reach, run.along_from_m), None if number else ()
        yield _between(whole, run.along_from_m, run.along_to_m), tuple((low, high) for _, low, high in run.lanes)
        reach = run.along_to_m
    yield _between(whole, reach, whole.along_to_m), ()


def _between(whole: Extent, from_m: float, to_m: float) -> Extent:
    return Extent(
        along_from_m=from_m,
        along_to_m=max(from_m, to_m),
        across_from_mm=whole.across_from_mm,
        across_to_mm=whole.across_to_mm,
    )


def _boxes(zone: Extent, lanes: _Lanes | None, cut: _Cut) -> Iterator[_Box]:
    """Boxes to paint one over the other: the last one painted takes the place."""
    along = zone.along_from_m, zone.along_to_m
    codes = cut.codes
    yield *along, zone.across_from_mm, zone.across_to_mm, codes[SETUP if lanes is None else LEFT]
    for low, high in lanes or ():
        yield *along, low, high, codes[SHORT]
    for (_, end), (start, _) in itertools.pairwise(lanes or ()):
        yield *along, end, min(start, end + cut.between_mm), codes[BETWEEN]
    for one in reversed(cut.avoid):
        part = one.extent.meet(zone)
        if part is not None:
            across = _widened(part, lanes or ())
            yield part.along_from_m, part.along_to_m, *across, codes[_avoided(one)]
    yield *along, zone.across_from_mm, cut.usable_mm[0], codes[EDGE]
    yield *along, cut.usable_mm[1], zone.across_to_mm, codes[EDGE]
    for piece in cut.pieces:
        part = piece.extent.meet(zone)
        if part is not None:
            yield part.along_from_m, part.along_to_m, part.across_from_mm, part.across_to_mm, 0


def _widened(part: Extent, lanes: _Lanes) -> tuple[float, float]:
    """Where a part to avoid lies across, with the whole width of each lane that it touches."""
    low, high = part.across_from_mm, part.across_to_mm
    touched = [lane for lane in lanes if lane[0] < high and lane[1] > low]
    return min([low, *(start for start, _ in touched)]), max([high, *(end for _, end in touched)])


def _zone_areas(zone: Extent, boxes: Sequence[_Box], reasons: int) -> Floats:
    """(reasons,) area in m² that each reason is left with when the boxes are painted in their order."""
    table = np.array(boxes)
    along = np.unique(np.clip(table[:, :2], zone.along_from_m, zone.along_to_m))
    across = np.unique(np.clip(table[:, 2:4], zone.across_from_mm, zone.across_to_mm))
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
