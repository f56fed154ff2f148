"""Measures of marks to rows of the marks table, named by simple rules."""

from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import MARKS_SCHEMA, MarkKind, Polarity, mark_id
from wideroll.scan import linking
from wideroll.scan.frame import Frame
from wideroll.scan.growth import BRIGHT

__all__ = ["COMET_SKEW", "ELONGATED", "PINHOLE_MM", "mark_table", "name_kinds", "place_marks"]

PINHOLE_MM: Final = 0.5
"""A hole of less than this across is a pinhole."""
ELONGATED: Final = 5.0
"""A mark this many times longer than wide is a scratch."""
COMET_SKEW: Final = 0.35
"""Skewness of its contrast along itself from which a mark has a head and a tail."""
_COMET_LONG: Final = 1.7
_COMET_PIXELS: Final = 20
_ACROSS_DEG: Final = 90.0
_KINDS: Final = (
    (MarkKind.PINHOLE.value, f"bright and saturated, under {PINHOLE_MM:g} mm"),
    (MarkKind.HOLE.value, "bright and saturated"),
    (MarkKind.COMET.value, f"over {_COMET_LONG:g} times longer than wide, most of it at one end"),
    (MarkKind.SCRATCH.value, f"over {ELONGATED:g} times longer than wide"),
    (MarkKind.SPOT.value, "no rule for another kind holds"),
)


def mark_table(measures: NDArray[np.float64], frame: Frame) -> pl.DataFrame:
    """The marks table, in order of place.

    A mark's core are the pixels that reach half of the highest near them. Its place is the middle of the core weighed
    by departure, its sizes are those of the rectangle around the core, its area is that of the core's pixels.

    Args:
        measures: (marks, 17) as ``linking`` describes them.
        frame: The raster.
    """
    along, across = place_marks(measures, frame)
    order = np.lexsort((measures[:, linking.CODE], across, along))
    m, along, across = measures[order], along[order], across[order]
    polarity = np.where(m[:, linking.CODE] == BRIGHT, Polarity.BRIGHT.value, Polarity.DARK.value).tolist()
    source, pitch = frame.settings.source, frame.pitches_mm(m[:, linking.LINE])
    kinds = name_kinds(m, frame)
    return pl.DataFrame(
        {
            "id": [
                mark_id(source=source, along_m=s, across_mm=x, polarity=p)
                for s, x, p in zip(along.tolist(), across.tolist(), polarity, strict=True)
            ],
            "along_m": along,
            "across_mm": across,
            "length_mm": (m[:, linking.END] - m[:, linking.TOP]) * pitch,
            "width_mm": (m[:, linking.HIGH] - m[:, linking.LOW]) * frame.pitch_mm[1],
            "area_mm2": m[:, linking.PIXELS] * pitch * frame.pitch_mm[1],
            "contrast": np.maximum(m[:, linking.SUM_CONTRAST] / m[:, linking.PIXELS], 0.0),
            "snr": np.maximum(m[:, linking.SUM_SNR], 0.0) / np.sqrt(m[:, linking.PIXELS]),
            "peak": m[:, linking.PEAK],
            "elongation": _elongation(m, frame),
            "angle_deg": _angle_deg(m, frame),
            "ring": m[:, linking.RING],
            "polarity": polarity,
            "kind": [_KINDS[kind][0] for kind in kinds.tolist()],
            "rule": [_KINDS[kind][1] for kind in kinds.tolist()],
            "source": [source] * len(m),
        },
        schema=MARKS_SCHEMA,
    )


def place_marks(measures: NDArray[np.float64], frame: Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Along in m and across in mm."""
    return frame.lines_m(measures[:, linking.LINE]), measures[:, linking.COLUMN] * frame.pitch_mm[1]


def name_kinds(m: NDArray[np.float64], frame: Frame) -> NDArray[np.int64]:
    """Index of the first of the rules that holds for each mark."""
    length = (m[:, linking.END] - m[:, linking.TOP]) * frame.pitches_mm(m[:, linking.LINE])
    width = (m[:, linking.HIGH] - m[:, linking.LOW]) * frame.pitch_mm[1]
    through = (m[:, linking.CODE] == BRIGHT) & (m[:, linking.FULL] > 0.0)
    small = np.maximum(length, width) < PINHOLE_MM + 1e-9
    elongation = _elongation(m, frame)
    tailed = (np.abs(m[:, linking.SKEW]) >= COMET_SKEW) & (m[:, linking.PIXELS] >= _COMET_PIXELS)
    rules = [through & small, through, tailed & (elongation > _COMET_LONG), elongation > ELONGATED]
    return np.select(rules, np.arange(len(rules)), len(rules)).astype(np.int64)


def _elongation(m: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Length over width of the ellipse with a mark's second moments, whichever way it lies; at least 1."""
    along, across, mixed = _moments(m, frame)
    middle, half = (along + across) / 2.0, np.hypot((along - across) / 2.0, mixed)
    return np.asarray(np.sqrt((middle + half) / np.maximum(middle - half, 1e-12 * middle)))


def _angle_deg(m: NDArray[np.float64], frame: Frame) -> NDArray[np.float64]:
    """Direction of that ellipse's long axis from along the web, above -90 and up to 90; 0 for a round mark."""
    along, across, mixed = _moments(m, frame)
    angle = np.degrees(np.arctan2(2.0 * mixed, along - across) / 2.0)
    return np.asarray(np.where(angle <= -_ACROSS_DEG, _ACROSS_DEG, angle))


def _moments(
    m: NDArray[np.float64], frame: Frame
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Second moments about the centre along, across and mixed, in mm²; a pixel's own size counts."""
    pixels, along, across = m[:, linking.PIXELS], frame.pitches_mm(m[:, linking.LINE]), frame.pitch_mm[1]
    return (
        (m[:, linking.MOMENT_ALONG] / pixels + 1.0 / 12.0) * along**2,
        (m[:, linking.MOMENT_ACROSS] / pixels + 1.0 / 12.0) * across**2,
        m[:, linking.MOMENT_MIXED] / pixels * along * across,
    )
