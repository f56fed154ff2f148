"""The part of the web that a cut picture shows: its scale, the labels that fit, and the regions on it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from textwrap import wrap
from typing import Final, TypeAlias

from matplotlib.patches import Patch

from wideroll.report.canvas import width_in_along
from wideroll.report.cut_places import PlacedPiece, place_pieces, reason_numbers
from wideroll.report.theme import PAPER, SMALL_PT
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CutPlan, Quality

__all__ = [
    "AVOID_COLOUR",
    "AVOID_HATCH",
    "DOWNGRADED_COLOUR",
    "DOWNGRADED_EDGE",
    "DOWNGRADED_HATCH",
    "Dashes",
    "Scene",
    "reason_lines",
    "scene_of",
]

Dashes: TypeAlias = tuple[float, tuple[float, ...]]
"""Where a dash pattern begins, and its strokes and gaps in points."""

AVOID_COLOUR: Final = "#8f1d2c"
DOWNGRADED_COLOUR: Final = "#7a5200"
AVOID_HATCH: Final = "xxxx"
DOWNGRADED_HATCH: Final = ".."
DOWNGRADED_EDGE: Final[Dashes] = (0.0, (6.0, 2.0, 1.5, 2.0))
_LANE_IN: Final = 0.135
_LEAST_IN: Final = 2.4
_MOST_IN: Final = 6.6
_POINTS: Final = 72.0
_REASON_LETTERS: Final = 112
_DIGIT_HEIGHT: Final = 0.92
_LEAST_PT: Final = 5.0
_WRITTEN: Final = 0.86
"""Of the width that labels are given, what figures and short words take of it."""
_GOOD_PT: Final = 5.5
_MANY: Final = 200


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
                half_m = width_in_along(self.web, text) * _WRITTEN * size / SMALL_PT / 2.0
                half_mm = min(self.tall_mm(size * _DIGIT_HEIGHT), part.width_mm) / 2.0
                along = (part.along_from_m + part.along_to_m) / 2.0
                across = (part.across_from_mm + part.across_to_mm) / 2.0
                boxes.append((along - half_m, along + half_m, across - half_mm, across + half_mm))
        return tuple(boxes)

    def tall_mm(self, points: float) -> float:
        """Millimetres across that so many points take on the picture."""
        return self.web.width_mm * points / (_POINTS * self.height_in)

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
                facecolor=PAPER, edgecolor=AVOID_COLOUR, hatch=AVOID_HATCH, linewidth=0.7, label="avoided, as numbered"
            )
        ]
        if any(downgraded):
            keys.append(
                Patch(
                    facecolor="none",
                    edgecolor=DOWNGRADED_COLOUR,
                    hatch=DOWNGRADED_HATCH,
                    linestyle=DOWNGRADED_EDGE,
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
