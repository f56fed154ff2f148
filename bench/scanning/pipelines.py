"""The finder and the pipelines it is measured against, by name."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scanning import with_numpy, with_opencv, with_sep, with_skimage
from wideroll.scan import ScanSettings, find_marks

__all__ = ["OURS", "PIPELINES", "PITCH", "WHOLE", "Pipeline", "bare_sum", "find_all", "places_in_pixels"]

PITCH = (0.1, 0.1)
WHOLE = ScanSettings(find_edges=False)
OURS = "wideroll"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pipeline:
    """One way to find marks: from a raster to rows that begin with the places along and across in pixels."""

    name: str
    library: str
    find: Callable[[NDArray[np.uint8]], NDArray[np.float64]]
    straight: bool = False
    """As the library's examples would have it, in floats; the others are tuned to this very task."""


def find_all(image: NDArray[np.uint8], settings: ScanSettings = WHOLE) -> NDArray[np.float64]:
    """Everything the finder finds, marks, streaks, overview and all; the places of the marks."""
    return places_in_pixels(find_marks(image, PITCH, settings).marks)


def places_in_pixels(marks: object) -> NDArray[np.float64]:
    """Centres of a table of marks, (along, across)."""
    along, across = (marks[name].to_numpy() for name in ("along_m", "across_mm"))  # type: ignore[index]
    return np.column_stack([along * 1000.0 / PITCH[0], across / PITCH[1]])


PIPELINES = (
    Pipeline(name="OpenCV in floats", library="OpenCV", find=with_opencv.floats, straight=True),
    Pipeline(name="OpenCV in bytes", library="OpenCV", find=with_opencv.bytes_at_full),
    Pipeline(name="OpenCV in bytes at half size", library="OpenCV", find=with_opencv.bytes_at_half),
    Pipeline(name="scikit-image in floats", library="scikit-image", find=with_skimage.floats, straight=True),
    Pipeline(name="scikit-image behind a screen", library="scikit-image", find=with_skimage.screened_at_full),
    Pipeline(
        name="scikit-image behind a screen at half size", library="scikit-image", find=with_skimage.screened_at_half
    ),
    Pipeline(name="sep with kernels", library="sep", find=with_sep.kernels, straight=True),
    Pipeline(name="sep behind a screen", library="sep", find=with_sep.screened_at_full),
    Pipeline(name="sep behind a screen at half size", library="sep", find=with_sep.screened_at_half),
    Pipeline(name="numpy and scipy in floats", library="numpy and scipy", find=with_numpy.chain, straight=True),
    Pipeline(name="numpy and scipy in integers", library="numpy and scipy", find=with_numpy.whole_numbers_at_full),
    Pipeline(
        name="numpy and scipy in integers at half size",
        library="numpy and scipy",
        find=with_numpy.whole_numbers_at_half,
    ),
)


@njit(cache=True, nogil=True)
def bare_sum(image: NDArray[np.uint8], sums: NDArray[np.uint32]) -> None:
    """Read every pixel once."""
    for i in range(image.shape[0]):
        for j in range(image.shape[1]):
            sums[j] += image[i, j]
