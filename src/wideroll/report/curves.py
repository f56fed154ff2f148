"""Density against log exposure: what was measured, what was fitted, what was aimed at, and how far apart they are."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from wideroll.report.canvas import figure_of
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.labels import push_apart
from wideroll.report.quantities import ABSENT, show_number, show_quantity
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, PAPER, RECORDS, SMALL_PT, drawing
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, CurveFit, Measure, Record, StripResult

__all__ = ["curves_caption", "curves_grid", "draw_curves"]

_LEFT_IN: Final = 0.66
_RIGHT_IN: Final = 2.85
_TOP_IN: Final = 0.44
_GAP_IN: Final = 0.16
_BELOW_IN: Final = 0.42
_DIFFERENCE_IN: Final = 0.75
_MOST_MAIN_IN: Final = 2.6
_SPEED: Final = "speed point"
_CONTRAST: Final = "average gradient"
_LINE_IN: Final = 0.135
_LABEL_IN: Final = 0.1
_BEYOND_LOG_H: Final = 0.3
_SAMPLES: Final = 120
_EXTRAPOLATED: Final = (0.0, (4.0, 4.0))


def draw_curves(result: StripResult, aims: Aims, *, key: str = "") -> str:
    """One strip's curves as SVG.

    D against log H with equal scales; measured points (hollow where the fit left them out) and fitted curves, the aim
    band (aim ± tolerance) behind, the constructions of speed and contrast, extrapolation dashed; beneath it check minus
    aim, with its own scale.

    Args:
        result: the strip, fitted.
        aims: of the product.
        key: prefix of the ids in the SVG, its own for each figure of a page; made from the strip's name unless given.
    """
    with drawing():
        figure, main, difference = _axes(result, aims)
        for record, fit in result.fits.items():
            _draw_aim(main, record, aims)
            _draw_record(main, record, fit)
            _draw_difference(difference, record, fit, aims)
        _draw_constructions(main, result)
        _label_records(main, result.fits)
        _finish(main, difference, aims, result)
        name = result.strip.name
        return to_svg(
            figure,
            key=key or f"curves-{slug(name)}",
            title=f"Curves of strip {name}",
            description=curves_caption(result, aims),
        )


def curves_caption(result: StripResult, aims: Aims) -> str:
    """The finding of the curves in a sentence or two."""
    name = f"Strip {result.strip.name}"
    if not result.fits:
        return f"{name}: no curve could be fitted. {result.why}".strip()
    worst = [d for d in result.deviations if math.isfinite(d.worst_density.value)]
    if not worst:
        finding = f"{name}: nothing could be compared with the aims."
    else:
        far = max(worst, key=lambda d: abs(d.worst_density.value))
        size = abs(far.worst_density.value)
        relation = "within" if size <= aims.tolerance_density else "outside"
        finding = (
            f"{name} lies at most {show_number(size, 3)} density from its aims ({far.record.value}), "
            f"{relation} the band of ± {show_number(aims.tolerance_density, 3)}."
        )
    usable = "" if result.usable else f" Not usable as evidence: {result.why}."
    return f"{finding}{usable} Equal scales of density and log H in the upper part; the lower part is magnified."


def curves_grid(result: StripResult, aims: Aims) -> Grid:
    """The figure's data: measured, fitted and aim density of each record at each step."""
    columns = [Column(head="log H", number=True)]
    for record in result.fits:
        columns += [Column(head=f"{record.value} {part}", number=True) for part in ("measured", "fitted", "aim")]
    rows: list[tuple[Cell, ...]] = []
    for step, log_h in enumerate(result.strip.log_h):
        cells = [Cell(text=show_number(float(log_h), 2))]
        for record, fit in result.fits.items():
            x = np.array([log_h])
            aim = float(aims.curves[record].at(x)[0]) if record in aims.curves else math.nan
            read = float(fit.density[step]) if step < fit.density.size else math.nan
            cells += [Cell(text=show_number(value, 3)) for value in (read, float(density_at(fit, x)[0]), aim)]
        rows.append(tuple(cells))
    return Grid(
        caption=f"Densities of strip {result.strip.name} ({ABSENT}: not read, or no aim there)",
        columns=tuple(columns),
        rows=tuple(rows),
        empty="No curve could be fitted.",
    )


def _axes(result: StripResult, aims: Aims) -> tuple[Figure, Axes, Axes]:
    x_low, x_high, y_high = _ranges(result, aims)
    width = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
    scale = min(width / (x_high - x_low), _MOST_MAIN_IN / y_high)
    main_in = scale * y_high
    width = scale * (x_high - x_low)
    height = _TOP_IN + main_in + _GAP_IN + _DIFFERENCE_IN + _BELOW_IN
    figure = Figure(figsize=(FIGURE_WIDTH_IN, height))

    def place(bottom: float, tall: float) -> Axes:
        return figure.add_axes(
            (_LEFT_IN / FIGURE_WIDTH_IN, bottom / height, width / FIGURE_WIDTH_IN, tall / height),
            xlim=(x_low, x_high),
        )

    difference = place(_BELOW_IN, _DIFFERENCE_IN)
    main = place(_BELOW_IN + _DIFFERENCE_IN + _GAP_IN, main_in)
    main.set_ylim(0.0, y_high)
    return figure, main, difference


def _ranges(result: StripResult, aims: Aims) -> tuple[float, float, float]:
    log_h = result.strip.log_h
    x_low = math.floor((float(log_h[0]) - _BEYOND_LOG_H) * 5.0) / 5.0
    x_high = math.ceil((float(log_h[-1]) + _BEYOND_LOG_H) * 5.0) / 5.0
    tops = [float(np.nanmax(fit.density)) for fit in result.fits.values() if np.isfinite(fit.density).any()]
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
    _draw_points(axes, record, fit, fit.density)


