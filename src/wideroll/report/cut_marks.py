"""The part of the web that a cut picture shows: its scale, the labels that fit, and the regions on it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from textwrap import wrap
from typing import Final, TypeAlias

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from wideroll.report.canvas import Flag, arrange_flags, box, width_in_along
from wideroll.report.cut_places import PlacedPiece, place_pieces, reason_numbers
from wideroll.report.theme import PAPER, SMALL_PT
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CutPlan, Quality

__all__ = ["AVOID_COLOUR", "Dashes", "Scene", "arranged_flags", "draw_avoided", "reason_lines", "scene_of"]

Dashes: TypeAlias = tuple[float, tuple[float, ...]]
"""Where a dash pattern begins, and its strokes and gaps in points."""

AVOID_COLOUR: Final = "#8f1d2c"
_DOWNGRADED_COLOUR: Final = "#7a5200"
_AVOID_HATCH: Final = "xxxx"
_DOWNGRADED_HATCH: Final = ".."
_DOWNGRADED_EDGE: Final[Dashes] = (0.0, (6.0, 2.0, 1.5, 2.0))
_LANE_IN: Final = 0.135
_LEAST_IN: Final = 2.4
_MOST_IN: Final = 6.6
_POINTS: Final = 72.0
_LABEL_ROWS: Final = 3
_REASON_LETTERS: Final = 112
_DIGIT_HEIGHT: Final = 0.92
_LEAST_PT: Final = 5.0
_GOOD_PT: Final = 5.5
_MANY: Final = 200
_MOST_LEADERS: Final = 12
_SPOTS: Final = tuple((along, across) for across, along in product((0.5, 0.25, 0.75), (0.5, 0.25, 0.75, 0.1, 0.9)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A plan and the part of its web that is drawn, with the pieces that lie in it."""

    plan: CutPlan
    web: Extent
    height_in: float
    pieces: tuple[PlacedPiece, ...]
    many: int = _MANY
    """From so many ends of pieces on they are drawn finer."""

    def label(self, one: PlacedPiece) -> tuple[str, float]:
        """The longest label that fits a piece, empty where none does, and its size in points."""
        part = one.piece.extent.meet(self.web)
        if part is None:
            return "", 0.0
        tall_pt = part.width_mm / self.web.width_mm * self.height_in * _POINTS
        # figures have no letters that reach below the line, so a narrow lane still holds them
        size = min(SMALL_PT, tall_pt / _DIGIT_HEIGHT)
        if size < _LEAST_PT:
            return "", size
        fit = (text for text in _labels(one) if width_in_along(self.web, text) * size / SMALL_PT <= part.length_m)
        return next(fit, ""), size

    def label_boxes(self) -> tuple[tuple[float, float, float, float], ...]:
        """The labels of the pieces: from and to along in m, from and to across in mm."""
        boxes: list[tuple[float, float, float, float]] = []
        for one in self.pieces:
            text, size = self.label(one)
            part = one.piece.extent.meet(self.web)
            if text and part is not None:
                half = width_in_along(self.web, text) * size / SMALL_PT / 2.0
                middle = (part.along_from_m + part.along_to_m) / 2.0
                boxes.append((middle - half, middle + half, part.across_from_mm, part.across_to_mm))
        return tuple(boxes)

    def regions(self) -> tuple[tuple[int, Avoid, Extent], ...]:
        """The regions in the picture: the number of the reason, the region, and its part in the picture."""
        numbers = reason_numbers(self.plan)
        met = ((one, one.extent.meet(self.web)) for one in self.plan.avoid)
        return tuple((numbers[one.reason], one, part) for one, part in met if part is not None)

    def region_keys(self) -> list[Patch]:
        """What hatched film means."""
        downgraded = [one.downgrade for one in self.plan.avoid]
        keys = [
            Patch(
                facecolor=PAPER, edgecolor=AVOID_COLOUR, hatch=_AVOID_HATCH, linewidth=0.7, label="avoided, as numbered"
            )
        ]
        if any(downgraded):
            keys.append(
                Patch(
                    facecolor="none",
                    edgecolor=_DOWNGRADED_COLOUR,
                    hatch=_DOWNGRADED_HATCH,
                    linestyle=_DOWNGRADED_EDGE,
                    linewidth=1.0,
                    label="downgraded, as numbered",
                )
            )
        return [*(keys[:1] if not all(downgraded) else []), *keys[1:]]


