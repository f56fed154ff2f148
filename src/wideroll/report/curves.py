"""Density against log exposure: what was measured, what was fitted, what was aimed at, and how far apart they are."""

import math
from collections.abc import Mapping
from typing import Final, TypeAlias

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from wideroll.report.canvas import figure_of
from wideroll.report.curve_panels import Panel, draw_readings, panels_of
from wideroll.report.curve_words import CURVES_GUIDE, curves_caption, curves_grid
from wideroll.report.frames import Frame
from wideroll.report.labels import push_apart
from wideroll.report.quantities import ABSENT, show_number, show_quantity
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, RECORDS, SMALL_PT, drawing
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, CurveFit, IsoSpeed, Measure, Record, StripResult

__all__ = ["CURVES_GUIDE", "curves_caption", "curves_frame", "curves_grid", "draw_curves"]

_Place: TypeAlias = tuple[float, float, float, float]
"""Left, bottom, width and height in shares of the figure."""

_HALF_WIDTH_IN: Final = 3.5
"""Half the printable width, so that two stand abreast on A4 with their letters at full size."""
_LEFT_IN: Final = 0.56
_RIGHT_IN: Final = 0.42
_WIDE_RIGHT_IN: Final = 0.6
_TOP_IN: Final = 0.08
_GAP_IN: Final = 0.1
_AXIS_IN: Final = 0.42
_PANEL_IN: Final = 0.62
_MOST_MAIN_IN: Final = 2.6
_MOST_WIDE_MAIN_IN: Final = 5.2
_SPEED: Final = "speed point"
_CONTRAST: Final = "average gradient"
_INDEX: Final = "contrast index"
_LINE_IN: Final = 0.135
_SAMPLE_IN: Final = 0.26
_LABEL_IN: Final = 1.05
_BEYOND_LOG_H: Final = 0.3
_SAMPLES: Final = 120
_EXTRAPOLATED: Final = (0.0, (4.0, 4.0))
_INDEX_LINE: Final = (0.0, (1.0, 1.5))


def draw_curves(result: StripResult, aims: Aims | None, *, key: str = "", wide: bool = False) -> str:
    """One strip's curves as SVG.

    D against log H with equal scales; measured points (hollow where the fit left them out) and fitted curves, the aim
    band (aim ± tolerance) behind, the constructions of speed and contrast, extrapolation dashed. Beneath, each with its
    own scale: check minus aim, and the records against one another; in a wide figure also the readings less their
    curve, the deviation in log H, and the construction of the contrast index.

    Args:
        result: the strip, fitted.
        aims: of the product; None for a bare strip.
        key: prefix of the ids in the SVG, its own for each figure of a page; made from the strip's name unless given.
        wide: of a page's whole width, instead of half.
    """
    with drawing():
        panels = panels_of(result, aims, every=wide)
        figure, main, below = _axes(result, aims, panels, wide=wide)
        for record, fit in result.fits.items():
            if aims is not None:
                _draw_aim(main, record, aims)
            _draw_record(main, record, fit)
        _draw_constructions(main, result, {_SPEED, _CONTRAST, _INDEX} if wide else {_SPEED, _CONTRAST})
        _label_records(main, result.fits)
        _finish(main)
        for axes, panel in zip(below, panels, strict=True):
            _finish_panel(axes, panel, main)
        (below[-1] if below else main).set_xlabel("log₁₀ H, H in lx·s", labelpad=2)
        (below[-1] if below else main).tick_params(labelbottom=True)
        _list_measures(main.get_position().x0, main, result)
        name = result.strip.name
        return to_svg(
            figure,
            key=key or f"curves-{slug(name)}",
            title=f"Curves of strip {name}",
            description=curves_caption(result, aims),
        )


def curves_frame(result: StripResult, aims: Aims | None, *, wide: bool = False) -> Frame:
    """Where on the figure D against log H lies.

    Args:
        result: the strip, as it is drawn.
        aims: as it is drawn with.
        wide: as it is drawn.
    """
    panels = panels_of(result, aims, every=wide)
    _, (left, bottom, width, height), _, (x_low, x_high, y_high) = _layout(result, aims, panels, wide=wide)
    return Frame(
        left=left,
        top=1.0 - bottom - height,
        width=width,
        height=height,
        x_from=x_low,
        x_to=x_high,
        y_from=0.0,
        y_to=y_high,
    )


