"""Where segments start, as lines of one raster."""

import math
from collections.abc import Sequence

from wideroll.errors import InputError
from wideroll.readers.raster_file import RasterFile
from wideroll.scan import LinePlaces

__all__ = ["first_lines"]

_SLACK_LINES = 1.0
"""A start is written to some digits: up to a line off, a segment follows the one before."""


def first_lines(
    files: Sequence[RasterFile], starts_m: Sequence[float | None], *, places: LinePlaces, where: str
) -> tuple[int, ...]:
    """First line of each file, counted from the head.

    Raises:
        InputError: when a segment starts before the one before it ends.
    """
    found: list[int] = []
    end = 0
    for number, (file, start_m) in enumerate(zip(files, starts_m, strict=True), 1):
        if start_m is None:
            found.append(end)
        else:
            line = places.line(start_m)
            if line < end - _SLACK_LINES:
                raise _overlap(
                    file, start_m, float(places.along_m(float(end))), f"{where}, field segments.{number}.from"
                )
            found.append(end if abs(line - end) <= _SLACK_LINES else math.floor(line + 0.5))
        end = found[-1] + file.lines
    return tuple(found)


def _overlap(file: RasterFile, start_m: float, end_m: float, where: str) -> InputError:
    return InputError(
        where=where,
        rule=f"{file.path.name} must not start before the segment before it ends, at {end_m:.4f} m",
        value=f"{start_m:g} m",
        mend="List the segments in order from the head, each with its own start; check pitch_along.",
    )
