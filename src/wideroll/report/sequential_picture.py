"""A sequential test in pictures: the sheets between its two lines, how often it accepts, and how much it takes."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from wideroll.report.quantities import show_count, show_number
from wideroll.report.svg import to_svg
from wideroll.report.theme import AIM, CUT_LINE, FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT, drawing
from wideroll.sampling import FixedPlan, OperatingPoint, SequentialPlan, approximate_point

__all__ = ["draw_sequential", "sequential_caption"]

_HEIGHT_IN: Final = 4.9
_LEFT_IN: Final = 0.62
_RIGHT_IN: Final = 0.14
_GAP_IN: Final = 0.72
_TOP_PANEL: Final = (2.72, 1.95)
_LOW_PANEL: Final = (0.5, 1.6)
"""Bottom and height of the panels, in inches."""
_DASHED: Final = (0.0, (5.0, 2.0))
_DOTTED: Final = (0.0, (1.2, 1.4))
_GOOD: Final = "#17624a"
_BAD: Final = "#8f1d2c"


def draw_sequential(
    plan: SequentialPlan,
    points: Sequence[OperatingPoint],
    fixed: FixedPlan,
    sheets: Sequence[tuple[int, float]] = (),
    *,
    key: str = "sequential",
) -> str:
    """The test as SVG.

    Above, the count against the area with the two lines and the path of the sheets. Below on the left, the probability
    of acceptance against the true rate: by exact recursion (line), in closed form (dashed) and of a fixed area
    (dotted); on the right the mean area, in the same lines.

    Args:
        plan: the test.
        points: exact ones, in order of rising rate.
        fixed: the test of one area with the same risks.
        sheets: (marks, area) of each sheet in the order taken.
        key: prefix of the ids in the SVG.
    """
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, _HEIGHT_IN))
        width = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
        half = (width - _GAP_IN) / 2.0
        _draw_path(_axes(figure, _LEFT_IN, width, _TOP_PANEL), plan, sheets, fixed)
        _draw_operating(_axes(figure, _LEFT_IN, half, _LOW_PANEL), plan, points, fixed)
        _draw_area(_axes(figure, _LEFT_IN + half + _GAP_IN, half, _LOW_PANEL), plan, points, fixed)
        return to_svg(
            figure,
            key=key,
            title="Sequential test of a rate of marks",
            description=sequential_caption(plan, points, fixed),
        )


def sequential_caption(plan: SequentialPlan, points: Sequence[OperatingPoint], fixed: FixedPlan) -> str:
    """What the test does at its two rates, beside a fixed area."""
    good = min(points, key=lambda point: abs(point.rate - plan.good_rate))
    bad = min(points, key=lambda point: abs(point.rate - plan.bad_rate))
    return (
        f"At {plan.good_rate:g} per m² the test rejects with probability {good.reject:.3f} (stated "
        f"{plan.producer_risk:g}) and takes {show_number(good.mean_m2, 1)} m² on average; at {plan.bad_rate:g} it "
        f"accepts with {bad.accept:.3f} (stated {plan.consumer_risk:g}) and takes {show_number(bad.mean_m2, 1)} m². "
        f"A fixed area with these risks needs {show_number(fixed.area_m2, 1)} m² with at most "
        f"{show_count(fixed.accept, 'mark')}."
    )


def _axes(figure: Figure, left: float, width: float, panel: tuple[float, float]) -> Axes:
    bottom, height = panel
    axes = figure.add_axes((left / FIGURE_WIDTH_IN, bottom / _HEIGHT_IN, width / FIGURE_WIDTH_IN, height / _HEIGHT_IN))
    axes.grid(visible=True)
    axes.tick_params(length=3, pad=2)
    return axes


def _draw_path(axes: Axes, plan: SequentialPlan, sheets: Sequence[tuple[int, float]], fixed: FixedPlan) -> None:
    areas = np.concatenate([[0.0], np.cumsum([area for _, area in sheets])])
    counts = np.concatenate([[0], np.cumsum([count for count, _ in sheets])])
    reach = max(float(areas[-1]) * 1.15, fixed.area_m2 * 1.1)
    top = max(float(counts.max()) + 1.0, plan.slope * reach + plan.reject_offset)
    ends = np.array([0.0, reach])
    accept, reject = plan.slope * ends - plan.accept_offset, plan.slope * ends + plan.reject_offset
    axes.fill_between(ends, reject, top + plan.slope * reach, color=_BAD, alpha=0.08, linewidth=0)
    axes.fill_between(ends, -1.0, accept, color=_GOOD, alpha=0.10, linewidth=0)
    axes.plot(ends, reject, color=_BAD, linestyle=_DASHED)
    axes.plot(ends, accept, color=_GOOD, linestyle="-")
    axes.step(areas, counts, where="post", color=INK, linewidth=1.0, zorder=4)
    axes.plot(areas[1:], counts[1:], linestyle="", marker="o", markersize=3.5, color=INK, zorder=5)
    axes.set_xlim(0.0, reach)
    axes.set_ylim(-0.4, top)
    axes.set_xlabel("area looked at, m²", labelpad=2)
    axes.set_ylabel("marks found", labelpad=2)
    for text, place, colour in (("✖ reject", (0.02, 0.93), _BAD), ("● accept", (0.98, 0.06), _GOOD)):
        axes.text(
            *place,
            text,
            transform=axes.transAxes,
            ha="left" if place[0] < 0.5 else "right",  # noqa: PLR2004
            va="top" if place[1] > 0.5 else "bottom",  # noqa: PLR2004
            color=colour,
            fontweight="bold",
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
        )
    axes.set_title("between the lines: take more", loc="right", fontsize=SMALL_PT, color=MUTED, pad=3)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))


def _draw_operating(axes: Axes, plan: SequentialPlan, points: Sequence[OperatingPoint], fixed: FixedPlan) -> None:
    rates = [point.rate for point in points]
    axes.plot(rates, [point.accept for point in points], color=INK)
    closed = [rate for rate in rates if rate > 0.0]
    axes.plot(
        closed, [approximate_point(plan, rate)[0] for rate in closed], color=AIM, linestyle=_DASHED, linewidth=1.0
    )
    axes.plot(rates, [fixed.accepts(rate) for rate in rates], color=CUT_LINE, linestyle=_DOTTED, linewidth=1.2)
    for rate, chance, colour, marker in (
        (plan.good_rate, 1.0 - plan.producer_risk, _GOOD, "o"),
        (plan.bad_rate, plan.consumer_risk, _BAD, "X"),
    ):
        axes.plot([rate], [chance], linestyle="", marker=marker, markersize=5, color=colour, zorder=5)
    axes.set_ylim(-0.03, 1.03)
    axes.set_xlim(0.0, rates[-1])
    axes.set_ylabel("probability to accept", labelpad=2)
    axes.set_xlabel("true rate, marks per m²", labelpad=2)
    axes.text(
        0.98,
        0.97,
        "line: exact\ndashed: closed form\ndotted: fixed area\n● ✖ the stated risks",
        transform=axes.transAxes,
        ha="right",
        va="top",
        fontsize=SMALL_PT,
        color=MUTED,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
    )


def _draw_area(axes: Axes, plan: SequentialPlan, points: Sequence[OperatingPoint], fixed: FixedPlan) -> None:
    rates = [point.rate for point in points]
    axes.plot(rates, [point.mean_m2 for point in points], color=INK)
    closed = [rate for rate in rates if rate > 0.0]
    axes.plot(
        closed, [approximate_point(plan, rate)[1] for rate in closed], color=AIM, linestyle=_DASHED, linewidth=1.0
    )
    axes.plot([0.0, rates[-1]], [fixed.area_m2] * 2, color=CUT_LINE, linestyle=_DOTTED, linewidth=1.2)
    for rate, colour, word in ((plan.good_rate, _GOOD, "good"), (plan.bad_rate, _BAD, "bad")):
        axes.axvline(rate, color=colour, linewidth=0.7)
        axes.text(rate, 0.02, f" {word}", transform=axes.get_xaxis_transform(), color=colour, fontsize=SMALL_PT)
    axes.set_ylim(0.0, 1.25 * max(fixed.area_m2, *(point.mean_m2 for point in points)))
    axes.set_xlim(0.0, rates[-1])
    axes.set_ylabel("mean area, m²", labelpad=2)
    axes.set_xlabel("true rate, marks per m²", labelpad=2)
