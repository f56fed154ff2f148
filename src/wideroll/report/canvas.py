"""The web as a drawing: along to the right, across upwards from the datum edge."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.transforms import ScaledTranslation

from wideroll.errors import ArgumentError
from wideroll.report.labels import stagger
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT
from wideroll.roll import Extent

__all__ = [
    "Flag",
    "arrange_flags",
    "box",
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """A label above the web and the place its leader points to."""

    along_m: float
    across_mm: float
    text: str
    colour: str
    row: int


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
    """Labels in rows above the web so that they don't lie on one another.

    Args:
        whole: the web.
        items: (along m, across mm of the leader's foot, text, colour); the text's first word stands for it when the
            full texts find no room.
        rows: most rows; what finds no room in them is left out.
    """
    texts = [text for _, _, text, _ in items]
    placed = _stagger(whole, items, texts, rows)
    if None in placed:
        texts = [text.split(" ", 1)[0] for text in texts]
        placed = _stagger(whole, items, texts, rows)
    return tuple(
        Flag(along_m=item[0], across_mm=item[1], text=text, colour=item[3], row=row)
        for item, text, row in zip(items, texts, placed, strict=True)
        if row is not None
    )


def flags_height_in(arranged: Sequence[Flag]) -> float:
    """Room above the web that the labels need."""
    return max((flag.row + 1 for flag in arranged), default=0) * _ROW_IN


def draw_flags(axes: Axes, whole: Extent, arranged: Sequence[Flag], *, first_in: float) -> None:
    """Draw the labels, each with a thin leader down to its place; ``first_in`` inches stay free above the web."""
    figure = figure_of(axes)
    for flag in arranged:
        lifted = ScaledTranslation(0.0, first_in + (flag.row + 0.55) * _ROW_IN, figure.dpi_scale_trans)
        axes.annotate(
            flag.text,
            (flag.along_m, flag.across_mm),
            xytext=(_inside(whole, flag.along_m, width_in_along(whole, flag.text)), whole.across_to_mm),
            xycoords="data",
            textcoords=axes.transData + lifted,
            ha="center",
            va="center",
            fontsize=SMALL_PT,
            color=flag.colour,
            annotation_clip=False,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6},
            arrowprops={"arrowstyle": "-", "color": flag.colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
            zorder=9,
        )


def _stagger(
    whole: Extent, items: Sequence[tuple[float, float, str, str]], texts: Sequence[str], rows: int
) -> tuple[int | None, ...]:
    centres = [_inside(whole, item[0], width_in_along(whole, text)) for item, text in zip(items, texts, strict=True)]
    return stagger(centres, [width_in_along(whole, f"{text} ") for text in texts], rows=rows)


def _inside(whole: Extent, along: float, width: float) -> float:
    half = min(width, whole.length_m) / 2.0
    return min(max(along, whole.along_from_m + half), whole.along_to_m - half)
