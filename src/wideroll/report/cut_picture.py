"""The cut on the web: pieces, knife sets, stops, cross-cuts and wishes, and what they avoid."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

from wideroll.release.model import Verdict
from wideroll.report.canvas import Flag, box, draw_band, draw_flags, figure_of, flags_height_in, stretch_ratio, web_axes
from wideroll.report.cut_head import CutHead, CutUnits
from wideroll.report.cut_marks import AVOID_COLOUR, Dashes, Scene, reason_lines, scene_of
from wideroll.report.cut_places import SAME_M, knife_sets, place_pieces, slitter_m
from wideroll.report.cut_regions import arranged_flags, draw_avoided, place_numbers
from wideroll.report.cut_words import kept_sentence
from wideroll.report.frames import Frame, frame_of
from wideroll.report.quantities import show_number
from wideroll.report.svg import to_svg
from wideroll.report.theme import CUT_LINE, INK, MUTED, PAPER, SMALL_PT, TINTS, VERDICTS, drawing
from wideroll.slitting.model import CrossCutAt, CutPlan, KnifeAt, Quality

__all__ = ["cut_caption", "cut_frame", "detail_stretches", "draw_cut"]

_BELOW_IN: Final = 0.58
_KEY_IN: Final = 0.15
_AXIS_IN: Final = 0.36
_BAND_IN: Final = 0.17
_TITLE_IN: Final = 0.2
_LINE_IN: Final = 0.14
_MARGIN_IN: Final = 0.05
_POINTS: Final = 72.0
_TICKS: Final = 9
_KEYS_IN_A_ROW: Final = 4
_SETUP_PT: Final = 1.6
_STOP: Final[Dashes] = (0.0, (5.0, 3.0))
_WISH: Final[Dashes] = (0.0, (7.0, 2.0, 1.5, 2.0))
_LINK: Final[Dashes] = (0.0, (1.0, 1.2))
_SECOND_EDGE: Final[Dashes] = (0.0, (2.5, 1.5))
_SECOND_HATCH: Final = "///"
_WISH_COLOUR: Final = "#0a4f8a"
_WASTE: Final = "#f3f4f6"
_ENOUGH: Final = 0.6
"""Share of the pieces that must carry a label for one picture to do."""
_MOST_DETAILS: Final = 6


def draw_cut(plan: CutPlan, head: CutHead, *, stretch: tuple[float, float] | None = None, key: str = "cut") -> str:
    """The cut picture as SVG: the web as in the roll map, coated places below and the slitter's counter above.

    Args:
        plan: the cut.
        head: whose it is and whether it may be slit by, and the units.
        stretch: from and to in coated metres, where only a part is drawn.
        key: prefix of the ids in the SVG.
    """
    scene = scene_of(plan, stretch)
    numbers = place_numbers(scene)
    flags = arranged_flags(scene, numbers)
    keys = _keys(scene)
    reasons = reason_lines(plan)
    with drawing():
        figure, axes = _web(scene, head, flags, below=(len(keys), len(reasons)))
        axes.set_facecolor(_WASTE)
        _draw_pieces(axes, scene)
        draw_avoided(axes, scene, numbers.values())
        _draw_sets(axes, scene)
        draw_flags(axes, scene.web, flags, first_in=_BAND_IN)
        _draw_cuts(axes, scene)
        _draw_links(axes, scene)
        _draw_wishes(axes, scene)
        _write_scales(axes, scene, head.units, lifted_in=_BAND_IN + flags_height_in(flags))
        title = _title(head, stretch)
        _write_title(axes, title, warned=bool(head.warning))
        _write_below(axes, scene, keys, reasons)
        return to_svg(figure, key=key, title=title, description=_caption(scene, head.currency))


def cut_frame(plan: CutPlan, head: CutHead) -> Frame:
    """Where on the picture of the whole cut the web lies: along in coated metres, across in millimetres.

    Args:
        plan: as it is drawn.
        head: as it is drawn with.
    """
    scene = scene_of(plan, None)
    flags = arranged_flags(scene, place_numbers(scene))
    with drawing():
        _, axes = _web(scene, head, flags, below=(len(_keys(scene)), len(reason_lines(plan))))
        return frame_of(axes)


def _web(scene: Scene, head: CutHead, flags: Sequence[Flag], *, below: tuple[int, int]) -> tuple[Figure, Axes]:
    """The web with room for what stands above it, and below for so many keys and lines of reasons."""
    keys, reasons = below
    return web_axes(
        scene.web,
        height_in=scene.height_in,
        above_in=_BAND_IN + flags_height_in(flags) + _AXIS_IN + _TITLE_IN + _MARGIN_IN,
        below_in=_BELOW_IN + math.ceil(keys / _KEYS_IN_A_ROW) * _KEY_IN + reasons * _LINE_IN,
        datum_edge=head.datum_edge,
    )


def cut_caption(plan: CutPlan, currency: str = "") -> str:
    """What the cut keeps, how sure it is the best, and the scales."""
    return _caption(scene_of(plan, None), currency)


def _caption(scene: Scene, currency: str = "") -> str:
    plan = scene.plan
    if not plan.pieces:
        return kept_sentence(plan)
    ratio = stretch_ratio(scene.web, height_in=scene.height_in)
    return (
        f"{kept_sentence(plan, currency)} The slitter meets the tail first: its counter runs from right to left. "
        f"Across is drawn {show_number(ratio, 0)} times larger than along."
    )


def detail_stretches(plan: CutPlan) -> tuple[tuple[float, float], ...]:
    """Stretches of equal length to draw by themselves too, in the slitter's order, from and to in coated metres.

    As many as it takes for most pieces to carry a label, or the most that are any use; none where the whole picture
    has its labels.
    """
    whole, placed = plan.whole, place_pieces(plan)
    for count in range(1, _MOST_DETAILS + 1):
        step = whole.length_m / count
        ends = [whole.along_to_m - rank * step for rank in range(count)] + [whole.along_from_m]
        stretches = tuple((low, high) for high, low in pairwise(ends))
        scenes = [scene_of(plan, stretch, placed) for stretch in stretches]
        labels = [bool(scene.label(one)[0]) for scene in scenes for one in scene.pieces]
        if sum(labels) >= _ENOUGH * len(labels) or count == _MOST_DETAILS:
            return () if count == 1 else stretches
    return ()


def _title(head: CutHead, stretch: tuple[float, float] | None) -> str:
    what = "Cut picture" if stretch is None else "Part of the cut picture"
    name = f"{what} of roll {head.roll}" if head.roll else what
    return f"{name} – {head.warning}" if head.warning else name


def _draw_pieces(axes: Axes, scene: Scene) -> None:
    tints = {width.name: TINTS[rank % len(TINTS)] for rank, width in enumerate(scene.plan.widths)}
    for name in dict.fromkeys(one.piece.width for one in scene.pieces):
        mine = [one.piece for one in scene.pieces if one.piece.width == name]
        fill = tints.get(name, TINTS[-1])
        for quality in Quality:
            boxes = [box(piece.extent) for piece in mine if piece.quality is quality]
            second = quality is Quality.SECOND
            if second:
                axes.add_collection(
                    PatchCollection(
                        boxes, facecolor=fill, edgecolor="#aab2bb", hatch=_SECOND_HATCH, linewidth=0.0, zorder=2
                    )
                )
            axes.add_collection(
                PatchCollection(
                    boxes,
                    facecolor="none" if second else fill,
                    edgecolor=INK,
                    linewidth=0.9 if second else 0.35,
                    linestyle=_SECOND_EDGE if second else "-",
                    zorder=4.6 if second else 2.2,
                )
            )
    _label_pieces(axes, scene, tints)


def _label_pieces(axes: Axes, scene: Scene, tints: Mapping[str, str]) -> None:
    for one in scene.pieces:
        text, size = scene.label(one)
        part = one.piece.extent.meet(scene.web)
        if text and part is not None:
            axes.text(
                (part.along_from_m + part.along_to_m) / 2.0,
                (part.across_from_mm + part.across_to_mm) / 2.0,
                text,
                ha="center",
                va="center_baseline",
                fontsize=size,
                bbox=(
                    {"facecolor": tints.get(one.piece.width, TINTS[-1]), "edgecolor": "none", "pad": 0.4}
                    if one.piece.quality is Quality.SECOND
                    else None
                ),
                zorder=6,
            )


def _draw_sets(axes: Axes, scene: Scene) -> None:
    """A band that says from where to where each knife set stands."""
    spans: list[tuple[float, float, Sequence[str]]] = []
    for knives in knife_sets(scene.plan):
        low, high = max(knives.along_from_m, scene.web.along_from_m), min(knives.along_to_m, scene.web.along_to_m)
        if high - low > SAME_M:
            spans.append((low, high, (f"knife set {knives.number}", f"set {knives.number}", str(knives.number))))
    draw_band(axes, scene.web, spans, height_in=_BAND_IN)


def _draw_cuts(axes: Axes, scene: Scene) -> None:
    """A thick line where the knives are set anew, a dashed one at a stop, a thin one at the end of each piece."""
    whole, web = scene.plan.whole, scene.web
    for knives in knife_sets(scene.plan):
        for place in (knives.along_from_m, knives.along_to_m):
            if whole.along_from_m < place < whole.along_to_m and web.along_from_m < place < web.along_to_m:
                axes.axvline(place, color=CUT_LINE, linewidth=_SETUP_PT, zorder=5)
        for place in knives.stops_m:
            if web.along_from_m < place < web.along_to_m:
                axes.plot(
                    [place, place],
                    [0.0, 1.0 + _BAND_IN / scene.height_in],
                    transform=axes.get_xaxis_transform(),
                    color=CUT_LINE,
                    linewidth=0.8,
                    linestyle=_STOP,
                    clip_on=False,
                    zorder=5,
                )
    ends = sorted(
        (place, one.piece.extent.across_from_mm, one.piece.extent.across_to_mm)
        for one in scene.pieces
        for place in (one.piece.extent.along_from_m, one.piece.extent.along_to_m)
        if whole.along_from_m < place < whole.along_to_m
    )
    if ends:
        places, low, high = zip(*ends, strict=True)
        axes.vlines(places, low, high, colors=CUT_LINE, linewidth=0.9 if len(ends) < scene.many else 0.5, zorder=4.5)


def _draw_links(axes: Axes, scene: Scene) -> None:
    """A dotted line from each part of a spliced roll to the next."""
    extents = {piece.number: piece.extent for piece in scene.plan.pieces}
    for roll in scene.plan.rolls:
        for before, after in pairwise(roll.pieces):
            first, then = extents[before], extents[after]
            across = (first.across_from_mm + first.across_to_mm) / 2.0
            axes.plot(
                [first.along_from_m, then.along_to_m],
                [across, across],
                color=INK,
                linewidth=1.3,
                linestyle=_LINK,
                zorder=7,
            )


def _draw_wishes(axes: Axes, scene: Scene) -> None:
    for wish in scene.plan.wishes:
        if isinstance(wish, KnifeAt):
            axes.axhline(wish.across_mm, color=_WISH_COLOUR, linewidth=1.6, linestyle=_WISH, zorder=8)
        elif isinstance(wish, CrossCutAt):
            axes.axvline(wish.along_m, color=_WISH_COLOUR, linewidth=1.6, linestyle=_WISH, zorder=8)


def _write_scales(axes: Axes, scene: Scene, units: CutUnits, *, lifted_in: float) -> None:
    """Coated places below, across at the left, and the slitter's counter above, all in the shop's units."""
    web = scene.web
    for axis, low, high, unit in (
        (axes.xaxis, web.along_from_m, web.along_to_m, units.along_m),
        (axes.yaxis, web.across_from_mm, web.across_to_mm, units.across_mm),
    ):
        places = MaxNLocator(_TICKS).tick_values(low / unit, high / unit)
        axis.set_major_locator(FixedLocator([p * unit for p in places if low - SAME_M <= p * unit <= high + SAME_M]))
        axis.set_major_formatter(FuncFormatter(lambda place, _, unit=unit: f"{place / unit:.6g}"))
    axes.set_xlabel(f"head  ←  along, coated {units.along}  →  tail", labelpad=2)
    axes.set_ylabel(f"across, {units.across}", labelpad=2)
    top = axes.twiny()
    top.set_xlim(*(slitter_m(scene.plan, place) / units.along_m for place in (web.along_from_m, web.along_to_m)))
    top.xaxis.set_major_locator(MaxNLocator(_TICKS))
    top.set_xlabel(f"←  slitter, {units.along}", labelpad=2, loc="right")
    top.tick_params(length=3, pad=1)
    top.spines["top"].set_position(("outward", lifted_in * _POINTS))
    top.patch.set_visible(False)


def _write_title(axes: Axes, title: str, *, warned: bool) -> None:
    figure = figure_of(axes)
    figure.text(
        axes.get_position().x0,
        1.0 - 0.5 * _TITLE_IN / figure.get_figheight(),
        title,
        color=VERDICTS[Verdict.HOLD].colour if warned else INK,
        fontweight="bold",
        va="center",
    )


def _write_below(axes: Axes, scene: Scene, keys: Sequence[Patch | Line2D], reasons: Sequence[str]) -> None:
    axes.legend(
        handles=keys,
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.46 / scene.height_in),
        ncols=_KEYS_IN_A_ROW,
        handlelength=2.2,
        columnspacing=1.4,
        labelspacing=0.25,
        borderaxespad=0.0,
    )
    figure = figure_of(axes)
    for rank, line in enumerate(reversed(reasons)):
        figure.text(
            axes.get_position().x0,
            (0.3 + rank) * _LINE_IN / figure.get_figheight(),
            line,
            fontsize=SMALL_PT,
            color=AVOID_COLOUR,
            va="baseline",
        )


def _keys(scene: Scene) -> list[Patch | Line2D]:
    plan = scene.plan
    used = {piece.width for piece in plan.pieces}
    keys: list[Patch | Line2D] = [
        Patch(facecolor=TINTS[rank % len(TINTS)], edgecolor=INK, linewidth=0.5, label=width.name)
        for rank, width in enumerate(plan.widths)
        if width.name in used
    ]
    keys.append(Patch(facecolor=_WASTE, edgecolor=MUTED, linewidth=0.5, label="trim and waste"))
    keys += scene.region_keys()
    if any(piece.quality is Quality.SECOND for piece in plan.pieces):
        keys.append(
            Patch(
                facecolor=PAPER,
                edgecolor=INK,
                hatch=_SECOND_HATCH,
                linestyle=_SECOND_EDGE,
                linewidth=0.9,
                label="◇ piece of second quality",
            )
        )
    sets = knife_sets(plan)
    if len(sets) > 1:
        keys.append(Line2D([], [], color=CUT_LINE, linewidth=_SETUP_PT, label="knives set anew"))
    if any(one.stops_m for one in sets):
        keys.append(Line2D([], [], color=CUT_LINE, linewidth=0.8, linestyle=_STOP, label="stop: rolls taken off"))
    if any(roll.splices for roll in plan.rolls):
        keys.append(Line2D([], [], color=INK, linewidth=1.3, linestyle=_LINK, label="spliced into one roll"))
    if any(isinstance(wish, KnifeAt | CrossCutAt) for wish in plan.wishes):
        keys.append(Line2D([], [], color=_WISH_COLOUR, linewidth=1.6, linestyle=_WISH, label="as wished"))
    return keys
