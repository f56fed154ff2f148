"""The streaming finder against whole-raster labelling."""

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from wideroll.scan import ScanSettings, find_marks
from wideroll.scan.background import find_background
from wideroll.scan.frame import Frame, make_frame
from wideroll.scan.sums import sum_block

PITCH = (0.4, 0.25)


def departures(image: NDArray[Any], frame: Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Departure of every pixel in noise and as a fraction, block by block with the room's own backgrounds."""
    snr, contrast, start = [], [], 0
    while start < len(image):
        left = len(image) - start
        height = frame.block_lines if left >= frame.block_lines * 3 // 2 else left
        rows = image[start : start + height]
        ground = find_background(sum_block(rows, frame), frame, None)
        away = rows / ground.gain[:, None] - ground.profile
        away[ground.off_level] = 0.0
        away[:, ground.faults > 0] = 0.0
        snr.append(away / ground.noise)
        contrast.append(away / ground.profile)
        start += height
    return np.concatenate(snr), np.concatenate(contrast)


def in_order(rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """By place; what differs by less than rounding counts as equal."""
    return sorted(rows, key=lambda row: (round(row[0], 7), round(row[1], 4), row[-1]))


def slow_marks(image: NDArray[Any], frame: Frame) -> list[tuple[Any, ...]]:
    """Label each polarity in the whole raster at once and measure group after group."""
    use = frame.settings
    snr, contrast = departures(image, frame)
    found = []
    for name, sign in (("dark", -1.0), ("bright", 1.0)):
        labels, count = ndimage.label(sign * snr > use.grow_snr, structure=np.ones((3, 3)))
        peaks = ndimage.maximum(np.abs(snr), labels, np.arange(1, count + 1)) if count else []
        for label in np.flatnonzero(np.asarray(peaks) >= use.seed_snr) + 1:
            line, column = np.nonzero(labels == label)
            if len(line) < use.least_pixels:
                continue
            found.append(
                (
                    float((line + 0.5).mean() * PITCH[0] / 1000.0),
                    float((column + 0.5).mean() * PITCH[1]),
                    float(np.ptp(line) + 1) * PITCH[0],
                    float(np.ptp(column) + 1) * PITCH[1],
                    len(line) * PITCH[0] * PITCH[1],
                    float(np.abs(contrast[line, column]).max()),
                    float(np.abs(snr[line, column]).max()),
                    name,
                )
            )
    return in_order(found)


@settings(max_examples=800, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 10_000),
    lines=st.integers(20, 200),
    columns=st.integers(20, 130),
    block_lines=st.integers(16, 60),
    blots=st.integers(0, 12),
    thresholds=st.tuples(st.floats(2.0, 3.5), st.floats(3.5, 6.0)),
    least=st.integers(1, 4),
    dtype=st.sampled_from([np.uint8, np.uint16]),
)
def test_same_marks_as_labelling_the_whole_raster(
    weave, grey, seed, lines, columns, block_lines, blots, thresholds, least, dtype
):
    """Marks and their measures equal those of labelling everything at once, whatever crosses the blocks' borders."""
    scale = 1.0 if dtype is np.uint8 else 97.0
    web = weave(lines, columns, seed=seed, level=140.0 * scale, sigma=3.0 * scale)
    rng = np.random.Generator(np.random.PCG64(seed))
    for _ in range(blots):
        i, j, h, w = rng.integers((0, 0, 1, 1), (lines, columns, 12, 12))
        web[i : i + h, j : j + w] *= 1.0 + rng.uniform(-0.5, 0.5)
    use = ScanSettings(
        grow_snr=thresholds[0],
        seed_snr=thresholds[1],
        least_pixels=least,
        find_edges=False,
        block_m=block_lines * PITCH[0] / 1000.0,
        overview_cell_mm=PITCH[0],
        streak_snr=1e9,
    )
    image = grey(web, dtype)
    expected = slow_marks(image, make_frame(columns, PITCH, dtype, use))
    marks = find_marks(image, PITCH, use).marks
    got = in_order(marks.drop("id", "kind", "source").rows())
    assert len(got) == len(expected)
    for row, wanted in zip(got, expected, strict=True):
        assert row[-1] == wanted[-1]
        assert row[:-1] == pytest.approx(wanted[:-1], rel=1e-4, abs=1e-7)
