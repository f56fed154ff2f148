"""Measures of connected pixels to rows of the marks table, named by simple rules."""

from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import MARKS_SCHEMA, MarkKind, Polarity, mark_id
from wideroll.scan import linking
from wideroll.scan.frame import Frame
from wideroll.scan.runs import BRIGHT

__all__ = ["ELONGATED", "PINHOLE_MM", "mark_table"]

PINHOLE_MM: Final = 0.5
"""A hole of less than this across is a pinhole."""
ELONGATED: Final = 5.0
"""A mark this many times longer than wide is a scratch."""


def mark_table(measures: NDArray[np.float64], frame: Frame) -> pl.DataFrame:
    """The marks table, in order of place.

    The place is the plain centre of a mark's pixels; its sizes are those of the box that holds them.

    Args:
        measures: (marks, 14) as ``link_runs`` gives them.
        frame: The raster.
    """
    order = np.lexsort((measures[:, linking.CODE], measures[:, linking.ACROSS], measures[:, linking.ALONG]))
    m = measures[order]
    along, across = m[:, linking.ALONG] / 1000.0, m[:, linking.ACROSS]
    polarity = np.where(m[:, linking.CODE] == BRIGHT, Polarity.BRIGHT.value, Polarity.DARK.value).tolist()
    source = frame.settings.source
    return pl.DataFrame(
        {
            "id": [
                mark_id(source=source, along_m=s, across_mm=x, polarity=p)
                for s, x, p in zip(along.tolist(), across.tolist(), polarity, strict=True)
            ],
            "along_m": along,
            "across_mm": across,
            "length_mm": m[:, linking.ALONG_TO] - m[:, linking.ALONG_FROM],
            "width_mm": m[:, linking.ACROSS_TO] - m[:, linking.ACROSS_FROM],
            "area_mm2": m[:, linking.PIXELS] * frame.pitch_mm[0] * frame.pitch_mm[1],
            "contrast": m[:, linking.CONTRAST],
            "snr": m[:, linking.SNR],
            "polarity": polarity,
            "kind": _kinds(m, frame),
            "source": [source] * len(m),
        },
        schema=MARKS_SCHEMA,
    )


def _kinds(m: NDArray[np.float64], frame: Frame) -> list[str]:
    length = m[:, linking.ALONG_TO] - m[:, linking.ALONG_FROM]
    width = m[:, linking.ACROSS_TO] - m[:, linking.ACROSS_FROM]
    through = (m[:, linking.CODE] == BRIGHT) & (m[:, linking.FULL] > 0.0)
    small = np.maximum(length, width) < PINHOLE_MM + 1e-9
    rules = [through & small, through, elongation(m, frame) > ELONGATED]
    names = [MarkKind.PINHOLE.value, MarkKind.HOLE.value, MarkKind.SCRATCH.value]
    return [str(name) for name in np.select(rules, names, MarkKind.SPOT.value)]


def elongation(m: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Length over width of the ellipse with a mark's second moments, whichever way it lies; at least 1."""
    pixels = m[:, linking.PIXELS]
    along = m[:, linking.MOMENT_ALONG] / pixels + frame.pitch_mm[0] ** 2 / 12.0
    across = m[:, linking.MOMENT_ACROSS] / pixels + frame.pitch_mm[1] ** 2 / 12.0
    mixed = m[:, linking.MOMENT_MIXED] / pixels
    middle, half = (along + across) / 2.0, np.hypot((along - across) / 2.0, mixed)
    return np.asarray(np.sqrt((middle + half) / np.maximum(middle - half, 1e-12 * middle)))
