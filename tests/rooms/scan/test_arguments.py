"""Impossible calls are refused with the mend."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.scan import MarkFinder, ScanSettings, find_marks

IMAGE = np.full((50, 40), 150, np.uint8)


@pytest.mark.parametrize(
    ("image", "pitch", "where"),
    [
        (IMAGE[0], (0.3, 0.3), "image"),
        (IMAGE[None], (0.3, 0.3), "image"),
        (IMAGE.astype(float), (0.3, 0.3), "image dtype"),
        (IMAGE.astype(np.int16), (0.3, 0.3), "image dtype"),
        (IMAGE.astype(np.uint32), (0.3, 0.3), "image dtype"),
        (IMAGE > 3, (0.3, 0.3), "image dtype"),
        (IMAGE[:0], (0.3, 0.3), "image"),
        (IMAGE[:, :0], (0.3, 0.3), "columns"),
        (IMAGE, (0.0, 0.3), "pitch_mm"),
        (IMAGE, (0.3, -1.0), "pitch_mm"),
        (IMAGE, (0.3, float("nan")), "pitch_mm"),
        (IMAGE, (0.3,), "pitch_mm"),
    ],
)
def test_impossible_images_and_pitches_are_refused(image, pitch, where):
    """The error names the argument at fault."""
    with pytest.raises(ArgumentError) as caught:
        find_marks(image, pitch)
    assert caught.value.where == where
    assert caught.value.mend


@pytest.mark.parametrize(
    "change",
    [
        {"seed_snr": 0.0},
        {"grow_snr": float("inf")},
        {"grow_snr": 7.0},
        {"least_pixels": 0},
        {"least_pixels": 1.5},
        {"edge_bead_mm": -1.0},
        {"block_m": 0.0},
        {"streak_snr": -7.0},
        {"streak_least_m": 0.0},
        {"overview_cell_mm": float("nan")},
        {"saturation": 0},
        {"level_tolerance": 0.0},
    ],
)
def test_impossible_settings_are_refused(change):
    """The error names the setting."""
    with pytest.raises(ArgumentError, match=f"ScanSettings.{next(iter(change))}"):
        ScanSettings(**change)


def test_rows_of_another_raster_are_refused():
    """Rows of other width or type, or after the end, don't belong."""
    finder = MarkFinder(40, (0.3, 0.3), np.uint8)
    finder.feed(IMAGE)
    for rows in (IMAGE[:, :-1], IMAGE.astype(np.uint16), IMAGE[0]):
        with pytest.raises(ArgumentError):
            finder.feed(rows)
    assert finder.finish().lines == 50
    with pytest.raises(ArgumentError, match="finish"):
        finder.feed(IMAGE)
