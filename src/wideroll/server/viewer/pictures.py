"""Still pictures for those who have no scripts, or print: the web in coarse cells, and the scale of greys."""

from dataclasses import dataclass
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wideroll.server.desk import Desk
from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.greys import TICKS, grey_of, to_grey
from wideroll.server.viewer.kept import Kept
from wideroll.server.viewer.segments import LAYERS, Segment

if TYPE_CHECKING:
    from wideroll.store import Stretch

__all__ = ["StillTold", "chip_png", "draw_scale", "draw_still", "still_told"]

_KEPT_BYTES: Final = 16 << 20
_KEPT_WORDS: Final = 512
"""Still pictures whose words are held."""
_BOX: Final = (66, 34)
_NAMES: Final = 84


def draw_still(desk: Desk, view: RollView, segment: Segment | None) -> str:
    """A segment, or the whole roll, as SVG: mean above, worst beneath, in scales of their own."""
    stills: Kept[str] = desk.parts.setdefault("viewer stills", Kept(most_bytes=_KEPT_BYTES, size=len))
    return stills.get((view.roll, view.mark, segment), partial(_draw, view, segment))


@dataclass(frozen=True, slots=True, kw_only=True)
class StillTold:
    """Its caption, where the web departs most and how even it is otherwise; and as data the cells that depart most."""

    words: str
    data: dict[str, Any]


def still_told(desk: Desk, view: RollView, segment: Segment | None) -> StillTold:
    """A still picture in words and as data, worked out once."""
    told: Kept[StillTold] = desk.parts.setdefault("viewer words", Kept(most_bytes=_KEPT_WORDS, size=lambda _: 1))
    return told.get((view.roll, view.mark, segment), partial(_told, view, segment))


def _told(view: RollView, segment: Segment | None) -> StillTold:
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415  (slow to load)
    from wideroll.report.overview_picture import overview_caption, overview_grid  # noqa: PLC0415

    stretch = _stretch(view, segment)
    return StillTold(
        words=overview_caption(stretch.overview, first_m=stretch.first_m),
        data=grid_json(overview_grid(stretch.overview, first_m=stretch.first_m)),
    )


def _draw(view: RollView, segment: Segment | None) -> str:
    from wideroll.report.overview_picture import draw_overview  # noqa: PLC0415  (slow to load)

    stretch = _stretch(view, segment)
    return draw_overview(stretch.overview, first_m=stretch.first_m)


def _stretch(view: RollView, segment: Segment | None) -> "Stretch":
    first, last = (0, view.cells.along) if segment is None else (segment.first, segment.last)
    return view.pyramid.stretch(first * view.pyramid.cell_m, last * view.pyramid.cell_m)


def chip_png(path: Path) -> bytes:
    """A mark's chip as PNG, turned as the picture lies and in the greys of ``worst``, about its own middle level."""
    import numpy as np  # noqa: PLC0415  (slow to load)
    from PIL import Image  # noqa: PLC0415

    from wideroll.store import read_bytes  # noqa: PLC0415

    with Image.open(BytesIO(read_bytes(path))) as stored:
        pixels = np.asarray(stored, np.float64)
    greys = to_grey(pixels / max(float(np.median(pixels)), 1.0) - 1.0, "worst")
    buffer = BytesIO()
    Image.fromarray(np.ascontiguousarray(greys.T[::-1])).save(buffer, "PNG")
    return buffer.getvalue()


def draw_scale() -> str:
    """The scales of greys as SVG: for each layer a box for each of some departures, the percents beneath.

    The greys are written as rgb(), as no theme changes them.
    """
    wide, tall = _BOX
    drawn = []
    for line, layer in enumerate(LAYERS):
        top = 1 + line * tall
        drawn.append(f'<text x="{_NAMES - 8}" y="{top + tall * 0.65:g}" text-anchor="end">{layer}</text>')
        for place, tick in enumerate(TICKS):
            grey, left = ",".join(3 * [str(grey_of(tick, layer))]), _NAMES + place * wide
            box = f'x="{left}" y="{top}" width="{wide}" height="{tall}"'
            drawn.append(f'<rect {box} fill="rgb({grey})" stroke="#1d2126"/>')
    for place, tick in enumerate(TICKS):
        words = "0" if not tick else f"{'−' if tick < 0 else '+'}{abs(tick) * 100:g}"
        middle = _NAMES + (place + 0.5) * wide
        drawn.append(f'<text x="{middle:g}" y="{2 * tall + 20}" text-anchor="middle">{words} %</text>')
    size = f"{_NAMES + len(TICKS) * wide + 2} {2 * tall + 28}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" font-family="Helvetica, Arial, sans-serif"'
        f' font-size="16" fill="#1d2126"><rect width="100%" height="100%" fill="#ffffff"/>{"".join(drawn)}</svg>'
    )
