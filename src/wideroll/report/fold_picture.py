"""A series folded at its spacing: marks that one roller made stand above one another."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from wideroll.repeats.model import Series, SeriesSettings
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number, show_probability
from wideroll.report.svg import to_svg
from wideroll.report.theme import AIM, FIGURE_WIDTH_IN, INK, MUTED, PAPER, SERIES, SMALL_PT, drawing

__all__ = ["draw_fold", "fold_caption", "fold_grid"]

_TURN_IN: Final = 0.045
_LEAST_IN: Final = 1.3
_MOST_IN: Final = 2.6
_TALLEST_IN: Final = 3.8
"""Of a series too long for a row a turn."""
_MOST_DASHES: Final = 140
"""Turns above which those without a mark are no longer drawn one by one."""
_BLOCKS: Final = 40
_BLOCK_SHARE: Final = 0.06
_USUAL_PT: Final = 3.4
_LEAST_PT: Final = 1.1
_COURSE_MEMBERS: Final = 15
"""Members whose median place is the series' course there."""
_ABOVE_IN: Final = 0.3
_GAP_IN: Final = 0.46
_TURN_STRIP_IN: Final = 0.16
_BELOW_IN: Final = 0.42
_REACH_JITTERS: Final = 5.0
_LEFT: Final = 0.08
_WIDE: Final = 0.89


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Folded:
    """(turn, phase mm) float64 (n, 2) of the members and of the other marks in the lane; first and last turn."""

    members: NDArray[np.float64]
    others: NDArray[np.float64]
    first: int
    last: int
    span_mm: tuple[float, float]
    """How far to either side of the series' own place the main panel shows."""

    @property
    def long(self) -> bool:
        """Whether there are too many turns to draw each on its own."""
        return self.last - self.first + 1 > _MOST_DASHES


def draw_fold(series: Series, marks: pl.DataFrame, settings: SeriesSettings, *, key: str = "fold") -> str:
    """Turn number against phase as SVG.

    Phase 0 is the series' own place on the turn. The main panel shows five standard deviations of jitter on either
    side: members are filled diamonds, other marks in the same lane open circles, turns on which nothing printed short
    dashes at the left. In a long series bars at the left show the share of turns that printed instead, and the bands
    follow the series' course. The strip beneath shows the whole turn with all turns laid over one another.

    Args:
        series: the series.
        marks: the marks table the search was given, so that the rows it names are found.
        settings: of the search; gives the lane's width and the jitter bands.
        key: prefix of the ids in the SVG.
    """
    folded = _fold(series, marks, settings)
    most = _TALLEST_IN if folded.long else _MOST_IN
    tall = min(max(_LEAST_IN, (folded.last - folded.first + 1) * _TURN_IN), most)
    height = _ABOVE_IN + tall + _GAP_IN + _TURN_STRIP_IN + _BELOW_IN
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        whole_turn = figure.add_axes((_LEFT, _BELOW_IN / height, _WIDE, _TURN_STRIP_IN / height))
        main = figure.add_axes((_LEFT, (_BELOW_IN + _TURN_STRIP_IN + _GAP_IN) / height, _WIDE, tall / height))
        _draw_main(main, folded, settings.jitter_mm)
        _draw_whole_turn(whole_turn, folded, series.spacing_m * 1000.0)
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


def _draw_main(axes: Axes, folded: _Folded, jitter_mm: float) -> None:
    low, high = folded.span_mm
    axes.set_xlim(low, high)
    axes.set_ylim(folded.first - 1, folded.last + 1)
    _draw_bands(axes, folded, jitter_mm)
    free = low + _BLOCK_SHARE * (high - low) if folded.long else low
    near = folded.others[(folded.others[:, 1] >= free) & (folded.others[:, 1] <= high)]
    size = max(_LEAST_PT, _USUAL_PT * min(1.0, (_MOST_DASHES / max(len(folded.members), 1)) ** 0.5))
    _draw_points(axes, near, "o", size, {"color": MUTED, "markerfacecolor": "none"})
    _draw_points(axes, folded.members, "D", size, {"color": SERIES})
    left = _draw_shares(axes, folded) if folded.long else _draw_silent(axes, folded)
    bands = "bands about its course" if folded.long else "bands"
    axes.set_xlabel("place on the turn from the series' own, mm", labelpad=1)
    axes.set_ylabel("turn")
    axes.set_xticks(_ticks(folded.span_mm, jitter_mm))
    axes.grid(visible=True, axis="x")
    axes.tick_params(length=3, pad=2)
    axes.annotate(
        f"filled diamond: of the series · open circle: other mark in the lane · {left} · "
        f"{bands}: ± {jitter_mm:g} and ± {2.0 * jitter_mm:g} mm",
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 4),
        textcoords="offset points",
        fontsize=SMALL_PT,
        color=MUTED,
    )


def _draw_points(axes: Axes, points: NDArray[np.float64], marker: str, size: float, style: dict[str, Any]) -> None:
    edge = min(1.0, size / 3.0)
    axes.plot(points[:, 1], points[:, 0], linestyle="", marker=marker, markersize=size, markeredgewidth=edge, **style)


