"""Still pictures for those who have no scripts, or print: the web in coarse cells, and the scale of greys."""

from functools import partial
from typing import TYPE_CHECKING, Any, Final

from wideroll.server.desk import Desk
from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.greys import TICKS, grey_of
from wideroll.server.viewer.kept import Kept
from wideroll.server.viewer.segments import Segment

if TYPE_CHECKING:
    from wideroll.store import Stretch

__all__ = ["draw_scale", "draw_still", "still_data", "still_words"]

_KEPT_BYTES: Final = 16 << 20
_BOX: Final = (66, 34)


def draw_still(desk: Desk, view: RollView, segment: Segment | None) -> str:
    """A segment, or the whole roll, as SVG: mean above, worst beneath, in scales of their own."""
    stills: Kept[str] = desk.parts.setdefault("viewer stills", Kept(most_bytes=_KEPT_BYTES, size=len))
    return stills.get((view.roll, view.mark, segment), partial(_draw, view, segment))


def still_words(view: RollView, segment: Segment | None) -> str:
    """Its caption: where the web departs most, and how even it is otherwise."""
    from wideroll.report.overview_picture import overview_caption  # noqa: PLC0415  (slow to load)

    stretch = _stretch(view, segment)
    return overview_caption(stretch.overview, first_m=stretch.first_m)


def still_data(view: RollView, segment: Segment | None) -> dict[str, Any]:
    """Its data: the cells that depart most."""
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415  (slow to load)
    from wideroll.report.overview_picture import overview_grid  # noqa: PLC0415

    stretch = _stretch(view, segment)
    return grid_json(overview_grid(stretch.overview, first_m=stretch.first_m))


def _draw(view: RollView, segment: Segment | None) -> str:
    from wideroll.report.overview_picture import draw_overview  # noqa: PLC0415  (slow to load)

    stretch = _stretch(view, segment)
    return draw_overview(stretch.overview, first_m=stretch.first_m)


def _stretch(view: RollView, segment: Segment | None) -> "Stretch":
    first, last = (0, view.cells.along) if segment is None else (segment.first, segment.last)
    return view.pyramid.stretch(first * view.pyramid.cell_m, last * view.pyramid.cell_m)


def draw_scale() -> str:
    """The scale of greys as SVG: a box for each of some departures, its percent beneath."""
    wide, tall = _BOX
    boxes = []
    for place, tick in enumerate(TICKS):
        grey, left = grey_of(tick), 1 + place * wide
        words = "0" if not tick else f"{'−' if tick < 0 else '+'}{abs(tick) * 100:g}"
        boxes.append(
            f'<rect x="{left}" y="1" width="{wide}" height="{tall}" fill="#{grey:02x}{grey:02x}{grey:02x}"'
            f' stroke="#1d2126"/><text x="{left + wide / 2:g}" y="{tall + 20}" text-anchor="middle">{words} %</text>'
        )
    size = f"{len(TICKS) * wide + 2} {tall + 28}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" font-family="Helvetica, Arial, sans-serif"'
        f' font-size="16" fill="#1d2126"><rect width="100%" height="100%" fill="#ffffff"/>{"".join(boxes)}</svg>'
    )
