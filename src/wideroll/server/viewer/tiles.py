"""Tiles of a segment as small grey pictures, and what was made of them before."""

from dataclasses import dataclass
from functools import partial
from io import BytesIO
from typing import TYPE_CHECKING, Final

from wideroll.server.desk import Desk
from wideroll.server.viewer.data import RollView
from wideroll.server.viewer.greys import SCALE_VERSION, UNSEEN, to_grey
from wideroll.server.viewer.kept import Kept
from wideroll.server.viewer.segments import LAYERS, TILE, Layer, Level, Segment

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from wideroll.server.viewer.pixels import PixelSource

__all__ = ["Place", "draw_tile", "find_place", "tile_mark"]

_STRIPS_BYTES: Final = 48 << 20
_TILES_BYTES: Final = 48 << 20
_PNG_LEVEL: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Which tile: of a layer of a level of a segment, counted from the head and from the far edge of the web."""

    segment: Segment
    layer: Layer
    level: Level
    x: int
    y: int


def find_place(view: RollView, asked: tuple[str, str, str], x_y: str) -> Place | None:
    """The tile that an address names; None when there is none.

    Args:
        view: of the roll.
        asked: segment, layer and level.
        x_y: such as ``3_0``.
    """
    number, layer, level = _count(asked[0]), next((one for one in LAYERS if one == asked[1]), None), _count(asked[2])
    x, y = (_count(word) for word in x_y.split("_")) if x_y.count("_") == 1 else (None, None)
    segments = view.segments
    if number is None or level is None or layer is None or x is None or y is None or not 1 <= number <= len(segments):
        return None
    segment = segments[number - 1]
    levels = view.levels(segment)
    if level >= len(levels) or x >= levels[level].tiles[0] or y >= levels[level].tiles[1]:
        return None
    return Place(segment=segment, layer=layer, level=levels[level], x=x, y=y)


def _count(word: str) -> int | None:
    return int(word) if word.isascii() and word.isdigit() and len(word) < len("10000000") else None


def tile_mark(view: RollView) -> str:
    """Changes when a tile of the roll may look different."""
    return f"{view.mark}-{SCALE_VERSION}"


def draw_tile(desk: Desk, view: RollView, place: Place) -> bytes:
    """A tile as PNG, the same bytes each time: along to the right, across upwards.

    Each pixel is one cell or block of pixels, in the scale of ``greys``; what nobody looked at is clear.
    """
    tiles: Kept[bytes] = desk.parts.setdefault("viewer tiles", Kept(most_bytes=_TILES_BYTES, size=len))
    return tiles.get((view.roll, view.mark, place), partial(_draw, desk, view, place))


def _draw(desk: Desk, view: RollView, place: Place) -> bytes:
    from PIL import Image  # noqa: PLC0415  (slow to load)

    strips: Kept[NDArray[np.uint8]] = desk.parts.setdefault(
        "viewer strips", Kept(most_bytes=_STRIPS_BYTES, size=lambda strip: strip.nbytes)
    )
    key = (view.roll, view.mark, place.segment.number, place.level.number, place.x)
    strip = strips.get(key, partial(_strip, view, place))
    greys = strip[LAYERS.index(place.layer), place.y * TILE : (place.y + 1) * TILE]
    buffer = BytesIO()
    Image.fromarray(greys).save(buffer, "PNG", compress_level=_PNG_LEVEL, transparency=UNSEEN)
    return buffer.getvalue()


def _strip(view: RollView, place: Place) -> "NDArray[np.uint8]":
    """Greys ``(layer, from the far edge down, along)`` of all tiles beneath one another."""
    import numpy as np  # noqa: PLC0415  (slow to load)

    level, first = place.level, place.x * TILE
    columns = min(TILE, level.columns - first)
    cells = _of_cells if level.cells is not None else _of_pixels
    departures = np.full((len(LAYERS), columns, level.rows), np.nan, np.float32)
    found = cells(view, place, first, columns)
    departures[:, : found.shape[1], : found.shape[2]] = found[:, :, : level.rows]
    greys = np.stack([to_grey(one, layer) for layer, one in zip(LAYERS, departures, strict=True)])
    return np.ascontiguousarray(greys.transpose(0, 2, 1)[:, ::-1])


def _of_cells(view: RollView, place: Place, first: int, columns: int) -> "NDArray[np.float32]":
    import numpy as np  # noqa: PLC0415  (slow to load)

    level = place.level.cells or 0
    size = view.pyramid.cell_m * 2.0**level
    row = (place.segment.first >> level) + first
    overview = view.pyramid.stretch(row * size, (row + columns) * size, level=level).overview
    return np.stack([overview.mean, overview.worst]) - np.float32(1.0)


def _of_pixels(view: RollView, place: Place, first: int, columns: int) -> "NDArray[np.float32]":
    from wideroll.server.viewer.pixels import read_pixels  # noqa: PLC0415  (slow to load)

    joined = place.level.joined
    lines = round(view.pyramid.cell_m * 1000.0 / _source(view).card.pitch_mm[0])
    start = place.segment.first * lines + first * joined
    end = min(start + columns * joined, place.segment.last * lines)
    return read_pixels(_source(view), start, end - start, joined)


def _source(view: RollView) -> "PixelSource":
    from wideroll.server.viewer.pixels import PixelSource  # noqa: PLC0415  (slow to load)

    if view.raster is None or view.card is None:
        raise FileNotFoundError(view.roll)
    return PixelSource(raster=view.raster, pyramid=view.pyramid, card=view.card)
