"""What a watch saw when it raised a card, drawn then and there: the web goes on, and so do the marks."""

from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

from wideroll.repeats import Series, SeriesSettings
from wideroll.report.fold_picture import draw_fold, fold_caption, fold_grid
from wideroll.report.grid_json import figure_json
from wideroll.report.page import PageFigure
from wideroll.store.files import json_bytes, write_whole
from wideroll.workflow import ActionCard
from wideroll.workflow.watch import Sight

__all__ = ["EVIDENCE_FOLDER", "keep_evidence"]

EVIDENCE_FOLDER: Final = "cards/seen"
"""In a roll's results."""
_SCHEMA: Final = "wideroll/card-evidence/1"


def keep_evidence(
    results: Path, behind: Callable[[ActionCard], tuple[Series, Sight] | None], card: ActionCard
) -> Path | None:
    """Draw the marks that raised a card, folded at their spacing, and keep the figure with its data beside the card.

    Args:
        results: the roll's folder, ``results/<roll>``.
        behind: gives the series behind a card, and the marks it was found among.
        card: that was just raised.

    Returns:
        The file of the figure's data; None where there is nothing to fold, as with marks of a wound roll.

    Raises:
        InputError: when the disk refuses.
    """
    found = behind(card)
    if found is None or found[0].lap is not None:
        return None
    series, sight = found
    marks = pl.DataFrame({"id": np.arange(sight.along_m.size), "along_m": sight.along_m, "across_mm": sight.across_mm})
    figure = PageFigure(
        svg=draw_fold(series, marks, SeriesSettings(), key=f"card-{card.number}"),
        caption=fold_caption(series),
        data=(fold_grid(series, marks),),
    )
    path = results / EVIDENCE_FOLDER / f"{card.number:03d}.json"
    picture = path.with_suffix(".svg")
    write_whole(picture, figure.svg.encode())
    drawn = figure_json(figure, picture.name, "the marks behind the card")
    write_whole(path, json_bytes({"schema": _SCHEMA, "card": card.number, "figure": drawn}, sort_keys=False))
    return path