def _axes(
    result: StripResult, aims: Aims | None, panels: tuple[Panel, ...], *, wide: bool
) -> tuple[Figure, Axes, list[Axes]]:
    size, place, places, (x_low, x_high, y_high) = _layout(result, aims, panels, wide=wide)
    figure = Figure(figsize=size)
    below = [figure.add_axes(one, xlim=(x_low, x_high)) for one in places]
    main = figure.add_axes(place, xlim=(x_low, x_high))
    main.set_ylim(0.0, y_high)
    return figure, main, below


def _layout(
    result: StripResult, aims: Aims | None, panels: tuple[Panel, ...], *, wide: bool
) -> tuple[tuple[float, float], _Place, list[_Place], tuple[float, float, float]]:
    """The figure's size in inches, the places of the curves and of the panels, and the ends of the scales."""
    x_low, x_high, y_high = _ranges(result, aims)
    whole = FIGURE_WIDTH_IN if wide else _HALF_WIDTH_IN
    width = whole - _LEFT_IN - (_WIDE_RIGHT_IN if wide else _RIGHT_IN)
    scale = min(width / (x_high - x_low), (_MOST_WIDE_MAIN_IN if wide else _MOST_MAIN_IN) / y_high)
    main_in, width = scale * y_high, scale * (x_high - x_low)
    under = _AXIS_IN + _LINE_IN * (len(_lines(result)) + 0.3)
    height = _TOP_IN + main_in + len(panels) * (_GAP_IN + _PANEL_IN) + under

    def place(bottom: float, tall: float) -> _Place:
        return _LEFT_IN / whole, bottom / height, width / whole, tall / height

    below = [place(under + rank * (_GAP_IN + _PANEL_IN), _PANEL_IN) for rank in reversed(range(len(panels)))]
    main = place(under + len(panels) * (_GAP_IN + _PANEL_IN), main_in)
    return (whole, height), main, below, (x_low, x_high, y_high)


def _ranges(result: StripResult, aims: Aims | None) -> tuple[float, float, float]:
    log_h = result.strip.log_h
    x_low = math.floor((float(log_h[0]) - _BEYOND_LOG_H) * 5.0) / 5.0
    x_high = math.ceil((float(log_h[-1]) + _BEYOND_LOG_H) * 5.0) / 5.0
    tops = [float(np.nanmax(fit.density)) for fit in result.fits.values() if np.isfinite(fit.density).any()]
    if aims is not None:
        tops += [
            float(np.nanmax(curve.density)) + aims.tolerance_density
            for record, curve in aims.curves.items()
            if record in result.fits
        ]
    return x_low, x_high, math.ceil((max(tops, default=3.0) + 0.1) * 5.0) / 5.0


def _draw_aim(axes: Axes, record: Record, aims: Aims) -> None:
    curve = aims.curves.get(record)
    if curve is None:
        return
    low, high = curve.density - aims.tolerance_density, curve.density + aims.tolerance_density
    axes.fill_between(curve.log_h, low, high, facecolor=AIM, alpha=0.22, linewidth=0, zorder=1)
    axes.plot(curve.log_h, curve.density, color=AIM, linewidth=0.5, zorder=1.5)


