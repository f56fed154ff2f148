"""Feeding a raster in pieces."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.scan import MarkFinder, ScanSettings, find_marks

PITCH = (0.3, 0.3)
USE = ScanSettings(block_m=0.02, overview_cell_mm=3.0, streak_least_m=0.05, edge_bead_mm=1.0)


@pytest.fixture(scope="module")
def soiled(weave, grey, frame_web):
    """A web with edges, blots and a line, of which some lie across the borders of blocks."""
    web = weave(611, 333, seed=7)
    rng = np.random.Generator(np.random.PCG64(3))
    for i, j in rng.integers((0, 40), (600, 290), (60, 2)):
        web[i : i + 6, j : j + 4] *= 0.7
    web[200:500, 150:152] *= 1.02
    web[100:240, 100] *= 0.6
    return grey(frame_web(web, left=20 + np.arange(611) / 100.0, right=310.0))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(heights=st.lists(st.integers(0, 300), min_size=1, max_size=30))
def test_the_result_is_the_same_however_the_rows_come(soiled, same, heights):
    """Feeding rows in pieces of any height gives, to the last bit, what one call gives."""
    whole = find_marks(soiled, PITCH, USE)
    finder = MarkFinder(soiled.shape[1], PITCH, soiled.dtype, USE)
    start = 0
    for height in [*heights, len(soiled)]:
        finder.feed(soiled[start : start + height])
        start += height
    assert same(finder.finish(), whole)
    assert whole.marks.height > 20


@pytest.mark.parametrize(
    "turn",
    [
        np.asfortranarray,
        lambda image: image.astype(np.uint8).repeat(2, axis=1)[:, ::2],
        lambda image: image[::-1][::-1],
    ],
)
def test_the_layout_in_memory_does_not_matter(soiled, same, turn):
    """Views and arrays in another order give the same result."""
    assert same(find_marks(turn(soiled), PITCH, USE), find_marks(soiled, PITCH, USE))


def test_the_byte_order_does_not_matter(soiled, same):
    """16-bit pixels as another machine wrote them are read right."""
    image = soiled.astype(np.uint16) * 100
    assert same(find_marks(image.astype(">u2"), PITCH, USE), find_marks(image, PITCH, USE))


def test_the_image_is_left_alone_and_not_copied(weave, grey):
    """A long raster is worked through in less memory than it takes itself."""
    piece = grey(weave(600, 500, bend=0.0))
    image = np.concatenate([np.roll(piece, 7 * k, axis=1) for k in range(60)])
    image.flags.writeable = False
    find_marks(image, PITCH)
    tracemalloc.start()
    find_marks(image, PITCH)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < image.nbytes / 2


def test_finish_again_gives_the_same_result(soiled):
    """A finished stream keeps its answer."""
    finder = MarkFinder(soiled.shape[1], PITCH, soiled.dtype, USE)
    finder.feed(soiled)
    assert finder.finish() is finder.finish()


def test_same_input_same_bytes(soiled, same):
    """Two runs agree to the last bit."""
    assert same(find_marks(soiled, PITCH, USE), find_marks(soiled.copy(), PITCH, USE))
