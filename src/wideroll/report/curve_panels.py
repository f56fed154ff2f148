"""The strips beneath the curves, each with its own scale: residuals, deviations, records against one another."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from wideroll.report.labels import push_apart
from wideroll.report.theme import AIM, INK, PAPER, RECORDS, SMALL_PT, LineStyle
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, CurveFit, Record, RecordPair, StripResult

__all__ = ["Panel", "draw_readings", "panels_of"]

_SAMPLES: Final = 120
_LEAST_RESIDUAL: Final = 0.02
_LEAST_SHIFT: Final = 0.05
_PAIR_LINES: Final[tuple[LineStyle, ...]] = ("-", (0.0, (4.0, 1.6)), (0.0, (1.2, 1.2)))
_BAND_ALPHA: Final = 0.14
_LABEL_GAP: Final = 0.34
"""Of half the panel's reach: the least distance of two words."""
_MOST_TIMES: Final = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One strip beneath the curves: what its scale shows, and how it is drawn."""

    label: str
    draw: Callable[[Axes], float]
    """Draws on axes and gives how far its scale must reach to either side of nought."""
    tick: float
    """Marked on the scale to either side of nought."""


def panels_of(result: StripResult, aims: Aims | None, *, every: bool) -> tuple[Panel, ...]:
    """The panels there is something to draw in, from top to bottom.

    Residuals and the deviation in log H only where ``every``; the others have the better claim on a small figure.
    """
    panels: list[Panel] = []
    if every and result.fits:
        most = max(fit.residual_sd for fit in result.fits.values())
        tick = max(_LEAST_RESIDUAL, math.ceil((most if math.isfinite(most) else 0.0) * 200.0) / 100.0)
        panels.append(Panel(label="D − fit", draw=lambda axes: _residuals(axes, result, tick), tick=tick))
    if aims is not None:
        tolerance = aims.tolerance_density
        panels.append(Panel(label="D − aim", draw=lambda axes: _off_aim(axes, result, aims), tick=tolerance))
    if every and any(deviation.curve is not None for deviation in result.deviations):
        shift = _LEAST_SHIFT
        panels.append(Panel(label="Δ log H", draw=lambda axes: _shifts(axes, result), tick=shift))
    if any(len(pair.log_h) for pair in result.pairs):
        tick = aims.tolerance_density if aims is not None else _LEAST_SHIFT
        label = "records" if aims is not None else "records, Δ"
        panels.append(Panel(label=label, draw=lambda axes: _pairs(axes, result, tick), tick=tick))
    return tuple(panels)


def draw_readings(axes: Axes, record: Record, fit: CurveFit, values: NDArray[np.float64]) -> None:
    """A mark for each reading: filled where the fit used it, hollow where not."""
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


def _residuals(axes: Axes, result: StripResult, tick: float) -> float:
    """Readings less their curve; one that was left out may lie off the scale, and is drawn at its edge."""
    reach = 1.5 * tick
    for record, fit in result.fits.items():
        left = fit.density - density_at(fit, fit.log_h)
        draw_readings(axes, record, fit, np.clip(left, -0.94 * reach, 0.94 * reach))
    return reach


def _off_aim(axes: Axes, result: StripResult, aims: Aims) -> float:
    tolerance = aims.tolerance_density
    axes.axhspan(-tolerance, tolerance, facecolor=AIM, alpha=0.22, linewidth=0, zorder=1)
    reach = 1.5 * tolerance
    for record, fit in result.fits.items():
        curve = aims.curves.get(record)
        if curve is None:
            continue
        style = RECORDS[record]
        left = fit.density - curve.at(fit.log_h)
        draw_readings(axes, record, fit, left)
        inside = np.linspace(*fit.log_h_range, _SAMPLES)
        line = density_at(fit, inside) - curve.at(inside)
        axes.plot(inside, line, color=style.colour, linestyle=style.line, linewidth=1.1, zorder=4)
        seen = np.abs(np.concatenate([left[fit.used], line]))
        reach = max(reach, 1.06 * float(np.nanmax(seen, initial=0.0)))
    return reach


def _shifts(axes: Axes, result: StripResult) -> float:
    """How much slower (above) or faster (below) than the aim, with the pointwise band."""
    reach = 1.5 * _LEAST_SHIFT
    for deviation in result.deviations:
        curve, style = deviation.curve, RECORDS[deviation.record]
        if curve is None:
            continue
        _band(axes, curve.log_h, curve.shift_log_h, curve.shift_half, colour=style.colour, line=style.line)
        middle = np.abs(curve.shift_log_h[len(curve.log_h) // 8 : -len(curve.log_h) // 8])
        if np.isfinite(middle).any():
            reach = max(reach, 1.3 * float(np.nanmax(middle)))
    return reach


def _pairs(axes: Axes, result: StripResult, tick: float) -> float:
    reach, ends = 1.5 * tick, []
    pairs = [pair for pair in result.pairs if len(pair.log_h)]
    for pair, line in zip(pairs, _PAIR_LINES, strict=False):
        colour = RECORDS[pair.first].colour if pair.first is not Record.RED else INK
        off = pair.off if result.deviations else pair.off - pair.off.mean()
        _band(axes, pair.log_h, off, pair.off_half, colour=colour, line=line)
        reach = max(reach, 1.1 * float(np.nanmax(np.abs(off))))
        ends.append((float(pair.log_h[-1]), float(off[-1]), _initials(pair), colour))
    reach = min(reach, max(1.5 * tick, _MOST_TIMES * reach))
    _name(axes, ends, reach)
    return reach


def _name(axes: Axes, ends: Sequence[tuple[float, float, str, str]], reach: float) -> None:
    shown = push_apart([min(max(end, -0.75 * reach), 0.75 * reach) for _, end, _, _ in ends], _LABEL_GAP * reach)
    right = axes.get_xlim()[1]
    for (x, end, name, colour), y in zip(ends, shown, strict=True):
        axes.annotate(
            name,
            (x, end),
            xytext=(right + 0.04 * (right - axes.get_xlim()[0]), y),
            color=colour,
            fontsize=SMALL_PT,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.4, "shrinkA": 0, "shrinkB": 0},
        )


def _initials(pair: RecordPair) -> str:
    return f"{pair.first.value[0].upper()} − {pair.second.value[0].upper()}"


def _band(
    axes: Axes,
    x: NDArray[np.float64],
    middle: NDArray[np.float64],
    half: NDArray[np.float64],
    *,
    colour: str,
    line: LineStyle,
) -> None:
    axes.plot(x, middle, color=colour, linestyle=line, linewidth=1.1, zorder=4)
    if np.isfinite(half).any():
        axes.fill_between(x, middle - half, middle + half, facecolor=colour, alpha=_BAND_ALPHA, linewidth=0, zorder=2)
