"""What stands on the web: marks by kind and size, streaks, and the members of repeating series."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from wideroll.repeats.model import Series
from wideroll.report.canvas import width_in_along
from wideroll.report.quantities import show_number
from wideroll.report.theme import INK, MARKERS, PAPER, SERIES, SMALL_PT, STREAK
from wideroll.roll import Extent, Polarity
from wideroll.workflow.model import Assessment

__all__ = ["draw_marks", "draw_series", "draw_streaks", "searched_marks"]

_MOST_SINGLE_MARKS: Final = 2_000
_CELLS: Final = (84, 28)
_SIZE_STEPS_MM: Final = (0.3, 1.0, math.inf)
_SIZE_PT: Final = (2.2, 3.6, 5.4)
_CELL_PT: Final = (1.1, 2.3, 3.7, 5.4)
_SERIES_SIGNS: Final = ("D", "s", "^", "o", "v", "p")
"""One a series, in their order."""
_MOST_SIGNS: Final = 48
"""Members that carry their series' sign; more would run into a band."""
_LABEL_SHARE: Final = 0.045
"""Of the web's width, how far the middle of a series' words lies from its line, and how tall they are."""


def searched_marks(assessment: Assessment) -> pl.DataFrame | None:
    """The marks table that the rows named by a series refer to, None when it isn't at hand."""
    tables = [assessment.scan.marks] if assessment.scan else []
    for marks in (*tables, assessment.evidence.marks):
        if marks.height == assessment.repeats.marks:
            return marks
    return None


def draw_marks(axes: Axes, assessment: Assessment) -> list[Line2D]:
    """Each mark by kind, polarity and size; above 2,000 as squares that grow with the number in a cell.

    Gives the keys for the legend.
    """
    if assessment.scan is None or assessment.scan.marks.is_empty():
        return []
    marks = assessment.scan.marks
    if marks.height > _MOST_SINGLE_MARKS:
        return _draw_binned(axes, assessment, marks)
    sizes = marks.select(pl.max_horizontal("length_mm", "width_mm")).to_series().to_numpy()
    kinds = marks["kind"].cast(pl.String).to_numpy()
    bright = (marks["polarity"].cast(pl.String) == Polarity.BRIGHT.value).to_numpy()
    along, across = marks["along_m"].to_numpy(), marks["across_mm"].to_numpy()
    keys: list[Line2D] = []
    for kind, is_bright in sorted({(str(k), bool(b)) for k, b in zip(kinds, bright, strict=True)}):
        marker = MARKERS.get(kind, "+")
        face = PAPER if is_bright else INK
        mine = (kinds == kind) & (bright == is_bright)
        for low, high, points in zip((0.0, *_SIZE_STEPS_MM[:-1]), _SIZE_STEPS_MM, _SIZE_PT, strict=True):
            chosen = mine & (sizes >= low) & (sizes < high)
            if chosen.any():
                _points(axes, along[chosen], across[chosen], marker=marker, size=points, face=face)
        name = f"{kind}, bright" if is_bright else kind
        keys.append(_line(name, marker=marker, markersize=4, markerfacecolor=face, markeredgecolor=INK, linestyle=""))
    return keys


def draw_streaks(axes: Axes, assessment: Assessment) -> list[Line2D]:
    """Each streak as a broken line from where it starts to where it ends. Gives the keys for the legend."""
    streaks = assessment.scan.streaks if assessment.scan else ()
    for streak in streaks:
        ends = [streak.extent.along_from_m, streak.extent.along_to_m]
        axes.plot(ends, [streak.across_mm] * 2, color=PAPER, linewidth=3.4, zorder=5, solid_capstyle="butt")
        axes.plot(ends, [streak.across_mm] * 2, color=STREAK, linewidth=1.8, linestyle=(0.0, (5.0, 1.2)), zorder=6)
    return [_line("streak", color=STREAK, linewidth=1.8, linestyle=(0.0, (5.0, 1.2)))] if streaks else []


