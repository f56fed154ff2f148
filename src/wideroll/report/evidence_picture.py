"""Evidence against spacing: which spacings the marks at one place speak for, and which rollers turn there."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wideroll.repeats.model import ANOTHER, Roller, Series, SpacingEvidence
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.labels import push_apart
from wideroll.report.quantities import show_number, show_probability
from wideroll.report.svg import to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, PAPER, SERIES, SMALL_PT, drawing

__all__ = ["draw_evidence", "evidence_caption", "evidence_grid"]

_HEIGHT_IN: Final = 2.3
_BELOW_IN: Final = 0.45
_LEFT_IN: Final = 0.5
_RIGHT_IN: Final = 0.12
_LETTER_IN: Final = 0.062
_NAME_IN: Final = 0.13
"""Room that a name takes, written upright."""
_BEND_IN: Final = 0.22
_LEAST_IN: Final = 0.5
_MOST_LETTERS: Final = 24
_FLOOR: Final = -2.0
"""Evidence this far against a series, or further, is drawn at the foot."""
_TICKS_MM: Final = (100, 150, 200, 300, 400, 500, 700, 1000, 1500, 2000, 3000, 5000)
_NEAR: Final = 0.003
_MOST_ROWS: Final = 12
_RELATED: Final = ((0.5, "half"), (2.0, "double"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Peak:
    spacing_m: float
    log10: float


def draw_evidence(
    evidence: SpacingEvidence, series: Series, rollers: Sequence[Roller], *, key: str = "evidence"
) -> str:
    """Decimal logarithm of the likelihood ratio against the spacing, as SVG.

    Thin upright lines are π × diameter of the rollers, named above; the filled diamond is the spacing found, open
    circles its half and double. Above 0 the marks speak for a series, below against it; what lies below −2 is drawn at
    the foot.

    Args:
        evidence: of the marks at the series' place across.
        series: found there.
        rollers: of the line.
        key: prefix of the ids in the SVG.
    """
    above = _names_in(rollers)
    height = above + _HEIGHT_IN + _BELOW_IN
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        wide = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
        axes = figure.add_axes(
            (_LEFT_IN / FIGURE_WIDTH_IN, _BELOW_IN / height, wide / FIGURE_WIDTH_IN, _HEIGHT_IN / height)
        )
        _frame(axes, evidence)
        _draw_rollers(axes, evidence, rollers, wide)
        _draw_curve(axes, evidence)
        _draw_found(axes, evidence, series)
        return to_svg(figure, key=key, title="Evidence against spacing", description=evidence_caption(evidence, series))


def evidence_caption(evidence: SpacingEvidence, series: Series) -> str:
    """What the curve says."""
    found = _at(evidence, series.spacing_m)
    rival = _rival(evidence, series.spacing_m)
    first = series.candidates[0] if series.candidates else None
    roller = (
        ""
        if first is None
        else f" It fits {first.roller} ({show_probability(first.probability)})."
        if first.roller != ANOTHER
        else " No roller in the table fits it well."
    )
    beside = (
        f"; the best other spacing, {show_number(rival.spacing_m * 1000.0, 1)} mm, is 10^"
        f"{show_number(found - rival.log10, 0)} times less likely"
        if rival is not None
        else ""
    )
    return (
        f"At {show_number(series.across_mm, 0)} mm across the marks are 10^{show_number(found, 0)} times likelier with "
        f"a series every {show_number(series.spacing_m * 1000.0, 1)} mm than scattered{beside}.{roller}"
    )


def evidence_grid(evidence: SpacingEvidence, rollers: Sequence[Roller] = ()) -> Grid:
    """The figure's data: the highest peaks, and the roller near each."""
    peaks = _peaks(evidence)
    return Grid(
        caption="Spacings that the marks speak for most",
        columns=(
            Column(head="spacing, mm", number=True),
            Column(head="log10 of the likelihood ratio", number=True),
            Column(head="rollers within 0.3 %"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(peak.spacing_m * 1000.0, 1)),
                Cell(text=show_number(peak.log10, 1)),
                Cell(text=", ".join(_near(peak.spacing_m, rollers)) or "none"),
            )
            for peak in peaks[:_MOST_ROWS]
        ),
        left_out=max(len(peaks) - _MOST_ROWS, 0),
        empty="No spacing stands out.",
    )


def _near(spacing_m: float, rollers: Sequence[Roller]) -> list[str]:
    return [roller.name for roller in rollers if abs(math.log(spacing_m / roller.pitch_m)) <= _NEAR]


def _at(evidence: SpacingEvidence, spacing_m: float) -> float:
    return float(np.interp(spacing_m, evidence.spacings_m, evidence.log_evidence)) / math.log(10.0)


