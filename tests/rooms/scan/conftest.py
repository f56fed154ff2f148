"""Small rasters with known content."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from wideroll.scan import ScanResult


def _weave(
    lines: int = 700,
    columns: int = 480,
    *,
    seed: int = 1,
    level: float = 150.0,
    sigma: float = 2.5,
    bend: float = 0.02,
    gain: float = 0.004,
) -> NDArray[np.float64]:
    rng = np.random.Generator(np.random.PCG64(seed))
    place = np.linspace(-1.0, 1.0, columns)
    web = level * (1.0 - bend * place**2) * (1.0 + gain * rng.standard_normal((lines, 1)))
    return np.asarray(web + sigma * rng.standard_normal((lines, columns)))


def _grey(web: NDArray[np.float64], dtype: Any = np.uint8) -> NDArray[Any]:
    return np.clip(np.rint(web), 0, np.iinfo(dtype).max).astype(dtype)


def _frame_web(web: NDArray[np.float64], *, left: Any, right: Any, outside: float = 250.0) -> NDArray[np.float64]:
    place = np.arange(web.shape[1])[None, :] + 0.5
    lines = len(web)
    left, right = (np.broadcast_to(edge, lines)[:, None] for edge in (left, right))
    return np.where((place < left) | (place >= right), outside, web)


def _same(one: ScanResult, other: ScanResult) -> bool:
    return (
        one.marks.equals(other.marks)
        and one.streaks == other.streaks
        and one.coverage == other.coverage
        and one.overview.mean.tobytes() == other.overview.mean.tobytes()
        and one.overview.worst.tobytes() == other.overview.worst.tobytes()
        and one.overview.extent == other.overview.extent
        and (one.lines, one.web_width_mm, one.noise) == (other.lines, other.web_width_mm, other.noise)
    )


@pytest.fixture(scope="session")
def weave() -> Callable[..., NDArray[np.float64]]:
    """Make a web ``[along, across]``: a bent profile, line gain noise and pixel noise, without marks."""
    return _weave


@pytest.fixture(scope="session")
def grey() -> Callable[..., NDArray[Any]]:
    """Round to whole grey values."""
    return _grey


@pytest.fixture(scope="session")
def frame_web() -> Callable[..., NDArray[np.float64]]:
    """Replace what lies left of one border and right of the other by the level outside of the web."""
    return _frame_web


@pytest.fixture(scope="session")
def same() -> Callable[[ScanResult, ScanResult], bool]:
    """Whether two results are equal to the last bit."""
    return _same
