"""What to sample next, as plain values that a page shows."""

from typing import Any

from wideroll.acts.next_sampling import AskedSamples, next_samples_document, sample_next
from wideroll.acts.rolls import RollInHand
from wideroll.report.caution import ROLLER_CAUTION
from wideroll.report.grid_json import figure_json, grid_json
from wideroll.report.next_samples_picture import draw_samples, samples_caption
from wideroll.report.next_samples_sheet import SamplesHead, render_samples
from wideroll.report.next_samples_words import choices_grid, predictions_grid, samples_words, telling_words
from wideroll.report.page import PageFigure

__all__ = ["shown_samples"]


def shown_samples(hand: RollInHand, asked: AskedSamples) -> dict[str, Any]:
    """Where to look next on a roll: in words, tables and a picture, and for machines.

    Args:
        hand: the roll.
        asked: of it.

    Returns:
        ``words``, ``caution``, ``choices`` (a table), ``telling``, ``document``; and where a stretch is advised
        ``predictions`` (a table), ``figure``, ``picture`` (SVG) and ``sheet`` (a page to print), else None.

    Raises:
        InputError: when the roll has no such series, or a file has a fault.
    """
    found = sample_next(hand, asked)
    desk, choice = hand.desk, found.choice
    shown: dict[str, Any] = {
        "words": samples_words(found),
        "caution": ROLLER_CAUTION,
        "choices": grid_json(choices_grid(found)) if found.choices else None,
        "telling": [],
        "document": next_samples_document(found, desk.card.name, asked.series),
        "predictions": None,
        "figure": None,
        "picture": "",
        "sheet": "",
    }
    if choice is None:
        return shown
    head = SamplesHead(
        roll=desk.card.name,
        product=desk.product.name,
        plant=desk.plant.name,
        datum_edge=desk.plant.datum_edge,
        series=asked.series,
    )
    grid = predictions_grid(choice)
    figure = PageFigure(svg=draw_samples(choice), caption=samples_caption(choice), data=(grid,))
    return shown | {
        "telling": list(telling_words(choice)),
        "predictions": grid_json(grid),
        "figure": figure_json(figure, "next.svg", "marks predicted"),
        "picture": figure.svg,
        "sheet": render_samples(found, choice, head),
    }
