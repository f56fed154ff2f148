"""Runs and lanes to the pieces they yield, numbered in the order the slitter meets them."""

import itertools
from collections.abc import Sequence
from typing import Final

from wideroll.roll import Extent
from wideroll.slitting.clean import LaneTable, clean_stretches
from wideroll.slitting.model import Piece, Run
from wideroll.slitting.request import Request

__all__ = ["Laid", "cut_runs", "number_pieces"]

Laid = tuple[tuple[float, float], Sequence[tuple[int, int]]]
"""A run: where it begins and ends along in metres, and its lanes as (place, width number) from the datum edge."""

_LEAST_DIGITS: Final = (3, 2)


def cut_runs(request: Request, table: LaneTable, laid: Sequence[Laid]) -> tuple[tuple[Run, ...], tuple[Piece, ...]]:
    """The runs from the head on, and the pieces in the order the slitter meets them."""
    runs: list[Run] = []
    pieces: list[tuple[int, Piece]] = []
    for along_m, places in laid:
        lanes: list[tuple[str, float, float]] = []
        for lane, (place, number) in enumerate(places, start=1):
            width = request.widths[number]
            low_mm, high_mm = table.knives.lane_mm(place, number)
            lanes.append((width.name, low_mm, high_mm))
            for from_m, to_m in clean_stretches(table, place, number, along_m, least_m=request.least_m):
                extent = Extent(along_from_m=from_m, along_to_m=to_m, across_from_mm=low_mm, across_to_mm=high_mm)
                value = extent.length_m * width.finish.value_per_m
                pieces.append((lane, Piece(number="", width=width.name, extent=extent, value=value)))
        runs.append(Run(along_from_m=along_m[0], along_to_m=along_m[1], lanes=tuple(lanes)))
    return tuple(runs), number_pieces(pieces)


def number_pieces(pieces: Sequence[tuple[int, Piece]]) -> tuple[Piece, ...]:
    """Pieces with their lanes' numbers, in the order the slitter meets them, each with its own number.

    The slitter unwinds the tail first. A number such as ``003-07`` is the third place along where pieces begin, counted
    from the tail, and the seventh lane of its run from the datum edge. Sorted as text, numbers keep the order.
    """
    ordered = sorted(pieces, key=lambda one: (-one[1].extent.along_to_m, one[1].extent.across_from_mm))
    groups = [list(group) for _, group in itertools.groupby(ordered, key=lambda one: one[1].extent.along_to_m)]
    digits = max(_LEAST_DIGITS[0], len(str(len(groups))))
    lane_digits = max(_LEAST_DIGITS[1], *(len(str(lane)) for lane, _ in ordered)) if ordered else _LEAST_DIGITS[1]
    return tuple(
        Piece(
            number=f"{place:0{digits}d}-{lane:0{lane_digits}d}",
            width=piece.width,
            extent=piece.extent,
            value=piece.value,
        )
        for place, group in enumerate(groups, start=1)
        for lane, piece in group
    )
