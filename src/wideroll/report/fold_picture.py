"""A series folded at its spacing: marks that one roller made stand above one another."""

from typing import Final

import numpy as np
import polars as pl
from matplotlib.figure import Figure
from numpy.typing import NDArray

from wideroll.repeats.model import Series, SeriesSettings
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number, show_probability
from wideroll.report.svg import to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, SERIES, SMALL_PT, drawing

__all__ = ["draw_fold", "fold_caption", "fold_grid"]

_TURN_IN: Final = 0.055
_LEAST_IN: Final = 1.6
_MOST_IN: Final = 4.6


def draw_fold(series: Series, marks: pl.DataFrame, settings: SeriesSettings, *, key: str = "fold") -> str:
    """Turn number against phase as SVG.

    Phase 0 is the series' own place on the turn. Members are filled diamonds, other marks in the same lane open
    circles, turns on which nothing printed short ticks at the left.

    Args:
        series: the series.
        marks: the marks table the search was given, so that the rows it names are found.
        settings: of the search; gives the lane's width and the jitter band.
        key: prefix of the ids in the SVG.
    """
    phases = _phases(series, marks, settings)
    turns = max(series.turns, default=0) - min(series.turns, default=0) + 1
    height = min(max(_LEAST_IN, turns * _TURN_IN), _MOST_IN)
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height + 0.62))
        axes = figure.add_axes((0.08, 0.44 / (height + 0.62), 0.89, height / (height + 0.62)))
        half = series.spacing_m * 500.0
        axes.set_xlim(-half, half)
        axes.set_ylim(min(series.turns, default=0) - 1, max(series.turns, default=0) + 1)
        axes.axvspan(-2.0 * settings.jitter_mm, 2.0 * settings.jitter_mm, facecolor=AIM, alpha=0.2, linewidth=0)
        others, members = phases
        axes.plot(
            others[:, 1], others[:, 0], linestyle="", marker="o", markersize=3.4, markerfacecolor="none", color=MUTED
        )
        axes.plot(members[:, 1], members[:, 0], linestyle="", marker="D", markersize=4.2, color=SERIES)
        silent = sorted(set(range(min(series.turns, default=0), max(series.turns, default=0))) - set(series.turns))
        axes.plot([-half * 0.985] * len(silent), silent, linestyle="", marker="_", markersize=7, color=INK)
        axes.set_xlabel("phase: place on the turn from the series' own, mm", labelpad=2)
        axes.set_ylabel("turn")
        axes.grid(visible=True, axis="x")
        axes.text(
            0.0,
            1.02,
            "filled diamond: of the series · open circle: other mark in the lane · dash at left: turn without a mark · "
            "band: ± 2 jitter",
            transform=axes.transAxes,
            fontsize=SMALL_PT,
            color=MUTED,
        )
        return to_svg(figure, key=key, title="Marks folded at the spacing", description=fold_caption(series))


def fold_caption(series: Series) -> str:
    """What the folded marks show."""
    turns = max(series.turns, default=0) - min(series.turns, default=0) + 1
    drift = (
        f" The spacing changes by {show_number(series.drift * 100.0, 2, signed=True)} % from first to last turn."
        if abs(series.drift) >= 5e-5  # noqa: PLR2004  # what two decimals can show
        else ""
    )
    return (
        f"Folded at {show_number(series.spacing_m * 1000.0, 1)} mm, {len(series.members)} marks on {turns} turns stand "
        f"above one another at {show_number(series.across_mm, 0)} mm across; a turn prints with probability "
        f"{show_probability(series.print_probability)}.{drift}"
    )


def fold_grid(series: Series, marks: pl.DataFrame) -> Grid:
    """The figure's data: each member with its turn, place and phase."""
    rows = sorted(zip(series.turns, series.members, strict=True))
    return Grid(
        caption="Members of the series",
        columns=(
            Column(head="turn", number=True),
            Column(head="mark"),
            Column(head="along, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="off its turn, mm", number=True),
        ),
        rows=tuple(
            (
                Cell(text=str(turn)),
                Cell(text=str(marks["id"][member])),
                Cell(text=show_number(marks["along_m"][member], 3)),
                Cell(text=show_number(marks["across_mm"][member], 1)),
                Cell(text=show_number(_off(series, turn, marks["along_m"][member]), 1, signed=True)),
            )
            for turn, member in rows
        ),
    )


def _off(series: Series, turn: int, along_m: float) -> float:
    return (along_m - series.phase_m - turn * series.spacing_m) * 1000.0


def _phases(
    series: Series, marks: pl.DataFrame, settings: SeriesSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(turn, phase mm) of the other marks in the lane, and of the members."""
    along = marks["along_m"].to_numpy()
    across = marks["across_mm"].to_numpy()
    mine = np.zeros(along.size, dtype=np.bool_)
    mine[list(series.members)] = True
    near = (np.abs(across - series.across_mm) <= settings.lane_mm) & ~mine
    turns = np.round((along - series.phase_m) / series.spacing_m)
    near &= (turns >= min(series.turns, default=0) - 1) & (turns <= max(series.turns, default=0) + 1)
    phase = (along - series.phase_m - turns * series.spacing_m) * 1000.0
    others = np.column_stack((turns[near], phase[near]))
    members = np.array(
        [(turn, _off(series, turn, along[row])) for turn, row in zip(series.turns, series.members, strict=True)],
        dtype=np.float64,
    ).reshape(-1, 2)
    return others, members
