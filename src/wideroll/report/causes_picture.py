"""Causes from the largest to the smallest, drawn: a bar each, and what they come to together."""

from collections.abc import Sequence
from typing import Final

from matplotlib.figure import Figure

from wideroll.control import ParetoLine
from wideroll.report.quantities import show_count, show_number
from wideroll.report.svg import slug, to_svg
from wideroll.report.theme import FIGURE_WIDTH_IN, INK, MUTED, PAPER, SMALL_PT, drawing

__all__ = ["causes_caption", "draw_causes"]

_BAR_IN: Final = 0.27
_AROUND_IN: Final = 0.72
_BELOW_IN: Final = 0.58
_MOST: Final = 20
_NAME_LETTERS: Final = 34


def draw_causes(lines: Sequence[ParetoLine], what: str, unit: str) -> str:
    """The causes as SVG: bars with their amounts, hatched beyond the vital few, and the running share as points.

    Args:
        lines: the largest first.
        what: they are causes of, such as ``cut out``.
        unit: of the amounts.
    """
    shown = lines[:_MOST]
    height = _AROUND_IN + _BAR_IN * max(1, len(shown))
    with drawing():
        figure = Figure(figsize=(FIGURE_WIDTH_IN, height))
        axes = figure.add_axes((0.33, _BELOW_IN / height, 0.55, (height - _AROUND_IN) / height))
        most = max((line.amount for line in shown), default=1.0) or 1.0
        for place, line in enumerate(shown):
            axes.barh(
                place,
                line.amount,
                height=0.66,
                facecolor=MUTED if line.vital else PAPER,
                edgecolor=INK,
                hatch="" if line.vital else "////",
                linewidth=0.7,
            )
            axes.text(line.amount + 0.012 * most, place, _amount(line), va="center", fontsize=SMALL_PT)
        axes.set_yticks(range(len(shown)), [_short(line.cause) for line in shown])
        axes.set_ylim(len(shown) - 0.4, -0.6)
        axes.set_xlim(0.0, 1.22 * most)
        axes.set_xlabel(f"{what}, {unit}")
        axes.grid(visible=True, axis="x")
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        _draw_together(figure, shown, height)
        return to_svg(
            figure,
            key=f"causes-{slug(what)}",
            title=f"Causes: {what}",
            description=causes_caption(lines, what, unit),
        )


def causes_caption(lines: Sequence[ParetoLine], what: str, unit: str) -> str:
    """What the picture shows, in a sentence."""
    if not lines:
        return f"Nothing {what}."
    few = [line for line in lines if line.vital]
    named = " and ".join(filter(None, (", ".join(line.cause for line in few[:-1]), few[-1].cause))) if few else ""
    share = show_number(100.0 * few[-1].cumulative, 0) if few else "0"
    said = f"{named}: {share} % of what was {what}" if few else f"No cause stands out in what was {what}"
    return f"{said}, of {show_count(len(lines), 'cause')} (filled bars; points: running share, amounts in {unit})."


def _draw_together(figure: Figure, lines: Sequence[ParetoLine], height: float) -> None:
    axes = figure.add_axes((0.89, _BELOW_IN / height, 0.09, (height - _AROUND_IN) / height))
    shares = [100.0 * line.cumulative for line in lines]
    axes.plot(shares, range(len(lines)), color=INK, linewidth=0.8, marker="o", markersize=3.0)
    axes.set_xlim(0.0, 108.0)
    axes.set_ylim(len(lines) - 0.4, -0.6)
    axes.set_yticks([])
    axes.set_xticks([0, 100])
    axes.set_xlabel("running\nshare, %", labelpad=1)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _amount(line: ParetoLine) -> str:
    amount = show_number(line.amount, 0 if float(line.amount).is_integer() else 1)
    return f"{amount} ({show_number(100.0 * line.share, 0)} %)"


def _short(text: str) -> str:
    return text if len(text) <= _NAME_LETTERS else f"{text[: _NAME_LETTERS - 1].rstrip()}…"
