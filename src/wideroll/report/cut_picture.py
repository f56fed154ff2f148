"""The cut on the web: pieces, knife sets, cross-cuts, and what they avoid."""

from collections.abc import Sequence
from itertools import product
from textwrap import wrap
from typing import Final

from matplotlib.axes import Axes
from matplotlib.patches import Patch

from wideroll.release.model import Verdict
from wideroll.report.canvas import (
    Flag,
    arrange_flags,
    box,
    draw_band,
    draw_flags,
    figure_of,
    flags_height_in,
    stretch_ratio,
    web_axes,
    width_in_along,
)
from wideroll.report.cut_grids import slitter_m
from wideroll.report.knife_grids import lane_of, ordered_runs, usable_m
from wideroll.report.quantities import show_number, show_share
from wideroll.report.svg import to_svg
from wideroll.report.theme import CUT_LINE, INK, MUTED, PAPER, SMALL_PT, TINTS, VERDICTS, drawing
from wideroll.roll import Extent
from wideroll.slitting.model import CutPlan, Piece

__all__ = ["cut_caption", "draw_cut"]

_LANE_IN: Final = 0.135
_LEAST_IN: Final = 2.4
_MOST_IN: Final = 6.8
_BELOW_IN: Final = 0.72
_AXIS_IN: Final = 0.36
_BAND_IN: Final = 0.17
_TITLE_IN: Final = 0.2
_LINE_IN: Final = 0.14
_MARGIN_IN: Final = 0.05
_AVOID_COLOUR: Final = "#8f1d2c"
_POINTS: Final = 72.0
_LABEL_ROWS: Final = 3
_REASON_LETTERS: Final = 112
_DIGIT_HEIGHT: Final = 0.92
_LEAST_PT: Final = 5.0
_GOOD_PT: Final = 5.5
_SPOTS: Final = tuple((along, across) for across, along in product((0.5, 0.25, 0.75), (0.5, 0.25, 0.75, 0.1, 0.9)))


def draw_cut(
    plan: CutPlan, *, datum_edge: str = "x = 0", roll: str = "", provisional: bool = False, key: str = "cut"
) -> str:
    """The cut picture as SVG: the web as in the roll map, coated metres below and slitter metres above.

    Args:
        plan: the cut.
        datum_edge: which edge across is measured from.
        roll: name of the roll, for the title.
        provisional: whether the roll is on hold, so that nothing may be slit by this picture.
        key: prefix of the ids in the SVG.
    """
    height = _height_in(plan)
    arranged = _arranged(plan)
    reasons = _reason_lines(plan)
    flags_in = flags_height_in(arranged)
    title = _title(roll, provisional=provisional)
    with drawing():
        figure, axes = web_axes(
            plan.whole,
            height_in=height,
            above_in=_BAND_IN + flags_in + _AXIS_IN + _TITLE_IN + _MARGIN_IN,
            below_in=_BELOW_IN + len(reasons) * _LINE_IN,
            datum_edge=datum_edge,
        )
        axes.set_facecolor("#f3f4f6")
        _draw_pieces(axes, plan, height)
        _draw_avoided(axes, plan)
        _draw_sets(axes, plan)
        draw_flags(axes, plan.whole, arranged, first_in=_BAND_IN)
        _draw_knives(axes, plan)
        _add_slitter_axis(axes, plan, lifted_in=_BAND_IN + flags_in)
        _write_title(axes, title, provisional=provisional)
        _write_below(axes, plan, height, reasons)
        return to_svg(figure, key=key, title=title, description=cut_caption(plan))


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


def _title(roll: str, *, provisional: bool) -> str:
    name = f"Cut picture of roll {roll}" if roll else "Cut picture"
    return f"{name} – PROVISIONAL: on hold, don't slit" if provisional else name


def _height_in(plan: CutPlan) -> float:
    """Tall enough for the number of lanes, and for the narrowest to hold its label."""
    lanes = max((len(run.lanes) for run in plan.runs), default=0)
    narrowest = min((piece.extent.width_mm for piece in plan.pieces), default=plan.whole.width_mm)
    labelled = _GOOD_PT * _DIGIT_HEIGHT / _POINTS * plan.whole.width_mm / narrowest
    return min(max(_LEAST_IN, lanes * _LANE_IN, labelled), _MOST_IN)


