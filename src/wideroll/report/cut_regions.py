"""Regions on a cut picture, and their numbers where they hide neither labels nor one another."""

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, TypeAlias

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from wideroll.report.canvas import Flag, arrange_flags, box, width_in_along
from wideroll.report.cut_marks import (
    AVOID_COLOUR,
    AVOID_HATCH,
    DOWNGRADED_COLOUR,
    DOWNGRADED_EDGE,
    DOWNGRADED_HATCH,
    Scene,
)
from wideroll.report.theme import PAPER, SMALL_PT
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid

__all__ = ["RegionNumber", "arranged_flags", "draw_avoided", "place_numbers"]

_LABEL_ROWS: Final = 3
_MOST_LEADERS: Final = 12
_NUMBER_HEIGHT: Final = 1.3
_ALONG: Final = 61
_ACROSS: Final = 9
_FEW: Final = 7
_CROWD: Final = 150
"""From so many regions on fewer places are tried for each number."""
_HIDES: Final = 100.0
_IN_ANOTHER: Final = 10.0
_ON_PIECE: Final = 3.0
_BESIDE: Final = (0.6, 1.2)
"""How far beside a region its number stands, in widths or heights of the number."""

_Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionNumber:
    """The number of a region's reason, and where its middle stands."""

    number: int
    avoid: Avoid
    along_m: float
    across_mm: float


@dataclass(frozen=True, slots=True)
class _Room:
    """A picture's labels, pieces and regions, and the numbers placed so far, as boxes (n, 4) along and across."""

    scene: Scene
    labels: _Floats
    pieces: _Floats
    regions: _Floats
    numbers: list[tuple[float, float, float, float]]

    def cost(self, spots: _Floats, size: tuple[float, float], own: int) -> _Floats:
        """(n,) what it costs the picture to put a number at each of the spots; infinite where it may not be."""
        web, half = self.scene.web, np.array(size) / 2.0
        low, high = spots - half, spots + half
        cost = np.where(_meets(low, high, self.labels), _HIDES, 0.0)
        cost += np.where(_meets(low, high, self.pieces), _ON_PIECE, 0.0)
        others = np.delete(self.regions, own, axis=0)
        cost += np.where(_meets(spots, spots, others), _IN_ANOTHER, 0.0)
        inside = (low >= (web.along_from_m, web.across_from_mm)) & (high <= (web.along_to_m, web.across_to_mm))
        taken = _meets(low, high, np.array(self.numbers).reshape(-1, 4))
        cost[taken | ~inside.all(axis=1)] = np.inf
        return cost


def draw_avoided(axes: Axes, scene: Scene, numbers: Iterable[RegionNumber]) -> None:
    """Avoided film crossed out, downgraded film dotted with what lies under it still to be seen, and the numbers."""
    for _, avoid, part in scene.regions():
        if avoid.downgrade:
            # dots under the pieces, whose own hatching says what they are; the outline over them
            axes.add_patch(box(part, facecolor="none", edgecolor=DOWNGRADED_COLOUR, hatch=DOWNGRADED_HATCH, lw=0.0))
        axes.add_patch(box(part, **(_downgraded() if avoid.downgrade else _avoided())))
    for one in numbers:
        axes.text(
            one.along_m,
            one.across_mm,
            str(one.number),
            ha="center",
            va="center_baseline",
            fontsize=SMALL_PT,
            color=_colour(one.avoid),
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
            zorder=8,
        )


def arranged_flags(scene: Scene, placed: Container[int]) -> tuple[Flag, ...]:
    """Numbers above the web, with leaders, for regions without room for theirs; none where they are too many.

    Args:
        scene: what is drawn.
        placed: ranks of the regions that have their numbers.
    """
    items = [
        ((part.along_from_m + part.along_to_m) / 2.0, part.across_to_mm, str(number), _colour(avoid))
        for rank, (number, avoid, part) in enumerate(scene.regions())
        if rank not in placed
    ]
    return arrange_flags(scene.web, items, rows=_LABEL_ROWS) if len(items) <= _MOST_LEADERS else ()


