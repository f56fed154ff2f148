"""Density against log exposure: what was measured, what was fitted, what was aimed at, and how far apart they are."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from wideroll.report.canvas import figure_of
from wideroll.report.evidence_grids import steps_left_out
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.labels import push_apart
from wideroll.report.quantities import ABSENT, show_number, show_quantity
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import AIM, INK, PAPER, RECORDS, SMALL_PT, drawing
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, CurveFit, Measure, Record, StripResult

__all__ = ["CURVES_GUIDE", "curves_caption", "curves_grid", "draw_curves"]

CURVES_GUIDE: Final = (
    "In each figure: filled, a reading the fit used; hollow, one left out; line, fitted; dashed, extrapolated; grey "
    "band, aim ± tolerance; ring and bar, the speed point; two rings and chord, the average gradient. Density and "
    "log H have equal scales above; D − aim below is magnified. (e): extrapolated."
)
"""How to read the figures of curves, said once for all of a page."""

_WIDTH_IN: Final = 3.5
"""Half the printable width, so that two stand abreast on A4 with their letters at full size."""
_LEFT_IN: Final = 0.56
_RIGHT_IN: Final = 0.4
_TOP_IN: Final = 0.08
_GAP_IN: Final = 0.1
_AXIS_IN: Final = 0.42
_DIFFERENCE_IN: Final = 0.62
_MOST_MAIN_IN: Final = 2.6
_SPEED: Final = "speed point"
_CONTRAST: Final = "average gradient"
_LINE_IN: Final = 0.135
_SAMPLE_IN: Final = 0.26
_LABEL_IN: Final = 1.05
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
        _finish(main, difference, aims)
        _list_measures(main.get_position().x0, difference, result)
        name = result.strip.name
        return to_svg(
            figure,
            key=key or f"curves-{slug(name)}",
            title=f"Curves of strip {name}",
            description=curves_caption(result, aims),
        )


def curves_caption(result: StripResult, aims: Aims) -> str:
    """The finding of the curves in a few sentences: how far curve and readings lie from aim, and what was left out."""
    name = f"Strip {result.strip.name}"
    if not result.fits:
        return f"{name}: no curve could be fitted. {result.why}".strip()
    worst = [d for d in result.deviations if math.isfinite(d.worst_density.value)]
    finding = f"{name}: nothing could be compared with the aims."
    if worst:
        far = max(worst, key=lambda d: abs(d.worst_density.value))
        size = abs(far.worst_density.value)
        relation = "within" if size <= aims.tolerance_density else "outside"
        finding = (
            f"{name}: its curve lies at most {show_number(size, 3)} density from aim ({far.record.value}), "
            f"{relation} the band of ± {show_number(aims.tolerance_density, 3)}.{_farthest_reading(result, aims)}"
        )
    sentences = [finding]
    for record in result.fits:
        aside = steps_left_out(result, record)
        if aside:
            sentences.append(f"{record.value.capitalize()}: {aside}.")
    if not result.usable:
        sentences.append(f"Not usable as evidence: {result.why}.")
    return " ".join(sentences)


def _farthest_reading(result: StripResult, aims: Aims) -> str:
    """The reading, of those the fits used, that lies farthest from aim."""
    off: list[tuple[float, float, str]] = []
    for record, fit in result.fits.items():
        if record in aims.curves:
            from_aim = fit.density - aims.curves[record].at(fit.log_h)
            used = fit.used & np.isfinite(from_aim)
            off += [(float(d), float(x), record.value) for d, x in zip(from_aim[used], fit.log_h[used], strict=True)]
    if not off:
        return ""
    far, log_h, record_name = max(off, key=lambda one: abs(one[0]))
    return (
        f" Its farthest reading is {show_number(far, 3, signed=True)} at log H {show_number(log_h, 2)} ({record_name})."
    )


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
    width = _WIDTH_IN - _LEFT_IN - _RIGHT_IN
    scale = min(width / (x_high - x_low), _MOST_MAIN_IN / y_high)
    main_in, width = scale * y_high, scale * (x_high - x_low)
    below = _AXIS_IN + _LINE_IN * (len(_lines(result)) + 0.3)
    height = _TOP_IN + main_in + _GAP_IN + _DIFFERENCE_IN + below
    figure = Figure(figsize=(_WIDTH_IN, height))

    def place(bottom: float, tall: float) -> Axes:
        return figure.add_axes(
            (_LEFT_IN / _WIDTH_IN, bottom / height, width / _WIDTH_IN, tall / height), xlim=(x_low, x_high)
        )

    difference = place(below, _DIFFERENCE_IN)
    main = place(below + _DIFFERENCE_IN + _GAP_IN, main_in)
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


def _finish(main: Axes, difference: Axes, aims: Aims) -> None:
    main.grid(visible=True)
    main.set_ylabel("density D", labelpad=2)
    main.tick_params(labelbottom=False, length=3, pad=2)
    main.set_aspect("equal", adjustable="box", anchor="C")
    main.set_xticks(np.arange(math.ceil(main.get_xlim()[0]), main.get_xlim()[1] + 0.01, 0.5))
    main.set_yticks(np.arange(0.0, main.get_ylim()[1] + 0.01, 0.5))
    difference.set_xticks(main.get_xticks())
    difference.grid(visible=True)
    tolerance = aims.tolerance_density
    difference.axhspan(-tolerance, tolerance, facecolor=AIM, alpha=0.22, linewidth=0, zorder=1)
    difference.axhline(0.0, color=INK, linewidth=0.7, zorder=2)
    reach = 1.06 * max(1.5 * tolerance, *(abs(limit) for limit in difference.get_ylim()))
    difference.set_ylim(-reach, reach)
    difference.set_yticks([-tolerance, 0.0, tolerance], [f"−{tolerance:g}", "0", f"+{tolerance:g}"])
    difference.set_ylabel("D − aim", labelpad=2)
    difference.set_xlabel("log₁₀ H, H in lx·s", labelpad=2)
    difference.tick_params(length=3, pad=2)
    for axes in (main, difference):
        axes.yaxis.set_label_coords(-0.43 / (axes.get_position().width * _WIDTH_IN), 0.5)


def _lines(result: StripResult) -> list[tuple[str, Record | None]]:
    """Speed and contrast of each record in words beneath the curves; the rest is in the table."""
    lines: list[tuple[str, Record | None]] = []
    for record in result.fits:
        speed, gradient = _short(result, record, _SPEED, "speed"), _short(result, record, _CONTRAST, "gradient")
        lines.append((f"{speed}, {gradient}", record))
    return lines + [
        (f"{m.name} {show_quantity(m.value, m.unit)}{_doubt(m)}", None) for m in result.measures if m.record is None
    ]


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
