"""scikit-image: straight in floats, and with its labels and region table behind a screen of whole numbers."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import apply_hysteresis_threshold
from skimage.measure import label, regionprops_table

from scanning.ground import BOX_SNR, GROW, PIXEL_SNR, Finds, blocks, measure
from scanning.with_numpy import screened_full, screened_half

__all__ = ["floats", "screened_at_full", "screened_at_half"]

_STRIP = 128
_MARGIN = 8
Bytes = NDArray[np.uint8]


def floats(image: Bytes) -> Finds:
    """Departures in floats, box means, hysteresis, labels and the table of regions, in strips."""
    grounds, boxes = [], [np.empty((0, 4), np.int64)]
    for block, ground in blocks(image):
        grounds.append(ground)
        for start in range(0, len(block), _STRIP):
            first = max(start - _MARGIN, 0)
            strip = block[first : start + _STRIP + _MARGIN]
            snr = strip - ground.gain[first : first + len(strip), None] * ground.profile
            snr /= ground.noise
            score = np.abs(snr) / PIXEL_SNR
            for side in (3, 7):
                mean = np.abs(ndimage.uniform_filter(snr, side))
                np.maximum(score, mean * (side / BOX_SNR), out=score)
            regions = label(apply_hysteresis_threshold(score, GROW / BOX_SNR, 1.0), connectivity=2)
            table = regionprops_table(regions, properties=("bbox",))
            found = np.stack([table[f"bbox-{k}"] for k in range(4)], axis=1).astype(np.int64)
            boxes.append(np.add(found, [first + ground.first, 0, first + ground.first, 0]))
    return measure(image, np.concatenate(boxes), grounds, _label)


def screened_at_full(image: Bytes) -> Finds:
    """Sums in whole numbers by numpy, labels by scikit-image."""
    return screened_full(image, _label)


def screened_at_half(image: Bytes) -> Finds:
    """The same at half the size."""
    return screened_half(image, _label)


def _label(mask: Bytes) -> NDArray[np.int32]:
    return np.asarray(label(mask, connectivity=2), np.int32)
