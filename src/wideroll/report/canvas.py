"""The web as a drawing: along to the right, across upwards from the datum edge."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.transforms import ScaledTranslation

from wideroll.errors import ArgumentError
from wideroll.report.labels import push_apart, stagger
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT
from wideroll.roll import Extent

__all__ = [
    "Flag",
    "arrange_flags",
    "box",
    "draw_band",
    "draw_flags",
    "figure_of",
    "flags_height_in",
    "stretch_ratio",
    "web_axes",
    "width_in_along",
]

_LEFT_IN: Final = 0.55
_RIGHT_IN: Final = 0.12
_ROW_IN: Final = 0.155
_LETTER_IN: Final = 0.062
_BAND_FILLS: Final = ("#e6e9ed", "#cdd3da")
_BESIDE_IN: Final = 0.03
_MOST_BEND_IN: Final = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A label above the web and the place its leader points to; ``text_m`` is where along its middle stands."""

    along_m: float
    across_mm: float
    text: str
    colour: str
    row: int
    text_m: float


def web_axes(
    whole: Extent, *, height_in: float, above_in: float, below_in: float, datum_edge: str
) -> tuple[Figure, Axes]:
    """A figure with one pair of axes that holds the web, with room above and below for labels."""
    figure_in = height_in + above_in + below_in
    figure = Figure(figsize=(FIGURE_WIDTH_IN, figure_in))
    axes = figure.add_axes(
        (
            _LEFT_IN / FIGURE_WIDTH_IN,
            below_in / figure_in,
            (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN) / FIGURE_WIDTH_IN,
            height_in / figure_in,
        )
    )
    axes.set_xlim(whole.along_from_m, whole.along_to_m)
    axes.set_ylim(whole.across_from_mm, whole.across_to_mm)
    axes.set_xlabel("head  ←  along, coated m  →  tail", labelpad=2)
    axes.set_ylabel("across, mm", labelpad=2)
    axes.annotate(
        f"thick line: datum edge ({datum_edge})",
        (0.0, 0.0),
        xytext=(0, -26),
        xycoords="axes fraction",
        textcoords="offset points",
        color=MUTED,
        fontsize=SMALL_PT,
        ha="left",
        va="center",
    )
    axes.tick_params(length=3, pad=2)
    for side in axes.spines.values():
        side.set_color(INK)
    axes.spines["bottom"].set_linewidth(2.0)
    return figure, axes


def figure_of(axes: Axes) -> Figure:
    """The figure the axes stand in."""
    figure = axes.get_figure(root=True)
    if figure is None:
        raise ArgumentError(where="axes", rule="must stand in a figure", mend="Add them with Figure.add_axes.")
    return figure


def stretch_ratio(whole: Extent, *, height_in: float) -> float:
    """How many times larger the across scale is than the along scale in axes of this height."""
    across = height_in / (whole.width_mm / 1000.0)
    along = (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN) / whole.length_m
    return across / along


def width_in_along(whole: Extent, text: str) -> float:
    """Metres along that a label takes at small type."""
    return len(text) * _LETTER_IN * whole.length_m / (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN)


def box(extent: Extent, **style: object) -> Rectangle:
    """A rectangle of web."""
    return Rectangle(
        (extent.along_from_m, extent.across_from_mm),
        extent.length_m,
        extent.width_mm,
        **style,  # type: ignore[arg-type]
    )


def arrange_flags(whole: Extent, items: Sequence[tuple[float, float, str, str]], *, rows: int) -> tuple[Flag, ...]:
    """Labels in rows above the web so that they don't lie on one another, nor on another's leader.

    Args:
        whole: the web.
        items: (along m, across mm of the leader's foot, text, colour); the text's first word stands for it when the
            full texts find no room.
        rows: most rows; what finds no room in them is left out.
    """
    feet = [along for along, _, _, _ in items]
    texts = [text for _, _, text, _ in items]
    middles, placed = _place_flags(whole, feet, texts, rows)
    if None in placed:
        texts = [text.split(" ", 1)[0] for text in texts]
        middles, placed = _place_flags(whole, feet, texts, rows)
    return tuple(
        Flag(along_m=item[0], across_mm=item[1], text=text, colour=item[3], row=row, text_m=middle)
        for item, text, row, middle in zip(items, texts, placed, middles, strict=True)
        if row is not None
    )