def _draw_points(axes: Axes, record: Record, fit: CurveFit, values: NDArray[np.float64]) -> None:
    style = RECORDS[record]
    for chosen, face in ((fit.used, style.colour), (~fit.used, PAPER)):
        axes.plot(
            fit.log_h[chosen],
            values[chosen],
            linestyle="",
            marker=style.marker,
            markersize=3.2,
            markerfacecolor=face,
            markeredgecolor=style.colour,
            markeredgewidth=0.7,
            zorder=5,
        )


def _draw_difference(axes: Axes, record: Record, fit: CurveFit, aims: Aims) -> None:
    curve = aims.curves.get(record)
    if curve is None:
        return
    style = RECORDS[record]
    _draw_points(axes, record, fit, fit.density - curve.at(fit.log_h))
    inside = np.linspace(*fit.log_h_range, _SAMPLES)
    axes.plot(
        inside,
        density_at(fit, inside) - curve.at(inside),
        color=style.colour,
        linestyle=style.line,
        linewidth=1.1,
        zorder=4,
    )


def _draw_constructions(axes: Axes, result: StripResult) -> None:
    for measure in result.measures:
        if measure.name not in {_SPEED, _CONTRAST}:
            continue
        colour = RECORDS[measure.record].colour if measure.record else INK
        for (x0, y0), (x1, y1) in measure.construction.lines:
            axes.plot([x0, x1], [y0, y1], color=INK, linewidth=0.6, zorder=6)
        for x, y in measure.construction.points:
            axes.plot(
                [x],
                [y],
                linestyle="",
                marker="o",
                markersize=6.0,
                markerfacecolor="none",
                markeredgecolor=INK if not measure.extrapolated else colour,
                markeredgewidth=0.9,
                zorder=7,
            )


def _label_records(axes: Axes, fits: Mapping[Record, CurveFit]) -> None:
    if not fits:
        return
    right = axes.get_xlim()[1]
    ends = [float(density_at(fit, np.array([right]))[0]) for fit in fits.values()]
    for record, end, shown in zip(fits, ends, push_apart(ends, 0.16), strict=True):
        style = RECORDS[record]
        axes.annotate(
            style.label,
            (right, end),
            xytext=(right + 0.12, shown),
            color=style.colour,
            fontsize=SMALL_PT,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": style.colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
        )


def _finish(main: Axes, difference: Axes, aims: Aims, result: StripResult) -> None:
    main.grid(visible=True)
    main.set_ylabel("density D")
    main.tick_params(labelbottom=False, length=3)
    main.set_aspect("equal", adjustable="box", anchor="C")
    main.set_xticks(np.arange(math.ceil(main.get_xlim()[0]), main.get_xlim()[1] + 0.01, 0.5))
    main.set_yticks(np.arange(0.0, main.get_ylim()[1] + 0.01, 0.5))
    difference.set_xticks(main.get_xticks())
    difference.grid(visible=True)
    tolerance = aims.tolerance_density
    difference.axhspan(-tolerance, tolerance, facecolor=AIM, alpha=0.22, linewidth=0, zorder=1)
    difference.axhline(0.0, color=INK, linewidth=0.7, zorder=2)
    reach = max(1.6 * tolerance, *(abs(limit) for limit in difference.get_ylim()))
    difference.set_ylim(-reach, reach)
    difference.set_ylabel("D − aim")
    difference.set_xlabel("log₁₀ H, H in lx·s", labelpad=2)
    difference.tick_params(length=3)
    difference.text(
        1.02,
        0.5,
        f"grey band: ± {tolerance:g} density;\nscale magnified",
        transform=difference.transAxes,
        fontsize=SMALL_PT,
        color=MUTED,
        va="center",
    )
    _explain(main)
    _list_measures(main, result)


def _explain(axes: Axes) -> None:
    words = (
        "filled: measured · hollow: left out · line: fitted · dashed: extrapolated\n"
        "grey band: aim ± tolerance · ring and bar: speed point · rings and chord: average gradient"
    )
    axes.text(0.0, 1.02, words, transform=axes.transAxes, fontsize=SMALL_PT, color=MUTED, va="bottom")


def _list_measures(axes: Axes, result: StripResult) -> None:
    """Speed and contrast of each record in words beside the curves; the rest is in the table."""
    lines: list[tuple[str, Record | None]] = []
    for record in result.fits:
        speed, gradient = _short(result, record, _SPEED, "speed"), _short(result, record, _CONTRAST, "gradient")
        lines.append((f"{record.value}: {speed}, {gradient}", record))
    lines += [
        (f"{m.name} {show_quantity(m.value, m.unit)}{_doubt(m)}", None) for m in result.measures if m.record is None
    ]
    figure = figure_of(axes)
    x = axes.get_position().x1 + _LABEL_IN / figure.get_figwidth()
    bottom = axes.get_position().y0
    for rank, (text, whose) in enumerate(reversed(lines)):
        figure.text(
            x,
            bottom + rank * _LINE_IN / figure.get_figheight(),
            text,
            fontsize=SMALL_PT,
            color=RECORDS[whose].colour if whose else INK,
        )


def _short(result: StripResult, record: Record, name: str, word: str) -> str:
    for measure in result.measures:
        if measure.record is record and measure.name == name:
            return f"{word} {show_number(measure.value, 2)}{_doubt(measure)}"
    return f"{word} {ABSENT}"


def _doubt(measure: Measure) -> str:
    return " (e)" if measure.extrapolated else ""