def _draw_record(axes: Axes, record: Record, fit: CurveFit) -> None:
    style = RECORDS[record]
    first, last = fit.log_h_range
    inside = np.linspace(first, last, _SAMPLES)
    axes.plot(inside, density_at(fit, inside), color=style.colour, linestyle=style.line, linewidth=1.3, zorder=4)
    low, high = axes.get_xlim()
    for start, end in ((low, first), (last, high)):
        outside = np.linspace(start, end, _SAMPLES // 4)
        axes.plot(
            outside, density_at(fit, outside), color=style.colour, linestyle=_EXTRAPOLATED, linewidth=0.8, zorder=3
        )
    draw_readings(axes, record, fit, fit.density)


def _draw_constructions(axes: Axes, result: StripResult, wanted: set[str]) -> None:
    for measure in result.measures:
        if measure.name not in wanted:
            continue
        colour = RECORDS[measure.record].colour if measure.record else INK
        for (x0, y0), (x1, y1) in measure.construction.lines:
            line = _INDEX_LINE if measure.name == _INDEX else "-"
            axes.plot([x0, x1], [y0, y1], color=INK, linewidth=0.6, linestyle=line, zorder=6)
        for x, y in measure.construction.points:
            axes.plot(
                [x],
                [y],
                linestyle="",
                marker="|" if measure.name == _INDEX else "o",
                markersize=6.0,
                markerfacecolor="none",
                markeredgecolor=INK if not measure.extrapolated else colour,
                markeredgewidth=0.9,
                zorder=7,
            )


def _label_records(axes: Axes, fits: Mapping[Record, CurveFit]) -> None:
    if not fits:
        return
    right, top = axes.get_xlim()[1], axes.get_ylim()[1]
    ends = [min(float(density_at(fit, np.array([right]))[0]), top) for fit in fits.values()]
    for record, end, shown in zip(fits, ends, push_apart(ends, 0.17), strict=True):
        style = RECORDS[record]
        axes.annotate(
            record.value,
            (right, end),
            xytext=(right + 0.1, shown),
            color=style.colour,
            fontsize=SMALL_PT,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": style.colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
        )


def _finish(main: Axes) -> None:
    main.grid(visible=True)
    main.set_ylabel("density D", labelpad=2)
    main.tick_params(labelbottom=False, length=3, pad=2)
    main.set_aspect("equal", adjustable="box", anchor="C")
    main.set_xticks(np.arange(math.ceil(main.get_xlim()[0]), main.get_xlim()[1] + 0.01, 0.5))
    main.set_yticks(np.arange(0.0, main.get_ylim()[1] + 0.01, 0.5))
    _align_label(main)


def _finish_panel(axes: Axes, panel: Panel, main: Axes) -> None:
    reach = panel.draw(axes)
    axes.set_xticks(main.get_xticks())
    axes.set_xlim(main.get_xlim())
    axes.grid(visible=True)
    axes.axhline(0.0, color=INK, linewidth=0.7, zorder=2)
    axes.set_ylim(-reach, reach)
    axes.set_yticks([-panel.tick, 0.0, panel.tick], [f"−{panel.tick:g}", "0", f"+{panel.tick:g}"])
    axes.set_ylabel(panel.label, labelpad=2)
    axes.tick_params(labelbottom=False, length=3, pad=2)
    _align_label(axes)


def _align_label(axes: Axes) -> None:
    axes.yaxis.set_label_coords(-0.43 / (axes.get_position().width * figure_of(axes).get_figwidth()), 0.5)


def _lines(result: StripResult) -> list[tuple[str, Record | None]]:
    """Speed and contrast of each record in words beneath the curves; the rest is in the table."""
    lines: list[tuple[str, Record | None]] = []
    for record in result.fits:
        speed, gradient = _short(result, record, _SPEED, "speed"), _short(result, record, _CONTRAST, "gradient")
        lines.append((f"{speed}, {gradient}", record))
    if result.speed is not None and result.speed.measure is not None:
        lines.append((_speed_words(result.speed, result.speed.measure), None))
    others = [m for m in result.measures if m.record is None and m.unit != "ISO"]
    return lines + [(f"{m.name} {show_quantity(m.value, m.unit)}{_doubt(m)}", None) for m in others]


def _speed_words(speed: IsoSpeed, measure: Measure) -> str:
    """Speed as on a box, with the number before rounding; and what the standard would say against it."""
    words = f"{measure.name}: {speed} ({show_number(measure.value, 1)}){_doubt(measure)}"
    return f"{words}; contrast condition not met" if "not met" in speed.note else words


def _list_measures(left: float, axes: Axes, result: StripResult) -> None:
    figure = figure_of(axes)
    width, height = figure.get_figwidth(), figure.get_figheight()
    for rank, (text, record) in enumerate(reversed(_lines(result))):
        y = (rank + 0.6) * _LINE_IN / height
        style = RECORDS[record] if record else None
        colour = style.colour if style else INK
        after = left
        if style:
            ends = [left, left + _SAMPLE_IN / width]
            middle = y + 0.035 / height
            figure.add_artist(Line2D(ends, [middle] * 2, color=colour, ls=style.line, linewidth=1.3))
            figure.add_artist(
                Line2D([sum(ends) / 2.0], [middle], color=colour, marker=style.marker, markersize=3.2, linestyle="")
            )
            after = ends[1] + 0.06 / width
            figure.text(after, y, style.label, fontsize=SMALL_PT, color=colour)
            after += _LABEL_IN / width
        figure.text(after, y, text, fontsize=SMALL_PT, color=colour)


def _short(result: StripResult, record: Record, name: str, word: str) -> str:
    for measure in result.measures:
        if measure.record is record and measure.name == name:
            return f"{word} {show_number(measure.value, 2)}{_doubt(measure)}"
    return f"{word} {ABSENT}"


def _doubt(measure: Measure) -> str:
    return " (e)" if measure.extrapolated else ""