def _peaks(evidence: SpacingEvidence) -> list[_Peak]:
    """Local maxima, one per 0.3 %, the highest first."""
    values, spacings = evidence.log_evidence / math.log(10.0), evidence.spacings_m
    padded = np.concatenate(([-np.inf], values, [-np.inf]))
    rows = np.flatnonzero((values >= padded[:-2]) & (values >= padded[2:]) & np.isfinite(values))
    peaks: list[_Peak] = []
    for row in rows[np.argsort(-values[rows], kind="stable")]:
        if all(abs(math.log(spacings[row] / one.spacing_m)) > _NEAR for one in peaks):
            peaks.append(_Peak(spacing_m=float(spacings[row]), log10=float(values[row])))
        if len(peaks) > 4 * _MOST_ROWS:
            break
    return peaks


def _rival(evidence: SpacingEvidence, spacing_m: float) -> _Peak | None:
    return next((one for one in _peaks(evidence) if abs(math.log(one.spacing_m / spacing_m)) > 2.0 * _NEAR), None)


def _frame(axes: Axes, evidence: SpacingEvidence) -> None:
    low, high = float(evidence.spacings_m[0]) * 1000.0, float(evidence.spacings_m[-1]) * 1000.0
    top = max(float(evidence.log_evidence.max()) / math.log(10.0), 1.0)
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(_FLOOR - 0.04 * top, 1.12 * top)
    ticks = [tick for tick in _TICKS_MM if low <= tick <= high]
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.set_xticks([], minor=True)
    axes.axhline(0.0, color=INK, linewidth=0.7)
    axes.set_xlabel("spacing, mm", labelpad=2)
    axes.set_ylabel("log10 of the likelihood ratio", labelpad=2)
    axes.tick_params(length=3, pad=2)


def _draw_curve(axes: Axes, evidence: SpacingEvidence) -> None:
    values = np.maximum(evidence.log_evidence / math.log(10.0), _FLOOR)
    axes.plot(evidence.spacings_m * 1000.0, values, color=INK, linewidth=0.8, zorder=4)


def _draw_found(axes: Axes, evidence: SpacingEvidence, series: Series) -> None:
    for times, name in (*_RELATED, (1.0, "found")):
        spacing = series.spacing_m * times
        if not evidence.spacings_m[0] <= spacing <= evidence.spacings_m[-1]:
            continue
        found = times == 1.0
        height = max(_at(evidence, spacing), _FLOOR)
        axes.plot(
            [spacing * 1000.0],
            [height],
            linestyle="",
            marker="D" if found else "o",
            markersize=5.0,
            markerfacecolor=SERIES if found else PAPER,
            markeredgecolor=SERIES if found else INK,
            zorder=6,
        )
        axes.annotate(
            f"{name}, {show_number(spacing * 1000.0, 1)} mm",
            (spacing * 1000.0, height),
            xytext=(6, 3),
            textcoords="offset points",
            fontsize=SMALL_PT,
            color=SERIES if found else INK,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
            zorder=7,
        )


def _title(names: Sequence[str]) -> str:
    text = " = ".join(names)
    return text if len(text) <= _MOST_LETTERS else text[: _MOST_LETTERS - 1] + "…"


def _names_in(rollers: Sequence[Roller]) -> float:
    longest = max((len(roller.name) for roller in rollers), default=0)
    return max(_LEAST_IN, min(longest, _MOST_LETTERS) * _LETTER_IN + _BEND_IN + 0.08) if rollers else 0.15


def _draw_rollers(axes: Axes, evidence: SpacingEvidence, rollers: Sequence[Roller], wide_in: float) -> None:
    """A thin line at each roller's pitch, its name upright above, pushed aside so that none lies on another."""
    low, high = float(evidence.spacings_m[0]), float(evidence.spacings_m[-1])
    by_pitch: dict[float, list[str]] = {}
    for roller in sorted(rollers, key=lambda one: (one.pitch_m, one.name)):
        if low <= roller.pitch_m <= high:
            by_pitch.setdefault(roller.pitch_m, []).append(roller.name)
    inch = math.log(high / low) / wide_in
    wanted = [math.log(pitch / low) / inch for pitch in by_pitch]
    moved = _kept_within(push_apart(wanted, _NAME_IN), wide_in)
    transform = axes.get_xaxis_transform()
    for pitch, names, at in zip(by_pitch, by_pitch.values(), moved, strict=True):
        axes.axvline(pitch * 1000.0, color=AIM, linewidth=0.6, zorder=2)
        axes.annotate(
            _title(names),
            (pitch * 1000.0, 1.0),
            xycoords=transform,
            xytext=(low * 1000.0 * math.exp(at * inch), 1.0 + _BEND_IN / _HEIGHT_IN),
            textcoords=transform,
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=SMALL_PT,
            color=MUTED,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": AIM, "linewidth": 0.5, "shrinkA": 0, "shrinkB": 0},
        )


def _kept_within(places: Sequence[float], wide_in: float) -> tuple[float, ...]:
    """Places moved so that none lies beyond the ends, and all stay apart."""
    kept = list(places)
    limit = wide_in + _NAME_IN / 2.0
    for index in reversed(range(len(kept))):
        kept[index] = limit = min(kept[index], limit - _NAME_IN)
    limit = -_NAME_IN / 2.0
    for index in range(len(kept)):
        kept[index] = limit = max(kept[index], limit + _NAME_IN)
    return tuple(kept)
