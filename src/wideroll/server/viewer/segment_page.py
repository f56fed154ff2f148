"""What the page of a segment shows."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from wideroll.server.desk import Desk
from wideroll.server.viewer.asked import Asked, Wrong
from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.marks import mark_row
from wideroll.server.viewer.pictures import still_told
from wideroll.server.viewer.segments import Segment
from wideroll.server.viewer.tables import mark_table, mark_words
from wideroll.server.viewer.told import tell_segment

__all__ = ["segment_context", "within"]


def within(view: RollView, segment: Segment, asked: Asked) -> Asked:
    """The same, of this segment alone."""
    from_m, to_m = view.span_m(segment)
    low = asked.from_m if segment.number == 1 else max(asked.from_m or 0.0, from_m)
    high = asked.to_m if segment.number == len(view.segments) else min(to_m if asked.to_m is None else asked.to_m, to_m)
    return replace(asked, from_m=low, to_m=high)


def segment_context(
    desk: Desk, view: RollView, segment: Segment, asked: Asked, *, wrong: Sequence[Wrong] = ()
) -> dict[str, Any]:
    """What the template names.

    Raises:
        InputError: when there is no such lane.
    """
    table = mark_table(view, within(view, segment, asked))
    row = mark_row(view, asked.mark) if asked.mark else None
    still = still_told(desk, view, segment)
    chips = {path.stem for path in (view.folder / "chips").glob("*.png")}
    lanes = view.lanes(asked.lane_mm if asked.lane_mm is not None else view.lane_mm)
    return {
        "told": tell_segment(view, segment),
        "no_pixels_why": view.no_raster,
        "asked": asked,
        "within_query": within(view, segment, asked).address(page=1, mark=""),
        "errors": tuple(wrong or asked.wrong),
        "table": table,
        "chosen": {**row, "words": mark_words(row)} if row else None,
        "chips": chips,
        "kinds": _counted(view, segment, "kind"),
        "sources": _counted(view, segment, "source"),
        "lanes": len(lanes),
        "lane_mm": view.lane_mm,
        "words": still.words,
        "data": still.data,
        "mark": view.mark,
    }


def _counted(view: RollView, segment: Segment, column: str) -> list[tuple[str, int]]:
    """What stands in a column within the segment, with how often, by name."""
    from_m, to_m = view.span_m(segment)
    mine = view.marks.filter(view.marks["along_m"].is_between(from_m, to_m))
    rows = mine.group_by(column).len().iter_rows()
    return sorted((str(word), int(count)) for word, count in rows)
