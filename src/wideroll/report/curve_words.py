"""A strip's curves in words and numbers: the caption of its figure, and the figure's data."""

import math
from typing import Final

import numpy as np

from wideroll.report.evidence_grids import steps_left_out
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_number
from wideroll.sensitometry import density_at
from wideroll.sensitometry.model import Aims, StripResult

__all__ = ["CURVES_GUIDE", "curves_caption", "curves_grid"]

CURVES_GUIDE: Final = (
    "In each figure: filled, a reading the fit used; hollow, one left out; line, fitted; dashed, extrapolated; grey "
    "band, aim ± tolerance; ring and bar, the speed point; two rings and chord, the average gradient. Density and "
    "log H have equal scales above. Below, magnified: D − aim; and records against one another, less the aim's "
    "difference, with its 95 % band (R − G: red minus green): level lines are parallel records. (e): extrapolated."
)
"""How to read the figures of curves, said once for all of a page."""


def curves_caption(result: StripResult, aims: Aims | None) -> str:
    """The finding of the curves in a few sentences.

    How far curve and readings lie from aim, whether the records run parallel, and what was left out.
    """
    name = f"Strip {result.strip.name}"
    if not result.fits:
        return f"{name}: no curve could be fitted. {result.why}".strip()
    sentences = [f"{name}: {_finding(result, aims)}", *_balance(result, aims)]
    for record in result.fits:
        aside = steps_left_out(result, record)
        if aside:
            sentences.append(f"{record.value.capitalize()}: {aside}.")
    if not result.usable:
        sentences.append(f"Not usable as evidence: {result.why}.")
    return " ".join(sentences)


def _finding(result: StripResult, aims: Aims | None) -> str:
    if aims is None:
        scatter = max(fit.residual_sd for fit in result.fits.values())
        readings = max(int(fit.used.sum()) for fit in result.fits.values())
        return f"{readings} readings a record scatter by at most {show_number(scatter, 3)} about their curves."
    worst = [d for d in result.deviations if math.isfinite(d.worst_density.value)]
    if not worst:
        return "nothing could be compared with the aims."
    far = max(worst, key=lambda d: abs(d.worst_density.value))
    size = abs(far.worst_density.value)
    relation = "within" if size <= aims.tolerance_density else "outside"
    return (
        f"its curve lies at most {show_number(size, 3)} density from aim ({far.record.value}), "
        f"{relation} the band of ± {show_number(aims.tolerance_density, 3)}.{_farthest_reading(result, aims)}"
    )


def _balance(result: StripResult, aims: Aims | None) -> list[str]:
    """Whether the records run parallel, by the pair that does so least."""
    known = [pair for pair in result.pairs if math.isfinite(pair.spread.value)]
    if not known:
        return []
    pair = max(known, key=lambda one: one.spread.value)
    spread, names = pair.spread, f"{pair.first.value} and {pair.second.value}"
    against = "the aim's difference" if aims is not None else "a constant difference"
    size = f"{show_number(spread.value, 3)} density ({show_number(spread.low, 3)} to {show_number(spread.high, 3)})"
    if spread.low <= 0.0:
        return [f"The records can't be told from parallel: {names} leave {against} by {size}."]
    crossing = pair.crossover.value
    where = f", crossing over at log H {show_number(crossing, 2)}" if math.isfinite(crossing) else ""
    return [f"{names.capitalize()} aren't parallel: they leave {against} by {size}{where}."]


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


def curves_grid(result: StripResult, aims: Aims | None) -> Grid:
    """The figure's data: measured, fitted and aim density of each record at each step."""
    parts = ("measured", "fitted") if aims is None else ("measured", "fitted", "aim")
    columns = [Column(head="log H", number=True)]
    for record in result.fits:
        columns += [Column(head=f"{record.value} {part}", number=True) for part in parts]
    rows: list[tuple[Cell, ...]] = []
    for step, log_h in enumerate(result.strip.log_h):
        cells = [Cell(text=show_number(float(log_h), 2))]
        for record, fit in result.fits.items():
            x = np.array([log_h])
            values = [float(fit.density[step]), float(density_at(fit, x)[0])]
            if aims is not None:
                values.append(float(aims.curves[record].at(x)[0]) if record in aims.curves else math.nan)
            cells += [Cell(text=show_number(value, 3)) for value in values]
        rows.append(tuple(cells))
    return Grid(
        caption=f"Densities of strip {result.strip.name} ({ABSENT}: not read, or no aim there)",
        columns=tuple(columns),
        rows=tuple(rows),
        empty="No curve could be fitted.",
    )
