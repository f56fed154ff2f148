"""sep: its extraction with 3×3 and 7×7 kernels over the departures, and behind a screen of whole numbers."""

import numpy as np
import sep
from numpy.typing import NDArray

from scanning.ground import BOX_SNR, GROW, PIXEL_SNR, Finds, blocks, measure
from scanning.with_numpy import screened_full, screened_half

__all__ = ["kernels", "screened_at_full", "screened_at_half"]

_STRIP = 256
_MARGIN = 8
Bytes = NDArray[np.uint8]


def kernels(image: Bytes) -> Finds:
    """Extraction for both polarities with either kernel; what doesn't reach the threshold at its peak is dropped."""
    grounds, boxes = [], [np.empty((0, 4), np.int64)]
    for block, ground in blocks(image):
        grounds.append(ground)
        for start in range(0, len(block), _STRIP):
            first = max(start - _MARGIN, 0)
            strip = block[first : start + _STRIP + _MARGIN]
            snr = strip - ground.gain[first : first + len(strip), None] * ground.profile
            snr /= ground.noise
            found = np.concatenate([_extracted(snr), _extracted(np.negative(snr))])
            boxes.append(np.add(found, [first + ground.first, 0, first + ground.first, 0]))
    return measure(image, np.concatenate(boxes), grounds, _label)


def screened_at_full(image: Bytes) -> Finds:
    """Sums in whole numbers by numpy, objects by sep."""
    return screened_full(image, _label)


def screened_at_half(image: Bytes) -> Finds:
    """The same at half the size."""
    return screened_half(image, _label)


def _extracted(snr: NDArray[np.float32]) -> NDArray[np.int64]:
    boxes = []
    for side, low in ((3, GROW / 3), (7, BOX_SNR / 7)):
        found = sep.extract(
            snr, low, filter_kernel=np.ones((side, side), np.float32), minarea=1, deblend_cont=1.0, clean=False
        )
        found = found[(found["cpeak"] > BOX_SNR / side) | (found["peak"] > PIXEL_SNR)]
        boxes += [[found["ymin"], found["xmin"], found["ymax"] + 1, found["xmax"] + 1]]
    return np.concatenate(boxes, axis=1).T.astype(np.int64)


def _label(mask: Bytes) -> NDArray[np.int32]:
    # One window's mark must not touch the next one's: the masks keep their first and last line free.
    return np.asarray(
        sep.extract(
            mask.astype(np.float32),
            0.5,
            filter_kernel=None,
            minarea=1,
            deblend_cont=1.0,
            clean=False,
            segmentation_map=True,
        )[1],
        np.int32,
    )
