"""The cut on the web: pieces, knives, cross-cuts, and what they avoid."""

from typing import Final

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from wideroll.report.canvas import (
    Flag,
    arrange_flags,
    box,
    draw_flags,
    flags_height_in,
    stretch_ratio,
    web_axes,
    width_in_along,
)
from wideroll.report.cut_grids import slitter_m
from wideroll.report.quantities import show_number, show_share
from wideroll.report.svg import to_svg
from wideroll.report.theme import CUT_LINE, INK, MUTED, PAPER, SMALL_PT, TINTS, drawing
from wideroll.roll import Extent
from wideroll.slitting.model import CutPlan, Piece

__all__ = ["cut_caption", "draw_cut"]

_LANE_IN: Final = 0.135
_LEAST_IN: Final = 2.4
_MOST_IN: Final = 6.2
_BELOW_IN: Final = 0.72
_AXIS_IN: Final = 0.36
_MARGIN_IN: Final = 0.05
_AVOID_COLOUR: Final = "#8f1d2c"
_POINTS: Final = 72.0
_LABEL_ROWS: Final = 3


def draw_cut(plan: CutPlan, *, datum_edge: str = "x = 0", key: str = "cut") -> str:
    """The cut picture as SVG: the web as in the roll map, coated metres below and slitter metres above.

    Args:
        plan: the cut.
        datum_edge: which edge across is measured from.
        key: prefix of the ids in the SVG.
    """
    height = _height_in(plan)
    arranged = _arranged(plan)
    above = _AXIS_IN + flags_height_in(arranged) + _MARGIN_IN
    with drawing():
        figure, axes = web_axes(plan.whole, height_in=height, above_in=above, below_in=_BELOW_IN, datum_edge=datum_edge)
        axes.set_facecolor("#f3f4f6")
        _draw_pieces(axes, plan, height)
        _draw_avoided(axes, plan)
        draw_flags(axes, plan.whole, arranged, first_in=_AXIS_IN)
        _draw_knives(axes, plan)
        _add_slitter_axis(axes, plan)
        axes.legend(
            handles=_keys(plan),
            loc="upper left",
            bbox_to_anchor=(-0.02, -0.46 / height),
            ncols=5,
            handlelength=1.8,
            columnspacing=1.2,
            borderaxespad=0.0,
        )
        return to_svg(figure, key=key, title="Cut picture", description=cut_caption(plan))


def cut_caption(plan: CutPlan) -> str:
    """What the cut keeps, how sure it is the best, and the scales."""
    if not plan.pieces:
        return "No piece can be cut from this roll."
    kept = sum(piece.extent.area_m2 for piece in plan.pieces) / plan.whole.area_m2
    pieces = "1 piece keeps" if len(plan.pieces) == 1 else f"{len(plan.pieces)} pieces keep"
    proof = (
        "proven best for its knife step and cross-cut candidates"
        if plan.optimal
        else f"no cut under the same rules can be worth more than {show_number(plan.bound, 0)}"
    )
    ratio = stretch_ratio(plan.whole, height_in=_height_in(plan))
    return (
        f"{pieces} {show_share(kept)} of the web, worth {show_number(plan.value, 0)}; {proof}. "
        f"The slitter meets the tail first: its metres run from right to left. "
        f"Across is drawn {show_number(ratio, 0)} times larger than along."
    )


def _height_in(plan: CutPlan) -> float:
    lanes = max((len(run.lanes) for run in plan.runs), default=0)
    return min(max(_LEAST_IN, lanes * _LANE_IN), _MOST_IN)


