"""The streaming finder against whole-raster labelling."""

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from wideroll.scan import ScanSettings, find_marks
from wideroll.scan.background import find_background
from wideroll.scan.frame import Frame, make_frame
from wideroll.scan.seeds import use_lines
from wideroll.scan.stages import block_ground
from wideroll.scan.sums import sum_block

PITCH = (0.4, 0.25)
NEAR = 5
LONG = 14
CLEAR = 8.0


def departures(image: NDArray[Any], frame: Frame) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Departure of every pixel in noise and as a fraction, block by block with the room's own backgrounds."""
    snr, contrast, start, known = [], [], 0, None
    while start < len(image):
        left = len(image) - start
        height = frame.block_lines if left >= frame.block_lines * 3 // 2 else left
        rows = np.ascontiguousarray(image[start : start + height])
        found = find_background(sum_block(rows, frame), frame, known)
        known = found.edges
        ground = block_ground(use_lines(rows, found), found, frame)
        away = (rows.astype(np.float32) * ground.scale[:, None] - ground.profile) * ground.weight
        away[ground.scale == 0.0] = 0.0
        snr.append(away)
        with np.errstate(divide="ignore"):
            ratio = np.where(ground.weight > 0.0, 1.0 / (ground.weight * ground.profile), 0.0)
        contrast.append(away * ratio)
        start += height
    return np.concatenate(snr), np.concatenate(contrast)


def slow_marks(image: NDArray[Any], frame: Frame, sign: float) -> list[tuple[float, ...]]:
    """Label one polarity in the whole raster at once, and measure the core of each group with a clear pixel."""
    use = frame.settings
    snr, contrast = (sign * values for values in departures(image, frame))
    # Else a pixel could belong to the ring of a mark of the other polarity.
    assume(snr.min() > -use.seed_snr)
    labels, count = ndimage.label(snr >= use.grow_snr, structure=np.ones((3, 3)))
    found = []
    for label in range(1, count + 1):
        inside = labels == label
        line, column = np.nonzero(inside)
        if snr[inside].max() <= use.seed_snr or len(line) < use.least_pixels:
            continue
        assume(np.ptp(line) < LONG)
        most = ndimage.maximum_filter(np.where(inside, snr, -np.inf), NEAR)
        core = inside & (snr >= 0.5 * most)
        weight = snr[core].astype(np.float64)
        line, column = np.nonzero(core)
        if weight.mean() <= CLEAR:
            continue
        found.append(
            (
                float(np.average(line + 0.5, weights=weight)) * PITCH[0] / 1000.0,
                float(np.average(column + 0.5, weights=weight)) * PITCH[1],
                float(np.ptp(line) + 1) * PITCH[0],
                float(np.ptp(column) + 1) * PITCH[1],
                len(line) * PITCH[0] * PITCH[1],
                float(contrast[core].mean()),
                float(weight.sum()) / len(line) ** 0.5,
                float(contrast[core].max()),
            )
        )
    return sorted(found, key=lambda row: (round(row[0], 7), round(row[1], 4)))


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much],
)
@given(
    seed=st.integers(0, 10_000),
    lines=st.integers(60, 300),
    columns=st.integers(80, 200),
    block_lines=st.integers(40, 90),
    blots=st.integers(0, 8),
    sign=st.sampled_from([-1.0, 1.0]),
    dtype=st.sampled_from([np.uint8, np.uint16]),
)
def test_same_marks_as_labelling_the_whole_raster(weave, grey, seed, lines, columns, block_lines, blots, sign, dtype):
    """Clear marks and their measures equal those of labelling everything at once, whatever crosses the borders."""
    scale = 1.0 if dtype is np.uint8 else 97.0
    web = weave(lines, columns, seed=seed, level=120.0 * scale, sigma=1.5 * scale)
    rng = np.random.Generator(np.random.PCG64(seed))
    for _ in range(blots):
        i, j, h, w = rng.integers((0, 0, 2, 2), (lines, columns, 9, 9))
        web[i : i + h, j : j + w] *= 1.0 + sign * rng.uniform(0.3, 0.5)
    use = ScanSettings(
        find_edges=False,
        block_m=block_lines * PITCH[0] / 1000.0,
        overview_cell_mm=PITCH[0],
        streak_snr=1e9,
    )
    image = grey(web, dtype)
    expected = slow_marks(image, make_frame(columns, PITCH, dtype, use), sign)
    marks = find_marks(image, PITCH, use).marks
    # What is faint is found by its windows, which this doesn't look at.
    pixels = marks["area_mm2"] / (PITCH[0] * PITCH[1])
    clear = marks["snr"] / pixels.sqrt() > CLEAR
    marks = marks.filter((marks["polarity"] == ("bright" if sign > 0 else "dark")) & clear)
    names = ("along_m", "across_mm", "length_mm", "width_mm", "area_mm2", "contrast", "snr", "peak")
    got = sorted(marks.select(names).rows(), key=lambda row: (round(row[0], 7), round(row[1], 4)))
    assert len(got) == len(expected)
    for row, wanted in zip(got, expected, strict=True):
        assert row == pytest.approx(wanted, rel=1e-4, abs=1e-7)