def _draw_pieces(axes: Axes, plan: CutPlan, height_in: float) -> None:
    tints = {width.name: TINTS[rank % len(TINTS)] for rank, width in enumerate(plan.widths)}
    for piece in plan.pieces:
        axes.add_patch(
            box(piece.extent, facecolor=tints.get(piece.width, TINTS[-1]), edgecolor=INK, linewidth=0.35, zorder=2)
        )
        tall_pt = piece.extent.width_mm / plan.whole.width_mm * height_in * _POINTS
        # figures have no letters that reach below the line, so a narrow lane still holds them
        size = min(SMALL_PT, tall_pt / _DIGIT_HEIGHT)
        text = _fitting_label(plan, piece, size)
        if text and size >= _LEAST_PT:
            axes.text(
                (piece.extent.along_from_m + piece.extent.along_to_m) / 2.0,
                (piece.extent.across_from_mm + piece.extent.across_to_mm) / 2.0,
                text,
                ha="center",
                va="center_baseline",
                fontsize=size,
                zorder=3,
            )


def _fitting_label(plan: CutPlan, piece: Piece, size_pt: float) -> str:
    for text in (f"{piece.number} · {piece.width}", piece.number, lane_of(piece)):
        if width_in_along(plan.whole, text) * size_pt / SMALL_PT <= piece.extent.length_m:
            return text
    return ""


def _draw_avoided(axes: Axes, plan: CutPlan) -> None:
    for avoid in plan.avoid:
        axes.add_patch(
            box(avoid.extent, facecolor=PAPER, edgecolor=_AVOID_COLOUR, hatch="xxxx", linewidth=0.8, zorder=4)
        )
    for number, (along, across) in _numbers_within(plan).items():
        axes.text(
            along,
            across,
            str(number),
            ha="center",
            va="center_baseline",
            fontsize=SMALL_PT,
            color=_AVOID_COLOUR,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
            zorder=8,
        )


def _numbers_within(plan: CutPlan) -> dict[int, tuple[float, float]]:
    """Where each avoided part that has room carries its number (along m, across mm), no two on one spot.

    A leader from above would cross pieces, so only parts without room get one.
    """
    across_mm = plan.whole.width_mm * SMALL_PT * 1.3 / (_POINTS * _height_in(plan))
    placed: dict[int, tuple[float, float]] = {}
    for number, avoid in enumerate(plan.avoid, start=1):
        extent, along_m = avoid.extent, width_in_along(plan.whole, f" {number} ")
        if along_m > extent.length_m:
            continue
        spots = [
            (extent.along_from_m + along * extent.length_m, extent.across_from_mm + across * extent.width_mm)
            for along, across in _SPOTS
        ]
        free = [
            (along, across)
            for along, across in spots
            if not any(abs(along - a) < along_m and abs(across - b) < across_mm for a, b in placed.values())
        ]
        others = [other.extent for other in plan.avoid if other is not avoid]
        alone = (spot for spot in free if not any(_covers(other, *spot) for other in others))
        placed[number] = next(alone, (*free, spots[0])[0])
    return placed


def _covers(extent: Extent, along_m: float, across_mm: float) -> bool:
    return (
        extent.along_from_m <= along_m <= extent.along_to_m
        and extent.across_from_mm <= across_mm <= extent.across_to_mm
    )


def _arranged(plan: CutPlan) -> tuple[Flag, ...]:
    within = _numbers_within(plan)
    items = [
        (
            (avoid.extent.along_from_m + avoid.extent.along_to_m) / 2.0,
            avoid.extent.across_to_mm,
            str(number),
            _AVOID_COLOUR,
        )
        for number, avoid in enumerate(plan.avoid, start=1)
        if number not in within
    ]
    return arrange_flags(plan.whole, items, rows=_LABEL_ROWS)