def _draw_bands(axes: Axes, folded: _Folded, jitter_mm: float) -> None:
    """One and two deviations of jitter, about the series' own place or, where it is long, about its course."""
    turns, course = _course(folded)
    for times, alpha in ((2.0, 0.12), (1.0, 0.16)):
        half = times * jitter_mm
        axes.fill_betweenx(turns, course - half, course + half, facecolor=AIM, alpha=alpha, linewidth=0)
    axes.plot(course, turns, color=AIM, linewidth=0.6)


def _course(folded: _Folded) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turns, and the place the series has there."""
    if not folded.long or len(folded.members) < 2 * _COURSE_MEMBERS:
        return np.array([folded.first - 1.0, folded.last + 1.0]), np.zeros(2)
    members = folded.members[np.argsort(folded.members[:, 0], kind="stable")]
    windows = np.lib.stride_tricks.sliding_window_view(members, _COURSE_MEMBERS, axis=0)
    return np.median(windows[:, 0, :], axis=1), np.median(windows[:, 1, :], axis=1)


def _draw_silent(axes: Axes, folded: _Folded) -> str:
    """A dash at the left for each turn without a mark. Gives its words for the key."""
    silent = sorted(set(range(folded.first, folded.last)) - {int(turn) for turn in folded.members[:, 0]})
    low, high = folded.span_mm
    at = low + 0.0075 * (high - low)
    axes.plot([at] * len(silent), silent, linestyle="", marker="_", markersize=7, color=INK)
    return "dash at left: turn without a mark"


def _draw_shares(axes: Axes, folded: _Folded) -> str:
    """Bars at the left, by blocks of turns: the share that printed. Gives its words for the key."""
    low, high = folded.span_mm
    whole = _BLOCK_SHARE * (high - low)
    edges = np.linspace(folded.first, folded.last + 1, _BLOCKS + 1)
    printed, _ = np.histogram(folded.members[:, 0], bins=edges)
    tall = np.diff(edges)
    bars: dict[str, Any] = {"left": low, "height": 0.8 * tall, "align": "center", "linewidth": 0.0, "zorder": 3}
    middle = edges[:-1] + tall / 2.0
    axes.barh(middle, np.full(_BLOCKS, whole), facecolor=PAPER, **bars)
    axes.barh(middle, whole * printed / tall, facecolor=INK, **bars)
    axes.plot([low + whole] * 2, [folded.first, folded.last + 1], color=INK, linewidth=0.5, zorder=3)
    return "bar at left: share of turns printed, all at the thin line"


def _ticks(span_mm: tuple[float, float], jitter_mm: float) -> NDArray[np.float64]:
    """Whole multiples of the jitter, so that its own ± stands on the axis."""
    first, last = -int(-span_mm[0] / jitter_mm + 1e-9), int(span_mm[1] / jitter_mm + 1e-9)
    every = max(1, round((last - first) / (2.0 * _REACH_JITTERS)))
    return np.arange(-(-first // every) * every, last + 1, every, dtype=np.float64) * jitter_mm


def _draw_whole_turn(axes: Axes, folded: _Folded, spacing_mm: float) -> None:
    axes.set_xlim(-spacing_mm / 2.0, spacing_mm / 2.0)
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    axes.axvspan(*folded.span_mm, facecolor=AIM, alpha=0.25, linewidth=0)
    for points, colour, height in ((folded.others, MUTED, 0.25), (folded.members, SERIES, 0.75)):
        wide = 1.0 if len(points) <= _MOST_DASHES else 0.4
        axes.plot(
            points[:, 1],
            np.full(len(points), height),
            linestyle="",
            marker="|",
            markersize=5,
            markeredgewidth=wide,
            color=colour,
        )
    axes.set_xlabel(
        "the whole turn, all turns together, mm: series above, other marks below; grey: the part shown", labelpad=1
    )
    axes.tick_params(length=3, pad=2)


def _off(series: Series, turn: int, along_m: float) -> float:
    return (along_m - series.phase_m - turn * series.spacing_m) * 1000.0


def _fold(series: Series, marks: pl.DataFrame, settings: SeriesSettings) -> _Folded:
    along = marks["along_m"].to_numpy()
    across = marks["across_mm"].to_numpy()
    first, last = min(series.turns, default=0), max(series.turns, default=0)
    mine = np.zeros(along.size, dtype=np.bool_)
    mine[list(series.members)] = True
    near = (np.abs(across - series.across_mm) <= settings.lane_mm) & ~mine
    turns = np.round((along - series.phase_m) / series.spacing_m)
    near &= (turns >= first - 1) & (turns <= last + 1)
    phase = (along - series.phase_m - turns * series.spacing_m) * 1000.0
    members = np.array(
        [(turn, _off(series, turn, along[row])) for turn, row in zip(series.turns, series.members, strict=True)],
        dtype=np.float64,
    ).reshape(-1, 2)
    # a spacing that wanders takes its members further off than jitter does
    usual = _REACH_JITTERS * settings.jitter_mm
    off = members[:, 1]
    return _Folded(
        members=members,
        others=np.column_stack((turns[near], phase[near])),
        first=first,
        last=last,
        span_mm=(
            min(-usual, 1.1 * float(off.min(initial=0.0)) - _BLOCK_SHARE * float(np.ptp(off) if off.size else 0.0)),
            max(usual, 1.05 * float(off.max(initial=0.0))),
        ),
    )
