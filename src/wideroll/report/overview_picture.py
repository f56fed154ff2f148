"""A stretch of web as the scanner saw it, in coarse cells: what they are on average, and the worst in each."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share, show_span
from wideroll.report.svg import to_svg
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT, UNSEEN_HATCH, drawing
from wideroll.scan.model import Overview

__all__ = ["draw_overview", "overview_caption", "overview_grid"]

_LEFT_IN: Final = 0.55
_RIGHT_IN: Final = 0.86
_ACROSS_IN: Final = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
_ABOVE_IN: Final = 0.24
_BETWEEN_IN: Final = 0.3
_BELOW_IN: Final = 0.55
_LEAST_IN: Final = 0.9
_MOST_IN: Final = 2.6
_KEY_IN: Final = 0.1
_MOST_ROWS: Final = 960
_SCALES: Final = (*(step * 10.0**tens for tens in (-3, -2, -1) for step in (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)), 1.0)
_TIMES_USUAL: Final = 3.5
"""Reach of the greys as a multiple of what half the cells stay within, so that what stands out is black or white."""
_LISTED: Final = 12
_RING_PT: Final = 7.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """The rows shown: departures ``[along, across]``, and where they lie."""

    mean: NDArray[np.float32]
    worst: NDArray[np.float32]
    from_m: float
    cell_m: float
    cell_mm: float

    @property
    def to_m(self) -> float:
        """Where the last row ends."""
        return float(self.from_m + self.mean.shape[0] * self.cell_m)

    @property
    def width_mm(self) -> float:
        """Of all cells."""
        return float(self.mean.shape[1] * self.cell_mm)


def draw_overview(
    overview: Overview,
    *,
    first_m: float = 0.0,
    from_m: float = -math.inf,
    to_m: float = math.inf,
    key: str = "overview",
) -> str:
    """A stretch of the overview as SVG: ``mean`` above, ``worst`` beneath it over the same places.

    Grey in the middle is the level of the surroundings, darker is a weaker signal, lighter a stronger one; each layer
    has its own scale at its side, black or white from there on. What was not looked at is hatched. More rows than fit
    are drawn together.

    Args:
        overview: of the web, or some rows of it.
        first_m: where its first row starts, from the head.
        from_m: where the stretch starts.
        to_m: where it ends.
        key: prefix of the ids in the SVG, its own for each figure of a page.
    """
    view = _drawn_together(_view(overview, first_m, from_m, to_m))
    length_m = max(view.to_m - view.from_m, view.cell_m)
    tall = min(max(_LEAST_IN, _ACROSS_IN * view.width_mm / 1000.0 / length_m), _MOST_IN)
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, _ABOVE_IN + tall + _BETWEEN_IN + tall + _BELOW_IN))
        worst = _draw_layer(figure, view.worst, view, _BELOW_IN, tall)
        _title(worst, f"worst of each cell: the pixel furthest from its surroundings (cells of {_cell(view)})")
        _draw_rings(worst, view)
        _say_along(worst)
        mean = _draw_layer(figure, view.mean, view, _BELOW_IN + tall + _BETWEEN_IN, tall)
        _title(mean, f"mean of each cell (cells of {_cell(view)})")
        mean.tick_params(labelbottom=False)
        return to_svg(
            figure,
            key=key,
            title=f"The web from {show_span(view.from_m, view.to_m, 'm', 2)} as the scanner saw it",
            description=overview_caption(overview, first_m=first_m, from_m=from_m, to_m=to_m),
        )


def overview_caption(
    overview: Overview, *, first_m: float = 0.0, from_m: float = -math.inf, to_m: float = math.inf
) -> str:
    """Where the stretch departs most, how even it is otherwise, and how much of it was not looked at."""
    view = _view(overview, first_m, from_m, to_m)
    where = f"From {show_span(view.from_m, view.to_m, 'm', 2)}"
    seen = np.isfinite(view.worst)
    if not seen.any():
        return f"{where} nothing was looked at."
    row, cell = _furthest(view, 1)[0]
    unseen = 1.0 - float(seen.mean())
    blind = f" {show_share(unseen)} of the cells were not looked at." if unseen > 0.0 else ""
    return (
        f"{where} the pixel furthest from its surroundings departs by "
        f"{show_number(float(view.worst[row, cell]) * 100.0, 1, signed=True)} %, at "
        f"{show_number(view.from_m + (row + 0.5) * view.cell_m, 2)} m and "
        f"{show_number((cell + 0.5) * view.cell_mm, 0)} mm across; the means of the cells vary by "
        f"{show_number(float(np.nanstd(view.mean)) * 100.0, 2)} % (standard deviation).{blind}"
    )


def overview_grid(
    overview: Overview, *, first_m: float = 0.0, from_m: float = -math.inf, to_m: float = math.inf
) -> Grid:
    """The figure's data: the cells that depart most, with their place and both values."""
    view = _view(overview, first_m, from_m, to_m)
    chosen = _furthest(view, _LISTED)
    seen = int(np.isfinite(view.worst).sum())
    return Grid(
        caption=f"The {len(chosen)} cells of {_cell(view)} that depart most, of {show_number(seen)} looked at",
        columns=(
            Column(head="along, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="worst, %", number=True),
            Column(head="mean, %", number=True),
        ),
        rows=tuple(
            (
                Cell(text=show_number(view.from_m + (row + 0.5) * view.cell_m, 3)),
                Cell(text=show_number((cell + 0.5) * view.cell_mm, 0)),
                Cell(text=show_number(float(view.worst[row, cell]) * 100.0, 1, signed=True)),
                Cell(text=show_number(float(view.mean[row, cell]) * 100.0, 2, signed=True)),
            )
            for row, cell in chosen
        ),
        empty="Nothing was looked at.",
        left_out=seen - len(chosen),
    )


def _view(overview: Overview, first_m: float, from_m: float, to_m: float) -> _View:
    cell_m, rows = overview.cell_m, len(overview.mean)
    first = min(max(math.floor((max(from_m, first_m) - first_m) / cell_m + 1e-6), 0), rows)
    end = first_m + rows * cell_m
    last = min(max(math.ceil((min(to_m, end) - first_m) / cell_m - 1e-6), first), rows)
    return _View(
        mean=overview.mean[first:last] - np.float32(1.0),
        worst=overview.worst[first:last] - np.float32(1.0),
        from_m=first_m + first * cell_m,
        cell_m=cell_m,
        cell_mm=overview.cell_mm,
    )


def _drawn_together(view: _View) -> _View:
    """No more rows than a picture has room for: the mean of several, and the worst of them."""
    many = math.ceil(len(view.mean) / _MOST_ROWS)
    if many <= 1:
        return view
    spare = (-len(view.mean)) % many
    mean, worst = (
        np.pad(layer, ((0, spare), (0, 0)), constant_values=np.nan).reshape(-1, many, layer.shape[1])
        for layer in (view.mean, view.worst)
    )
    seen = np.isfinite(mean)
    total, count = np.where(seen, mean, np.float32(0.0)).sum(axis=1), seen.sum(axis=1)
    low, high = (np.asarray(reduce(worst, axis=1)) for reduce in (np.fmin.reduce, np.fmax.reduce))
    return _View(
        mean=np.where(count > 0, total / np.maximum(count, 1), np.nan).astype(np.float32),
        worst=np.where(high > -low, high, low).astype(np.float32),
        from_m=view.from_m,
        cell_m=view.cell_m * many,
        cell_mm=view.cell_mm,
    )


def _furthest(view: _View, most: int) -> tuple[tuple[int, int], ...]:
    """Row and cell of those that depart most, the furthest first."""
    away = np.nan_to_num(np.abs(view.worst), nan=-1.0).ravel()
    order = np.argsort(-away, kind="stable")[: min(most, int((away >= 0.0).sum()))]
    return tuple((int(n) // view.worst.shape[1], int(n) % view.worst.shape[1]) for n in order)


def _reach(layer: NDArray[np.float32]) -> float:
    """The departure from which on cells are black or white: a round number."""
    away = np.abs(layer[np.isfinite(layer)])
    wanted = _TIMES_USUAL * float(np.median(away)) if away.size else 0.0
    return next((scale for scale in _SCALES if scale >= wanted), _SCALES[-1])


def _draw_layer(figure: Figure, layer: NDArray[np.float32], view: _View, bottom_in: float, tall_in: float) -> Axes:
    """One layer with the scale of its greys at its right."""
    height = figure.get_figheight()
    axes = figure.add_axes(
        (_LEFT_IN / FIGURE_WIDTH_IN, bottom_in / height, _ACROSS_IN / FIGURE_WIDTH_IN, tall_in / height)
    )
    axes.set_xlim(view.from_m, max(view.to_m, view.from_m + view.cell_m))
    axes.set_ylim(0.0, max(view.width_mm, view.cell_mm))
    unseen = Rectangle((0.0, 0.0), 1.0, 1.0, facecolor="none", edgecolor=MUTED, hatch=UNSEEN_HATCH, linewidth=0)
    axes.add_patch(unseen).set_transform(axes.transAxes)
    reach = _reach(layer)
    if layer.size:
        axes.imshow(
            _greys(layer.T, reach),
            origin="lower",
            extent=(view.from_m, view.to_m, 0.0, view.width_mm),
            interpolation="none",
            aspect="auto",
            zorder=2,
        )
    axes.set_ylabel("across, mm", labelpad=2)
    axes.tick_params(length=3, pad=2)
    axes.spines["bottom"].set_linewidth(2.0)
    _draw_key(figure, reach, bottom_in / height, tall_in / height)
    return axes


def _title(axes: Axes, text: str) -> None:
    axes.annotate(
        text,
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(0, 4),
        textcoords="offset points",
        fontsize=SMALL_PT,
        color=MUTED,
    )


def _draw_rings(axes: Axes, view: _View) -> None:
    """Rings about the cells that the table lists, light under dark."""
    cells = _furthest(view, _LISTED)
    along = [view.from_m + (row + 0.5) * view.cell_m for row, _ in cells]
    across = [(cell + 0.5) * view.cell_mm for _, cell in cells]
    for colour, points in ((PAPER, 2.2), (INK, 0.9)):
        axes.plot(
            along,
            across,
            linestyle="",
            marker="o",
            markersize=_RING_PT,
            markerfacecolor="none",
            markeredgecolor=colour,
            markeredgewidth=points,
            zorder=3,
        )


def _say_along(axes: Axes) -> None:
    axes.set_xlabel("head  ←  along, coated m  →  tail", labelpad=2)
    axes.annotate(
        f"thick line: datum edge · ring: one of the {_LISTED} cells furthest off",
        (0.0, 0.0),
        xytext=(0, -33),
        xycoords="axes fraction",
        textcoords="offset points",
        color=MUTED,
        fontsize=SMALL_PT,
        va="center",
    )


def _greys(layer: NDArray[np.float32], reach: float) -> NDArray[np.uint8]:
    """Grey and opacity; what was not looked at is clear."""
    seen = np.isfinite(layer)
    grey = np.clip(np.round(127.5 * (1.0 + np.where(seen, layer, 0.0) / reach)), 0, 255).astype(np.uint8)
    return np.stack([grey, grey, grey, np.where(seen, 255, 0).astype(np.uint8)], axis=2)


def _draw_key(figure: Figure, reach: float, bottom: float, tall: float) -> None:
    """The scale of greys at the layer's right."""
    left = (FIGURE_WIDTH_IN - _RIGHT_IN + 0.12) / FIGURE_WIDTH_IN
    axes = figure.add_axes((left, bottom, _KEY_IN / FIGURE_WIDTH_IN, tall))
    axes.imshow(
        _greys(np.linspace(-reach, reach, 64, dtype=np.float32)[:, None], reach),
        origin="lower",
        extent=(0.0, 1.0, -reach * 100.0, reach * 100.0),
        interpolation="none",
        aspect="auto",
    )
    decimals = decimals_for((reach * 100.0,), significant=2)
    axes.set_xticks([])
    axes.yaxis.tick_right()
    low, high = (show_number(end * reach * 100.0, decimals, signed=True) for end in (-1.0, 1.0))
    axes.set_yticks((-reach * 100.0, 0.0, reach * 100.0), [f"≤ {low} %", "0 %", f"≥ {high} %"])
    axes.tick_params(length=2, pad=1, colors=INK)


def _cell(view: _View) -> str:
    return f"{view.cell_m * 1000.0:.4g} × {view.cell_mm:.4g} mm"