def scene_of(plan: CutPlan, stretch: tuple[float, float] | None, placed: Sequence[PlacedPiece] | None = None) -> Scene:
    """The whole web, or a stretch of it in coated metres: tall enough for its lanes, the narrowest with its label.

    Args:
        plan: the cut.
        stretch: from and to; None for the whole web.
        placed: the plan's pieces (``place_pieces``), where they are known.
    """
    placed = place_pieces(plan) if placed is None else placed
    web = plan.whole if stretch is None else replace(plan.whole, along_from_m=stretch[0], along_to_m=stretch[1])
    pieces = tuple(one for one in placed if one.piece.extent.meet(web) is not None)
    lanes = max((len(run.lanes) for run in plan.runs), default=0)
    narrowest = min((piece.extent.width_mm for piece in plan.pieces), default=web.width_mm)
    labelled = _GOOD_PT * _DIGIT_HEIGHT / _POINTS * web.width_mm / narrowest
    height_in = min(max(_LEAST_IN, lanes * _LANE_IN, labelled), _MOST_IN)
    return Scene(plan=plan, web=web, height_in=height_in, pieces=pieces)


def draw_avoided(axes: Axes, scene: Scene) -> None:
    """Avoided film crossed out, downgraded film dotted with what lies under it still to be seen; numbers by reason."""
    for _, avoid, part in scene.regions():
        if avoid.downgrade:
            # dots under the pieces, whose own hatching says what they are; the outline over them
            axes.add_patch(box(part, facecolor="none", edgecolor=_DOWNGRADED_COLOUR, hatch=_DOWNGRADED_HATCH, lw=0.0))
        axes.add_patch(box(part, **(_downgraded() if avoid.downgrade else _avoided())))
    within = _numbers_within(scene)
    beside = {} if _with_leaders(scene, within) else _numbers_beside(scene, within)
    for number, colour, along, across in (*within.values(), *beside.values()):
        axes.text(
            along,
            across,
            str(number),
            ha="center",
            va="center_baseline",
            fontsize=SMALL_PT,
            color=colour,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
            zorder=8,
        )


def arranged_flags(scene: Scene) -> tuple[Flag, ...]:
    """Numbers above the web, with leaders, for regions without room for theirs; none where they are too many."""
    within = _numbers_within(scene)
    items = [
        ((part.along_from_m + part.along_to_m) / 2.0, part.across_to_mm, str(number), _colour(avoid))
        for rank, (number, avoid, part) in enumerate(scene.regions())
        if rank not in within
    ]
    return arrange_flags(scene.web, items, rows=_LABEL_ROWS) if _with_leaders(scene, within) else ()


def reason_lines(plan: CutPlan) -> list[str]:
    """What is avoided and why: the numbers on the picture with their reasons."""
    downgraded = {one.reason for one in plan.avoid if one.downgrade}
    words = (
        f"{number} {reason}{' (second quality)' if reason in downgraded else ''}"
        for reason, number in reason_numbers(plan).items()
    )
    return wrap(" · ".join(words), _REASON_LETTERS)


def _labels(one: PlacedPiece) -> Sequence[str]:
    second = one.piece.quality is Quality.SECOND
    if one.parts > 1:
        name = f"{one.roll.number} {one.part}/{one.parts}"
        return f"{name} · {one.piece.width}", name, one.roll.number
    name = one.roll.number
    if second:
        return f"◇ {name} · {one.piece.width} · second", f"◇ {name} second", f"◇{name}", name
    return f"{name} · {one.piece.width}", name


def _avoided() -> dict[str, object]:
    return {
        "facecolor": PAPER,
        "edgecolor": AVOID_COLOUR,
        "hatch": _AVOID_HATCH,
        "linewidth": 0.8,
        "zorder": 4,
    }