def _draw_pieces(axes: Axes, plan: CutPlan, height_in: float) -> None:
    tints = {width.name: TINTS[rank % len(TINTS)] for rank, width in enumerate(plan.widths)}
    for piece in plan.pieces:
        axes.add_patch(
            box(piece.extent, facecolor=tints.get(piece.width, TINTS[-1]), edgecolor=INK, linewidth=0.35, zorder=2)
        )
        tall_pt = piece.extent.width_mm / plan.whole.width_mm * height_in * _POINTS
        text = _fitting_label(plan, piece)
        if text and tall_pt >= SMALL_PT + 0.5:
            axes.text(
                (piece.extent.along_from_m + piece.extent.along_to_m) / 2.0,
                (piece.extent.across_from_mm + piece.extent.across_to_mm) / 2.0,
                text,
                ha="center",
                va="center_baseline",
                fontsize=SMALL_PT,
                zorder=3,
            )


def _fitting_label(plan: CutPlan, piece: Piece) -> str:
    for text in (f"{piece.number} · {piece.width}", piece.number):
        if width_in_along(plan.whole, text) <= piece.extent.length_m:
            return text
    return ""


def _draw_avoided(axes: Axes, plan: CutPlan) -> None:
    for number, avoid in enumerate(plan.avoid, start=1):
        extent = avoid.extent
        axes.add_patch(box(extent, facecolor=PAPER, edgecolor=_AVOID_COLOUR, hatch="xxxx", linewidth=0.8, zorder=4))
        text = f"{number} {avoid.reason}"
        if _labelled_within(plan, extent, text):
            axes.text(
                (extent.along_from_m + extent.along_to_m) / 2.0,
                (extent.across_from_mm + extent.across_to_mm) / 2.0,
                text,
                ha="center",
                va="center_baseline",
                fontsize=SMALL_PT,
                color=_AVOID_COLOUR,
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
                zorder=8,
            )


def _arranged(plan: CutPlan) -> tuple[Flag, ...]:
    items: list[tuple[float, float, str, str]] = []
    for number, avoid in enumerate(plan.avoid, start=1):
        extent, text = avoid.extent, f"{number} {avoid.reason}"
        if not _labelled_within(plan, extent, text):
            middle = (extent.along_from_m + extent.along_to_m) / 2.0
            items.append((middle, extent.across_to_mm, text, _AVOID_COLOUR))
    return arrange_flags(plan.whole, items, rows=_LABEL_ROWS)


def _labelled_within(plan: CutPlan, extent: Extent, text: str) -> bool:
    """A leader from above would cross pieces, so a part that has room carries its own label."""
    return width_in_along(plan.whole, text) <= extent.length_m


def _draw_knives(axes: Axes, plan: CutPlan) -> None:
    ends = {place for run in plan.runs for place in (run.along_from_m, run.along_to_m)}
    cuts = ends | {place for piece in plan.pieces for place in (piece.extent.along_from_m, piece.extent.along_to_m)}
    for place in sorted(cuts):
        if plan.whole.along_from_m < place < plan.whole.along_to_m:
            full = place in ends
            axes.axvline(
                place,
                color=CUT_LINE,
                linewidth=1.6 if full else 0.7,
                linestyle="-" if full else (0.0, (2.0, 2.0)),
                zorder=5,
            )


def _add_slitter_axis(axes: Axes, plan: CutPlan) -> None:
    top = axes.twiny()
    top.set_xlim(*(slitter_m(plan, place) for place in axes.get_xlim()))
    top.set_xlabel("←  slitter, m", labelpad=2, loc="right")
    top.tick_params(length=3, pad=1)


def _keys(plan: CutPlan) -> list[Patch]:
    used = {piece.width for piece in plan.pieces}
    keys = [
        Patch(facecolor=TINTS[rank % len(TINTS)], edgecolor=INK, linewidth=0.5, label=width.name)
        for rank, width in enumerate(plan.widths)
        if width.name in used
    ]
    if plan.avoid:
        keys.append(Patch(facecolor=PAPER, edgecolor=_AVOID_COLOUR, hatch="xxxx", linewidth=0.7, label="avoided"))
    keys.append(Patch(facecolor="#f3f4f6", edgecolor=MUTED, linewidth=0.5, label="trim and waste"))
    return keys