def flags_height_in(arranged: Sequence[Flag]) -> float:
    """Room above the web that the labels need."""
    return max((flag.row + 1 for flag in arranged), default=0) * _ROW_IN


def draw_flags(axes: Axes, whole: Extent, arranged: Sequence[Flag], *, first_in: float) -> None:
    """Draw the labels, each with a thin leader down to its place; ``first_in`` inches stay free above the web.

    A leader falls straight through the rows of labels and bends only below them, and keeps under words on the web.
    """
    figure = figure_of(axes)
    for flag in arranged:
        lifted = ScaledTranslation(0.0, first_in + (flag.row + 0.55) * _ROW_IN, figure.dpi_scale_trans)
        bend = ScaledTranslation(0.0, first_in, figure.dpi_scale_trans)
        place = (flag.text_m, whole.across_to_mm)
        line = {"arrowstyle": "-", "color": flag.colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0}
        axes.annotate(
            "",
            (flag.along_m, flag.across_mm),
            xytext=place,
            textcoords=axes.transData + bend,
            annotation_clip=False,
            arrowprops=line,
            zorder=7.5,
        )
        axes.annotate(
            flag.text,
            place,
            xytext=place,
            xycoords=axes.transData + bend,
            textcoords=axes.transData + lifted,
            ha="center",
            va="center",
            fontsize=SMALL_PT,
            color=flag.colour,
            annotation_clip=False,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
            arrowprops=line,
            zorder=9,
        )


def draw_band(
    axes: Axes, whole: Extent, spans: Sequence[tuple[float, float, Sequence[str]]], *, height_in: float
) -> None:
    """A band of named stretches right above the web, ``height_in`` tall.

    Args:
        axes: of the web.
        whole: the web.
        spans: from m, to m, and texts of which the first that fits is written, or none.
        height_in: of the band.
    """
    transform = axes.get_xaxis_transform()
    top = 1.0 + height_in / (axes.get_position().height * figure_of(axes).get_figheight())
    for rank, (start, end, texts) in enumerate(spans):
        fill = _BAND_FILLS[rank % 2]
        axes.fill_between(
            [start, end],
            1.0,
            top,
            transform=transform,
            facecolor=fill,
            edgecolor=INK,
            linewidth=0.6,
            clip_on=False,
            zorder=3,
        )
        text = _band_title(whole, end - start, texts)
        if text:
            axes.annotate(
                text,
                (start, (1.0 + top) / 2.0),
                xycoords=transform,
                xytext=(3, 0),
                textcoords="offset points",
                va="center",
                fontsize=SMALL_PT,
                annotation_clip=False,
                bbox={"facecolor": fill, "edgecolor": "none", "pad": 0.3},
                zorder=10,
            )


def _band_title(whole: Extent, length_m: float, texts: Sequence[str]) -> str:
    """The first of the texts that fits a stretch of the web; empty when none does."""
    return next((text for text in texts if width_in_along(whole, text) <= length_m), "")


def _place_flags(
    whole: Extent, feet: Sequence[float], texts: Sequence[str], rows: int
) -> tuple[tuple[float, ...], tuple[int | None, ...]]:
    """Where along each label's middle stands, and its row: far enough from one another that no leader meets a label."""
    if not texts:
        return (), ()
    inch = whole.length_m / (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN)
    halves = [width_in_along(whole, text) / 2.0 for text in texts]
    gap = max(halves) + _BESIDE_IN * inch
    middles = list(push_apart(feet, gap))
    order = sorted(range(len(feet)), key=lambda i: (middles[i], i))
    limit = whole.along_to_m + gap
    for index in reversed(order):
        middles[index] = min(middles[index], whole.along_to_m - halves[index], limit - gap)
        limit = middles[index]
    limit = whole.along_from_m - gap
    for index in order:
        middles[index] = max(middles[index], whole.along_from_m + halves[index], limit + gap)
        limit = middles[index]
    placed = stagger(middles, [2.0 * half + 2.0 * _BESIDE_IN * inch for half in halves], rows=rows)
    near = [
        abs(middle - foot) <= _MOST_BEND_IN * inch and middle + half <= whole.along_to_m + gap
        for middle, foot, half in zip(middles, feet, halves, strict=True)
    ]
    return tuple(middles), tuple(row if ok else None for row, ok in zip(placed, near, strict=True))