def _downgraded() -> dict[str, object]:
    return {
        "facecolor": "none",
        "edgecolor": _DOWNGRADED_COLOUR,
        "linestyle": _DOWNGRADED_EDGE,
        "linewidth": 1.0,
        "zorder": 4.2,
    }


def _colour(avoid: Avoid) -> str:
    return _DOWNGRADED_COLOUR if avoid.downgrade else AVOID_COLOUR


_Numbers: TypeAlias = dict[int, tuple[int, str, float, float]]
"""Of each region that carries its number: the number, its colour, and where it stands along in m and across in mm."""


def _with_leaders(scene: Scene, within: _Numbers) -> bool:
    """Whether the regions without room for their numbers are few enough for leaders from above."""
    return len(scene.regions()) - len(within) <= _MOST_LEADERS


def _number_mm(scene: Scene) -> float:
    """Millimetres across that a number takes."""
    return scene.web.width_mm * SMALL_PT * 1.3 / (_POINTS * scene.height_in)


def _numbers_within(scene: Scene) -> _Numbers:
    """Numbers of the regions that have room for them, no two on one spot.

    A leader from above would cross pieces, so only regions without room get one.
    """
    regions = scene.regions()
    across_mm = _number_mm(scene)
    labels = scene.label_boxes()
    placed: _Numbers = {}
    for rank, (number, avoid, part) in enumerate(regions):
        along_m = width_in_along(scene.web, f" {number} ")
        if along_m > part.length_m:
            continue
        spots = [
            (part.along_from_m + along * part.length_m, part.across_from_mm + across * part.width_mm)
            for along, across in _SPOTS
        ]
        taken = [place[2:] for place in placed.values()]
        free = [spot for spot in spots if _is_free(spot, taken, along_m, across_mm)]
        others = [other for place, (_, _, other) in enumerate(regions) if place != rank]
        alone = [spot for spot in free if not any(_covers(other, *spot) for other in others)]
        clear = (spot for spot in alone if not _hides(spot, labels, along_m, across_mm))
        placed[rank] = (number, _colour(avoid), *next(clear, (*alone, *free, spots[0])[0]))
    return placed


def _numbers_beside(scene: Scene, within: _Numbers) -> _Numbers:
    """Numbers beside the regions without room for them, where they hide neither a label nor another number."""
    across_mm = _number_mm(scene)
    taken = [place[2:] for place in within.values()]
    labels = scene.label_boxes()
    placed: _Numbers = {}
    for rank, (number, avoid, part) in enumerate(scene.regions()):
        if rank in within:
            continue
        along_m = width_in_along(scene.web, f"{number} ")
        middle_mm = (part.across_from_mm + part.across_to_mm) / 2.0
        for along in (part.along_to_m + 0.7 * along_m, part.along_from_m - 0.7 * along_m):
            spot = (along, middle_mm)
            inside = scene.web.along_from_m <= along - along_m and along + along_m <= scene.web.along_to_m
            hides = _hides(spot, labels, along_m, across_mm)
            if inside and not hides and _is_free(spot, taken, along_m, across_mm):
                placed[rank] = (number, _colour(avoid), *spot)
                taken.append(spot)
                break
    return placed


def _hides(
    spot: tuple[float, float], labels: Sequence[tuple[float, float, float, float]], along_m: float, across_mm: float
) -> bool:
    """Whether a number there lies over a label of a piece."""
    along, across = spot
    half_m, half_mm = along_m / 2.0, across_mm / 2.0
    return any(
        low < along + half_m and high > along - half_m and lower < across + half_mm and upper > across - half_mm
        for low, high, lower, upper in labels
    )


def _is_free(spot: tuple[float, float], taken: Sequence[tuple[float, float]], along_m: float, across_mm: float) -> bool:
    return not any(abs(spot[0] - along) < along_m and abs(spot[1] - across) < across_mm for along, across in taken)


def _covers(extent: Extent, along_m: float, across_mm: float) -> bool:
    return (
        extent.along_from_m <= along_m <= extent.along_to_m
        and extent.across_from_mm <= across_mm <= extent.across_to_mm
    )
