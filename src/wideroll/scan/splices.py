"""Lines off level over the whole width, joined to splices and to lines that the scanner dropped."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan.frame import Frame
from wideroll.scan.model import Splice

__all__ = ["find_splices"]

_LEAST_SPLICE_MM: Final = 3.0
"""No tape is shorter."""
_JOIN_MM: Final = 3.0
"""Stretches no further apart belong together: a tape's middle may be nearly as dense as the web."""
_LEAST_SHARE: Final = 0.5
"""Of a splice's lines that must be off level: single dropped lines near each other are none."""
_MORE: Final = 1e-6


def find_splices(
    off_level: Sequence[NDArray[np.int64]], off_gain: Sequence[NDArray[np.float32]], web: Extent, frame: Frame
) -> tuple[Splice, ...]:
    """Join the lines off level; what is longer than 3 mm along is a splice, what is shorter was dropped.

    Args:
        off_level: Of each block, the lines off level, counted from the head.
        off_gain: Of each block, their signal over that of the web beside them.
        web: Where the web lies.
        frame: The raster.

    Returns:
        In order along.

    Raises:
        ArgumentError: when the two differ in length.
    """
    lines = np.concatenate([*off_level, np.empty(0, np.int64)])
    gain = np.concatenate([*off_gain, np.empty(0, np.float32)]).astype(np.float64)
    if len(lines) != len(gain):
        raise ArgumentError(
            where="off_gain",
            rule=f"needs one value for each of the {len(lines)} lines off level",
            value=len(gain),
            mend="Give the gain of each line.",
        )
    if not len(lines):
        return ()
    order = np.argsort(lines, kind="stable")
    runs = _runs(lines[order], gain[order], np.flatnonzero(np.diff(lines[order]) > 1) + 1)
    return tuple(splice for group in _near_groups(runs, frame) for splice in _judge(group, web, frame))


_Run = tuple[int, int, list[float]]
"""Line from and to, half open, and the gains in it."""


def _runs(lines: NDArray[np.int64], gain: NDArray[np.float64], cuts: NDArray[np.int64]) -> list[_Run]:
    pieces = zip(np.split(lines, cuts), np.split(gain, cuts), strict=True)
    return [(int(part[0]), int(part[-1]) + 1, values.tolist()) for part, values in pieces]


def _near_groups(runs: Sequence[_Run], frame: Frame) -> list[list[_Run]]:
    groups: list[list[_Run]] = []
    for run in runs:
        if groups and _length_mm(groups[-1][-1][1], run[0], frame) <= _JOIN_MM:
            groups[-1].append(run)
        else:
            groups.append([run])
    return groups


def _judge(group: Sequence[_Run], web: Extent, frame: Frame) -> list[Splice]:
    """The group as one splice, or each of its runs by itself."""
    start, end = group[0][0], group[-1][1]
    held = sum(run[1] - run[0] for run in group)
    if held >= _LEAST_SHARE * (end - start):
        return [_splice(start, end, [value for run in group for value in run[2]], web, frame)]
    return [_splice(*run, web, frame) for run in group]


def _splice(start: int, end: int, gain: Sequence[float], web: Extent, frame: Frame) -> Splice:
    return Splice(
        extent=Extent(
            along_from_m=frame.along_m(float(start)),
            along_to_m=frame.along_m(float(end)),
            across_from_mm=web.across_from_mm,
            across_to_mm=web.across_to_mm,
        ),
        contrast=float(np.median(gain)) - 1.0,
        dropped=_length_mm(start, end, frame) <= _LEAST_SPLICE_MM + _MORE,
    )


def _length_mm(start: int, end: int, frame: Frame) -> float:
    return 1000.0 * (frame.along_m(float(end)) - frame.along_m(float(start)))