def _reason_lines(plan: CutPlan) -> list[str]:
    """What is avoided and why: the numbers on the picture, those with one reason together."""
    numbers: dict[str, list[str]] = {}
    for number, avoid in enumerate(plan.avoid, start=1):
        numbers.setdefault(avoid.reason, []).append(str(number))
    return wrap(" · ".join(f"{', '.join(those)} {reason}" for reason, those in numbers.items()), _REASON_LETTERS)


def _draw_sets(axes: Axes, plan: CutPlan) -> None:
    """A band that says from where to where each knife set cuts pieces."""
    spans: list[tuple[float, float, Sequence[str]]] = []
    for number, run in enumerate(ordered_runs(plan), start=1):
        stretches = usable_m(plan, run)
        longest = max(stretches, key=lambda one: one[1] - one[0], default=None)
        for stretch in stretches:
            texts = (f"knife set {number}", f"set {number}", str(number)) if stretch == longest else ()
            spans.append((*stretch, texts))
    draw_band(axes, plan.whole, spans, height_in=_BAND_IN)


def _draw_knives(axes: Axes, plan: CutPlan) -> None:
    """A thick line where the knives are set anew, a thin one at the end of each piece."""
    for place in sorted({place for run in plan.runs for place in (run.along_from_m, run.along_to_m)}):
        if plan.whole.along_from_m < place < plan.whole.along_to_m:
            axes.axvline(place, color=CUT_LINE, linewidth=1.6, zorder=5)
    ends = sorted(
        (place, piece.extent.across_from_mm, piece.extent.across_to_mm)
        for piece in plan.pieces
        for place in (piece.extent.along_from_m, piece.extent.along_to_m)
        if plan.whole.along_from_m < place < plan.whole.along_to_m
    )
    if ends:
        places, low, high = zip(*ends, strict=True)
        axes.vlines(places, low, high, colors=CUT_LINE, linewidth=0.9, zorder=5)


def _add_slitter_axis(axes: Axes, plan: CutPlan, *, lifted_in: float) -> None:
    top = axes.twiny()
    top.set_xlim(*(slitter_m(plan, place) for place in axes.get_xlim()))
    top.set_xlabel("←  slitter, m", labelpad=2, loc="right")
    top.tick_params(length=3, pad=1)
    top.spines["top"].set_position(("outward", lifted_in * _POINTS))
    top.patch.set_visible(False)


def _write_title(axes: Axes, title: str, *, provisional: bool) -> None:
    figure = figure_of(axes)
    figure.text(
        axes.get_position().x0,
        1.0 - 0.5 * _TITLE_IN / figure.get_figheight(),
        title,
        color=VERDICTS[Verdict.HOLD].colour if provisional else INK,
        fontweight="bold",
        va="center",
    )


def _write_below(axes: Axes, plan: CutPlan, height_in: float, reasons: Sequence[str]) -> None:
    axes.legend(
        handles=_keys(plan),
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.46 / height_in),
        ncols=5,
        handlelength=1.8,
        columnspacing=1.2,
        borderaxespad=0.0,
    )
    figure = figure_of(axes)
    for rank, line in enumerate(reversed(reasons)):
        figure.text(
            axes.get_position().x0,
            (0.3 + rank) * _LINE_IN / figure.get_figheight(),
            line,
            fontsize=SMALL_PT,
            color=_AVOID_COLOUR,
            va="baseline",
        )


def _keys(plan: CutPlan) -> list[Patch]:
    used = {piece.width for piece in plan.pieces}
    keys = [
        Patch(facecolor=TINTS[rank % len(TINTS)], edgecolor=INK, linewidth=0.5, label=width.name)
        for rank, width in enumerate(plan.widths)
        if width.name in used
    ]
    if plan.avoid:
        keys.append(
            Patch(facecolor=PAPER, edgecolor=_AVOID_COLOUR, hatch="xxxx", linewidth=0.7, label="avoided, as numbered")
        )
    keys.append(Patch(facecolor="#f3f4f6", edgecolor=MUTED, linewidth=0.5, label="trim and waste"))
    return keys
