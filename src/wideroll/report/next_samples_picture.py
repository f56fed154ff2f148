"""A stretch to sample, drawn: one row a candidate, a tick with its limits at each predicted mark."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wideroll.repeats import Prediction, SampleChoice
from wideroll.report.next_samples_words import also_here
from wideroll.report.quantities import show_number, show_probability
from wideroll.report.svg import to_svg
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, drawing

__all__ = ["draw_samples", "samples_caption"]

_ROW_IN: Final = 0.84
_ABOVE_IN: Final = 0.62
_BELOW_IN: Final = 0.52
_LEFT_IN: Final = 0.3
_RIGHT_IN: Final = 0.3
_TEXT_PT: Final = 10.5
_LABEL_PT: Final = 8.5
_LABEL_IN: Final = 0.42
_FOOT_M: Final = 0.3048
_FEET_STEPS: Final = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
_MOST_FEET: Final = 12
_MARK: Final = 0.42
"""Height of the line of marks above a row's foot, in rows."""


def draw_samples(choice: SampleChoice, *, key: str = "samples") -> str:
    """The stretch as SVG, legible in print and without colour.

    Metres from the head below, feet from the start of the stretch above. A thick tick is where a candidate predicts a
    mark, the bar about it holds 95 % of its prints; filled where no other candidate could mark, open where one could.
    Where the place isn't known, dashed ticks show only how far marks lie apart.

    Args:
        choice: with its predictions.
        key: prefix of the ids in the SVG.
    """
    rows = choice.predictions
    height = _ABOVE_IN + _BELOW_IN + _ROW_IN * len(rows)
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        wide = FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN
        axes = figure.add_axes(
            (_LEFT_IN / FIGURE_WIDTH_IN, _BELOW_IN / height, wide / FIGURE_WIDTH_IN, _ROW_IN * len(rows) / height)
        )
        _frame(axes, choice, len(rows))
        for number, prediction in enumerate(rows):
            _draw_row(axes, choice, prediction, len(rows) - 1 - number)
        return to_svg(figure, key=key, title="Where each candidate predicts marks", description=samples_caption(choice))


def samples_caption(choice: SampleChoice) -> str:
    """What the drawing shows."""
    alone = sum(not also_here(choice, one, mark) for one in choice.predictions for mark in one.marks)
    places = "No place is" if alone == 0 else "1 place is" if alone == 1 else f"{alone} places are"
    known = any(one.phase_known for one in choice.predictions)
    tell = (
        f"{places} marked by one candidate only (filled)."
        if known
        else "Only the distances between marks tell the candidates apart here."
    )
    return (
        f"{show_number(choice.from_m, 2)} to {show_number(choice.to_m, 2)} m: {tell} A bar holds 95 % of a turn's "
        "prints; not every turn prints."
    )


def _frame(axes: Axes, choice: SampleChoice, rows: int) -> None:
    axes.set_xlim(choice.from_m, choice.to_m)
    axes.set_ylim(0.0, rows)
    axes.set_yticks([])
    for row in range(1, rows):
        axes.axhline(row, color=MUTED, linewidth=0.5)
    axes.set_xlabel("along, metres from the head", fontsize=_TEXT_PT, labelpad=3)
    axes.tick_params(axis="x", labelsize=_TEXT_PT, length=4, pad=2)
    axes.ticklabel_format(axis="x", useOffset=False)
    for side in axes.spines.values():
        side.set_visible(True)
        side.set_color(INK)
    top = axes.secondary_xaxis("top")
    feet = (choice.to_m - choice.from_m) / _FOOT_M
    step = next((one for one in _FEET_STEPS if feet / one <= _MOST_FEET), _FEET_STEPS[-1])
    marks = np.arange(0.0, feet + 1e-9, step)
    top.set_xticks((choice.from_m + marks * _FOOT_M).tolist(), [_foot_label(foot) for foot in marks])
    top.tick_params(axis="x", labelsize=_TEXT_PT, length=4, pad=2)
    top.set_xlabel("from the start of the stretch, feet and inches", fontsize=_TEXT_PT, labelpad=4)


def _foot_label(feet: float) -> str:
    whole, inches = int(feet), round((feet - int(feet)) * 12)
    return f"{whole}′ {inches}″" if inches else f"{whole}′"


def _draw_row(axes: Axes, choice: SampleChoice, one: Prediction, row: int) -> None:
    axes.annotate(
        f"{one.roller}  ({show_probability(one.probability)}), every {show_number(one.spacing_m * 1000.0, 1)} mm"
        + ("" if one.phase_known else ": where it begins isn't known"),
        (choice.from_m, row + 1.0),
        xytext=(4, -4),
        textcoords="offset points",
        va="top",
        fontsize=_TEXT_PT,
        fontweight="bold",
        color=INK,
    )
    line = row + _MARK
    axes.plot([choice.from_m, choice.to_m], [line, line], color=MUTED, linewidth=0.6)
    named = _roomy(one, choice)
    for mark in one.marks:
        if not choice.from_m <= mark.along_m <= choice.to_m:
            continue
        alone = not also_here(choice, one, mark)
        if one.phase_known:
            _bar(axes, (mark.low_m, mark.high_m), line, filled=alone)
        style = "-" if one.phase_known else (0.0, (1.5, 1.5))
        axes.plot([mark.along_m] * 2, [line - 0.17, line + 0.17], color=INK, linewidth=2.2, linestyle=style, zorder=6)
        if one.phase_known and named:
            axes.annotate(
                show_number(mark.along_m, 2),
                (mark.along_m, line - 0.17),
                xytext=(0, -1),
                textcoords="offset points",
                ha=_side(mark.along_m, choice),
                va="top",
                fontsize=_LABEL_PT,
                color=INK,
                zorder=7,
            )


def _bar(axes: Axes, ends: Sequence[float], line: float, *, filled: bool) -> None:
    axes.barh(
        line,
        ends[1] - ends[0],
        left=ends[0],
        height=0.22,
        facecolor=MUTED if filled else PAPER,
        edgecolor=INK,
        linewidth=0.9,
        zorder=4,
    )


def _side(along_m: float, choice: SampleChoice) -> str:
    """A label at an end of the stretch stands inwards."""
    inch = (choice.to_m - choice.from_m) / (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN)
    if along_m - choice.from_m < _LABEL_IN / 2.0 * inch:
        return "left"
    return "right" if choice.to_m - along_m < _LABEL_IN / 2.0 * inch else "center"


def _roomy(one: Prediction, choice: SampleChoice) -> bool:
    """Whether each tick has room for its metre."""
    inch = (choice.to_m - choice.from_m) / (FIGURE_WIDTH_IN - _LEFT_IN - _RIGHT_IN)
    return one.spacing_m >= _LABEL_IN * inch
