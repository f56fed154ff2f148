"""A segment as the page's script and other programs need it."""

from typing import Any, Final

from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.greys import MIDDLE, REACH, UNSEEN
from wideroll.server.viewer.segments import LAYERS, TILE, Segment
from wideroll.server.viewer.tiles import tile_mark

__all__ = ["SEGMENT_SCHEMA", "tell_segment", "tell_segments"]

SEGMENT_SCHEMA: Final = "wideroll/segment/1"


def tell_segments(view: RollView) -> dict[str, Any]:
    """All segments of a roll in short."""
    return {
        "roll": view.roll,
        "pixels": view.raster is not None,
        "no_pixels_why": view.no_raster or None,
        "segments": [_short(view, segment) for segment in view.segments],
    }


def tell_segment(view: RollView, segment: Segment) -> dict[str, Any]:
    """A segment: where it lies, its levels of zoom, where its tiles are, and how to read their greys."""
    base = f"/rolls/{view.roll}/segments/{segment.number}"
    size_m = view.pyramid.cell_m
    return {
        "schema": SEGMENT_SCHEMA,
        **_short(view, segment),
        "of": len(view.segments),
        "width_mm": view.pyramid.extent.width_mm,
        "tile_px": TILE,
        "tiles": f"{base}/{{layer}}/{{level}}/{{x}}_{{y}}.png?v={tile_mark(view)}",
        "layers": list(LAYERS),
        "greys": {"middle": MIDDLE, "reach": REACH, "unseen": UNSEEN, "mean": "square root", "worst": "straight"},
        "picture": {"from_m": segment.first * size_m, "to_m": segment.last * size_m},
        "places": _places(view),
        "levels": [
            {
                "level": level.number,
                "px_m": level.px_m,
                "px_mm": level.px_mm,
                "columns": level.columns,
                "rows": level.rows,
                "shows": "pixels of the raster" if level.joined else "cells of the overview",
            }
            for level in view.levels(segment)
        ],
    }


def _short(view: RollView, segment: Segment) -> dict[str, Any]:
    from_m, to_m = view.span_m(segment)
    last = segment.number == len(view.segments)
    along = view.marks["along_m"]
    low = along.search_sorted(from_m) if segment.number > 1 else 0
    high = len(along) if last else along.search_sorted(to_m)
    mine = view.marks.slice(low, high - low)
    clearest = mine.row(int(mine["snr"].arg_max() or 0), named=True) if mine.height else None
    return {
        "roll": view.roll,
        "segment": segment.number,
        "from_m": from_m,
        "to_m": to_m,
        "marks": mine.height,
        "clearest": clearest and {name: clearest[name] for name in ("id", "kind", "along_m", "across_mm", "size_mm")},
        "page": f"/rolls/{view.roll}/map/{segment.number}",
    }


def _places(view: RollView) -> dict[str, list[float]] | None:
    """Where places from the head lie in the picture, when an encoder counted; straight between, and on outside."""
    if view.card is None or view.card.places is None:
        return None
    places = view.card.places
    return {
        "roll_m": list(places.metres),
        "picture_m": [line * view.card.pitch_mm[0] / 1000.0 for line in places.lines],
    }
