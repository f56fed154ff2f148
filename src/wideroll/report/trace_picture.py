"""Where a traced place was coated, drawn: the whole roll, and the film about it."""

from typing import Final

from matplotlib.axes import Axes

from wideroll.report.canvas import box, draw_band, web_axes
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import INK, MUTED, PAPER, SERIES, SMALL_PT, STREAK, TINTS, drawing
from wideroll.roll import Extent
from wideroll.workflow.tracing_model import CoatedStretch, RollEvidence

__all__ = ["draw_traced", "draw_traced_roll", "traced_caption", "traced_roll_caption"]

_ROLL_IN: Final = 1.5
_FILM_IN: Final = 2.2
_BAND_IN: Final = 0.17
_ABOVE_IN: Final = 0.3
_BELOW_IN: Final = 0.55
_ASIDE_MM: Final = 40.0
_ASIDE_SHARE: Final = 0.15
_LABELLED: Final = 12


def draw_traced_roll(stretch: CoatedStretch, known: RollEvidence, whole: Extent, datum_edge: str, *, key: str) -> str:
    """The coated roll as SVG with its marks, and the traced film in it.

    Args:
        stretch: of the trace.
        known: of its coated roll.
        whole: the web.
        datum_edge: which edge is the datum.
        key: prefix of the ids in the SVG.
    """
    with drawing():
        figure, axes = web_axes(
            whole, height_in=_ROLL_IN, above_in=_BAND_IN + _ABOVE_IN, below_in=_BELOW_IN, datum_edge=datum_edge
        )
        spans = [(one.along_from_m, one.along_to_m, (f"batch {one.name}", one.name)) for one in known.batches]
        draw_band(axes, whole, spans, height_in=_BAND_IN)
        if known.marks is not None:
            axes.plot(known.marks["along_m"], known.marks["across_mm"], ".", color=MUTED, markersize=1.6, zorder=3)
        for streak in known.streaks:
            ends = [streak.extent.along_from_m, streak.extent.along_to_m]
            axes.plot(ends, [streak.across_mm] * 2, color=STREAK, linewidth=1.2, linestyle=(0.0, (5.0, 1.2)))
        _ring(axes, stretch.extent, whole)
        return to_svg(
            figure,
            key=f"{key}-{slug(known.roll)}",
            title=f"Roll {known.roll}",
            description=traced_roll_caption(stretch),
        )


def traced_roll_caption(stretch: CoatedStretch) -> str:
    """What the picture of the roll shows."""
    extent = stretch.extent
    return (
        f"Roll {stretch.roll} as coated: the traced film at {extent.along_from_m:.2f} to {extent.along_to_m:.2f} m, "
        f"{extent.across_from_mm:.1f} to {extent.across_to_mm:.1f} mm across, is where the two lines cross. "
        "Points are marks of the scan, dashed lines streaks."
    )


def draw_traced(stretch: CoatedStretch, datum_edge: str, *, key: str) -> str:
    """The traced film and what lies beside it as SVG: the lane tinted, marks with their number in the table.

    Args:
        stretch: of the trace.
        datum_edge: which edge is the datum.
        key: prefix of the ids in the SVG.
    """
    extent = stretch.extent
    around = extent.grown(along_m=max(0.05, _ASIDE_SHARE * extent.length_m), across_mm=_ASIDE_MM)
    with drawing():
        figure, axes = web_axes(around, height_in=_FILM_IN, above_in=0.1, below_in=_BELOW_IN, datum_edge=datum_edge)
        axes.spines["bottom"].set_linewidth(0.8)
        axes.texts[0].set_text(f"across from the {datum_edge}")
        axes.add_patch(box(extent, facecolor=TINTS[0], edgecolor=INK, linewidth=1.2, zorder=1))
        _streaks(axes, stretch)
        _series(axes, stretch)
        _marks(axes, stretch)
        _seen(axes, stretch)
        if stretch.at_m is not None:
            axes.axvline(stretch.at_m, color=INK, linewidth=0.8, linestyle=(0.0, (2.0, 2.0)), zorder=2)
        return to_svg(figure, key=f"{key}-film", title="The traced film", description=traced_caption(stretch))


def traced_caption(stretch: CoatedStretch) -> str:
    """What the picture of the film shows."""
    inside = sum(mark.inside for mark in stretch.marks)
    marks = f"{inside or 'no'} mark{'s' if inside > 1 else ''} of the scan"
    likely = "" if stretch.at_m is None else " The dotted line is the most likely place."
    return (
        f"The traced film (tinted) holds {marks}. Numbered circles: marks, by their line in the table; bars: turns of "
        f"a series; dashes: streaks; crosses: seen on sheets.{likely}"
    )


def _ring(axes: Axes, extent: Extent, whole: Extent) -> None:
    """Lines that cross at the film: at the scale of a roll it is often too small to be seen."""
    along = (extent.along_from_m + extent.along_to_m) / 2.0
    across = (extent.across_from_mm + extent.across_to_mm) / 2.0
    axes.axvline(along, color=SERIES, linewidth=0.8, zorder=5)
    axes.axhline(across, color=SERIES, linewidth=0.8, zorder=5)
    axes.add_patch(box(extent, facecolor="none", edgecolor=SERIES, linewidth=1.6, zorder=6))
    late = along > (whole.along_from_m + whole.along_to_m) / 2.0
    axes.annotate(
        "traced film",
        (along, whole.across_to_mm if across < whole.across_to_mm / 2.0 else whole.across_from_mm),
        xytext=(-3 if late else 3, -4 if across < whole.across_to_mm / 2.0 else 4),
        textcoords="offset points",
        ha="right" if late else "left",
        va="top" if across < whole.across_to_mm / 2.0 else "bottom",
        fontsize=SMALL_PT,
        color=SERIES,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.4},
        zorder=8,
    )


def _marks(axes: Axes, stretch: CoatedStretch) -> None:
    for number, mark in enumerate(stretch.marks, start=1):
        axes.plot(
            [mark.along_m],
            [mark.across_mm],
            marker="o",
            markersize=5.0,
            markerfacecolor=INK if mark.inside else PAPER,
            markeredgecolor=INK,
            linestyle="",
            zorder=6,
        )
        if number <= _LABELLED:
            axes.annotate(
                str(number),
                (mark.along_m, mark.across_mm),
                xytext=(4, 3),
                textcoords="offset points",
                fontsize=SMALL_PT,
                zorder=7,
            )


def _streaks(axes: Axes, stretch: CoatedStretch) -> None:
    for streak in stretch.streaks:
        ends = [streak.along_from_m, streak.along_to_m]
        axes.plot(ends, [streak.across_mm] * 2, color=STREAK, linewidth=1.8, linestyle=(0.0, (5.0, 1.2)), zorder=4)


def _series(axes: Axes, stretch: CoatedStretch) -> None:
    for near in stretch.series:
        places = dict(zip(near.series.turns, near.series.places_m, strict=True))
        for turn in near.turns:
            if turn in places:
                axes.plot([places[turn]], [near.series.across_mm], marker="|", markersize=12, color=SERIES, zorder=5)


def _seen(axes: Axes, stretch: CoatedStretch) -> None:
    low, high = axes.get_ylim()
    for seen in stretch.sightings:
        if low <= seen.across_mm <= high:
            axes.plot([seen.along_m], [seen.across_mm], marker="x", markersize=6, color=STREAK, linestyle="", zorder=6)
