"""What a block's profile shows beside its smooth course across the web: the traces of streaks."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import savgol_filter

from wideroll.scan.background import MAD, MEDIAN_LOSS, Background
from wideroll.scan.frame import Frame
from wideroll.scan.groups import group_medians, running_median

__all__ = ["Residual", "find_residual", "smooth_profile"]

_GROUP_MM: Final = 4.0
_ORDER: Final = 2
_ROUNDS: Final = 3
_OUTLYING: Final = 3.0
_REACH: Final = 4
"""Groups to either side: the course of the profile is followed over ± 16 mm."""
_FIRM: Final = 60000.0
"""Half-precision numbers end at 65504."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Residual:
    """One block's trace in half precision, over the columns of the raster; 0 where nothing was looked at."""

    snr: NDArray[np.float16]
    """(columns,) departure of the profile from its smooth course, in standard deviations."""
    spread: NDArray[np.float16]
    """(columns,) that standard deviation, as a fraction of the signal."""


def find_residual(ground: Background, smooth: NDArray[np.float64], frame: Frame) -> Residual:
    """Departure of the profile from its smooth course.

    The deviation of a median over n pixels of noise σ is 1.2533 σ/√n.
    """
    lines = max(1, int(np.sum(ground.used)))
    spread = MEDIAN_LOSS * ground.noise / smooth / np.sqrt(lines)
    sound = ground.faults == 0
    snr = np.where(sound, (ground.profile / smooth - 1.0) / spread, 0.0)
    out = np.zeros((2, frame.columns), np.float16)
    out[0, ground.first : ground.last] = np.clip(snr, -_FIRM, _FIRM)
    out[1, ground.first : ground.last] = np.where(sound, np.minimum(spread, 1.0), 0.0)
    return Residual(snr=out[0], spread=out[1])


def smooth_profile(ground: Background, frame: Frame) -> NDArray[np.float64]:
    """Local parabolas through medians of groups of columns [savitzky1964], joined by straight lines.

    Args:
        ground: The block's background; it must have columns that aren't faulty.
        frame: The raster.
    """
    places = np.flatnonzero(ground.faults == 0)
    size = max(1, round(_GROUP_MM / frame.pitch_mm[1]))
    centres, levels = group_medians(ground.profile, places, size)
    course = _follow(levels)
    if len(course) > 1:
        centres = np.concatenate([[2 * centres[0] - centres[1]], centres, [2 * centres[-1] - centres[-2]]])
        course = np.concatenate([[2 * course[0] - course[1]], course, [2 * course[-1] - course[-2]]])
    return np.interp(np.arange(len(ground.profile)), centres, course)


def _follow(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """Local parabolas, which follow a bend as a median doesn't, through levels drawn in towards the course before."""
    window = min(2 * _REACH + 1, (len(levels) - 1) // 2 * 2 + 1)
    if window <= _ORDER:
        return np.full(len(levels), np.median(levels))
    course, parabolas = running_median(levels, _REACH), _parabolas(len(levels), window)
    for _ in range(_ROUNDS):
        away = levels - course
        most = _OUTLYING * MAD * float(np.median(np.abs(away)))
        course = parabolas @ (course + np.clip(away, -most, most))
    return course


@lru_cache(maxsize=8)
def _parabolas(count: int, window: int) -> NDArray[np.float64]:
    return np.asarray(savgol_filter(np.eye(count), window, _ORDER, axis=0))