def draw_series(axes: Axes, assessment: Assessment) -> list[Line2D]:
    """The members of each repeating series, each series with a sign of its own and its spacing in words.

    A short upright stroke stands at each member; of many, only some carry the sign. Gives the keys for the legend.
    """
    marks = searched_marks(assessment)
    labels: list[_Label] = []
    keys: list[Line2D] = []
    for number, series in enumerate(assessment.repeats, start=1):
        sign = _SERIES_SIGNS[(number - 1) % len(_SERIES_SIGNS)]
        ends = [series.extent.along_from_m, series.extent.along_to_m]
        axes.plot(ends, [series.across_mm] * 2, color=SERIES, linewidth=0.6, linestyle=(0.0, (1.0, 1.5)), zorder=6)
        if marks is not None:
            members = marks[list(series.members)].sort("along_m")
            _draw_members(axes, members["along_m"].to_numpy(), members["across_mm"].to_numpy(), sign)
        text = f"repeat {number}, every {show_number(series.spacing_m * 1000.0, 0)} mm"
        labels.append(_free_label(assessment.whole, series, text, labels))
        _write(axes, labels[-1])
        name = f"repeat {number}" if len(assessment.repeats) > 1 else "repeating mark"
        keys.append(_line(name, marker=sign, markersize=4.6, markerfacecolor="none", color=SERIES, linestyle=""))
    return keys[: len(_SERIES_SIGNS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Label:
    """Words beside a series: at its start or end, above or below its line."""

    text: str
    at_m: float
    across_mm: float
    to_left: bool
    above: bool
    from_m: float
    to_m: float
    middle_mm: float
    """Where its middle is drawn."""


def _draw_members(axes: Axes, along: NDArray[np.float64], across: NDArray[np.float64], sign: str) -> None:
    style: dict[str, Any] = {"linestyle": "", "markerfacecolor": "none", "markeredgecolor": SERIES, "zorder": 7}
    if along.size > _MOST_SIGNS:
        axes.plot(along, across, marker="|", markersize=4.0, markeredgewidth=0.4, **style)
        some = np.unique(np.linspace(0, along.size - 1, _MOST_SIGNS).round().astype(np.int64))
        along, across = along[some], across[some]
        style["markerfacecolor"] = PAPER
    axes.plot(along, across, marker=sign, markersize=4.6, markeredgewidth=1.0, **style)


def _free_label(whole: Extent, series: Series, text: str, others: Sequence[_Label]) -> _Label:
    """The first of four places beside a series where its words lie on no other series' words."""
    wide, tall = width_in_along(whole, text), _LABEL_SHARE * whole.width_mm
    tried: list[_Label] = []
    for to_left, above in ((False, True), (False, False), (True, True), (True, False)):
        at = series.extent.along_to_m if to_left else series.extent.along_from_m
        leftward = to_left or at + wide > whole.along_to_m
        start = at - wide if leftward else at
        tried.append(
            _Label(
                text=text,
                at_m=at,
                across_mm=series.across_mm,
                to_left=leftward,
                above=above,
                from_m=start,
                to_m=start + wide,
                middle_mm=series.across_mm + (tall if above else -tall),
            )
        )
    return next((one for one in tried if not any(_overlap(one, other, tall) for other in others)), tried[0])


def _overlap(one: _Label, other: _Label, tall_mm: float) -> bool:
    along = one.from_m < other.to_m and other.from_m < one.to_m
    return along and abs(one.middle_mm - other.middle_mm) < tall_mm


def _write(axes: Axes, label: _Label) -> None:
    axes.annotate(
        label.text,
        (label.at_m, label.across_mm),
        xytext=(-2 if label.to_left else 2, 7 if label.above else -7),
        textcoords="offset points",
        ha="right" if label.to_left else "left",
        fontsize=SMALL_PT,
        color=SERIES,
        va="center",
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.4},
        zorder=8,
    )


def _points(
    axes: Axes, along: NDArray[np.float64], across: NDArray[np.float64], *, marker: str, size: float, face: str
) -> None:
    axes.plot(
        along,
        across,
        linestyle="",
        marker=marker,
        markersize=size,
        markerfacecolor=face,
        markeredgecolor=INK,
        markeredgewidth=0.5,
        zorder=6,
    )


def _draw_binned(axes: Axes, assessment: Assessment, marks: pl.DataFrame) -> list[Line2D]:
    whole = assessment.whole
    counts, along, across = np.histogram2d(
        marks["along_m"].to_numpy(),
        marks["across_mm"].to_numpy(),
        bins=_CELLS,
        range=((whole.along_from_m, whole.along_to_m), (whole.across_from_mm, whole.across_to_mm)),
    )
    rows, columns = np.nonzero(counts)
    found = counts[rows, columns]
    steps = _count_steps(int(found.max()))
    middle_along, middle_across = (along[:-1] + along[1:]) / 2.0, (across[:-1] + across[1:]) / 2.0
    keys: list[Line2D] = []
    for rank, (low, high) in enumerate(steps):
        chosen = (found >= low) & (found <= high)
        size = _CELL_PT[-len(steps) + rank]
        if chosen.any():
            _points(
                axes,
                middle_along[rows[chosen]],
                middle_across[columns[chosen]],
                marker="s",
                size=size,
                face=INK,
            )
        name = f"{low} mark{'s' if low > 1 else ''} in a cell" if low == high else f"{low} to {high} marks"
        keys.append(_line(name, marker="s", markersize=size, color=INK, linestyle=""))
    return keys


def _count_steps(most: int) -> tuple[tuple[int, int], ...]:
    edges = sorted({max(1, round(most ** (rank / 4.0))) for rank in range(5)})
    if len(edges) == 1:
        return ((1, most),)
    lows = [1, *(edge + 1 for edge in edges[1:-1])]
    return tuple((low, high) for low, high in zip(lows, edges[1:], strict=True))


def _line(label: str, **style: object) -> Line2D:
    return Line2D([], [], label=label, **style)  # type: ignore[arg-type]