def place_numbers(scene: Scene) -> dict[int, RegionNumber]:
    """Numbers of the regions that find a place in or beside them, by the region's rank in the scene.

    Free film comes first, then pieces where no label is hidden. All of a number stands inside the picture.
    """
    regions = scene.regions()
    room = _Room(
        scene,
        np.array(scene.label_boxes()).reshape(-1, 4),
        _boxes([one.piece.extent for one in scene.pieces]),
        _boxes([part for _, _, part in regions]),
        [],
    )
    tall_mm = scene.tall_mm(SMALL_PT * _NUMBER_HEIGHT)
    placed: dict[int, RegionNumber] = {}
    for rank in sorted(range(len(regions)), key=lambda rank: regions[rank][2].area_m2):
        number, avoid, part = regions[rank]
        size = (width_in_along(scene.web, f"{number} "), tall_mm)
        for spots in (_within(scene, part, size, len(regions)), _beside(part, size)):
            spot = _best(room, spots, size, rank)
            if spot is not None:
                placed[rank] = RegionNumber(number=number, avoid=avoid, along_m=spot[0], across_mm=spot[1])
                low, high = np.array(spot) - np.array(size) / 2.0, np.array(spot) + np.array(size) / 2.0
                room.numbers.append((low[0], high[0], low[1], high[1]))
                break
    return placed


def _best(room: _Room, spots: _Floats, size: tuple[float, float], own: int) -> tuple[float, float] | None:
    """The spot that costs least, the nearest to the middle of those given; None where each hides something."""
    if not len(spots):
        return None
    part = room.regions[own]
    middle = np.array([(part[0] + part[1]) / 2.0, (part[2] + part[3]) / 2.0])
    web = room.scene.web
    far = np.abs((spots - middle) / (web.length_m, web.width_mm)).sum(axis=1)
    cost = room.cost(spots, size, own) + far
    best = int(np.argmin(cost))
    return (float(spots[best, 0]), float(spots[best, 1])) if cost[best] < _HIDES else None


def _within(scene: Scene, part: Extent, size: tuple[float, float], regions: int) -> _Floats:
    """Spots in a region that is long enough for its number; a number may be taller than its region."""
    if size[0] > part.length_m:
        return np.empty((0, 2))
    steps = (_ALONG, _ACROSS) if regions < _CROWD else (_FEW, 1)
    web = scene.web
    along = np.linspace(part.along_from_m + size[0] / 2.0, part.along_to_m - size[0] / 2.0, steps[0])
    low, high = part.across_from_mm + size[1] / 2.0, part.across_to_mm - size[1] / 2.0
    across = np.linspace(low, high, steps[1]) if low < high and steps[1] > 1 else np.array([(low + high) / 2.0])
    across = np.clip(across, web.across_from_mm + size[1] / 2.0, web.across_to_mm - size[1] / 2.0)
    return np.array(list(product(along.tolist(), across.tolist())))


def _beside(part: Extent, size: tuple[float, float]) -> _Floats:
    """Spots at the ends and sides of a region."""
    return np.array(list(_around(part, size)))


def _around(part: Extent, size: tuple[float, float]) -> Iterator[tuple[float, float]]:
    along = (part.along_from_m + part.along_to_m) / 2.0
    across = (part.across_from_mm + part.across_to_mm) / 2.0
    for step in _BESIDE:
        for place in (across, part.across_from_mm, part.across_to_mm):
            yield part.along_to_m + step * size[0], place
            yield part.along_from_m - step * size[0], place
        for place in (along, part.along_from_m, part.along_to_m):
            yield place, part.across_to_mm + step * size[1]
            yield place, part.across_from_mm - step * size[1]


def _meets(low: _Floats, high: _Floats, boxes: _Floats) -> NDArray[np.bool_]:
    """(n,) whether each of the boxes from ``low`` to ``high``, (n, 2), meets any of others."""
    along = (low[:, :1] < boxes[:, 1]) & (high[:, :1] > boxes[:, 0])
    across = (low[:, 1:] < boxes[:, 3]) & (high[:, 1:] > boxes[:, 2])
    return np.asarray((along & across).any(axis=1), dtype=np.bool_)


def _boxes(extents: Sequence[Extent]) -> _Floats:
    rows = [(one.along_from_m, one.along_to_m, one.across_from_mm, one.across_to_mm) for one in extents]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def _avoided() -> dict[str, object]:
    return {
        "facecolor": PAPER,
        "edgecolor": AVOID_COLOUR,
        "hatch": AVOID_HATCH,
        "linewidth": 0.8,
        "zorder": 4,
    }


def _downgraded() -> dict[str, object]:
    return {
        "facecolor": "none",
        "edgecolor": DOWNGRADED_COLOUR,
        "linestyle": DOWNGRADED_EDGE,
        "linewidth": 1.0,
        "zorder": 4.2,
    }


def _colour(avoid: Avoid) -> str:
    return DOWNGRADED_COLOUR if avoid.downgrade else AVOID_COLOUR
