"""The stream of lines, cut into blocks and screened one by one; the result doesn't depend on how the lines came."""

from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import DTypeLike, NDArray

from wideroll.errors import ArgumentError
from wideroll.scan.coverage import find_coverage, web_extent
from wideroll.scan.frame import Frame, Grey, check_rows, make_frame
from wideroll.scan.linking import accept, no_marks
from wideroll.scan.marks import mark_table
from wideroll.scan.model import ScanResult, ScanSettings
from wideroll.scan.overview import join_overview
from wideroll.scan.screening import BlockReport, Carry, screen_block
from wideroll.scan.streaks import find_lines, is_streak, line_marks, outside_lines

__all__ = ["MarkFinder", "find_marks"]

_USUAL: Final = ScanSettings()


def find_marks(
    image: NDArray[np.uint8] | NDArray[np.uint16],
    pitch_mm: tuple[float, float],
    settings: ScanSettings = _USUAL,
) -> ScanResult:
    """Find the marks and streaks in a scanner's raster.

    Args:
        image: ``[along, across]``, uint8 or uint16; it is not copied as a whole.
        pitch_mm: Distance of the lines along and of the pixels across, in mm.
        settings: What counts as a mark.

    Returns:
        Marks as ``wideroll.roll.MARKS_SCHEMA``, streaks, coverage and overview. Places are measured along from the
        head (first line) in m and across from the datum edge (the web's left edge) in mm.

    Raises:
        ArgumentError: when the image isn't two-dimensional, has no pixels or isn't uint8 or uint16, or the pitch isn't
            two finite numbers above 0.

    Example:
        >>> noise = np.random.Generator(np.random.PCG64(1)).normal(150.0, 2.0, (300, 200))
        >>> noise[120:124, 80:85] -= 40.0
        >>> found = find_marks(np.rint(noise).astype(np.uint8), pitch_mm=(0.3, 0.3))
        >>> spot = found.marks.row(0, named=True)
        >>> spot["kind"], spot["polarity"], round(spot["along_m"], 5), round(spot["across_mm"], 3)
        ('spot', 'dark', 0.0366, 24.75)
    """
    if image.ndim != 2:  # noqa: PLR2004
        raise ArgumentError(
            where="image", rule="must be two-dimensional [along, across]", value=image.shape, mend="Pick one channel."
        )
    finder = MarkFinder(image.shape[1], pitch_mm, image.dtype, settings)
    finder.feed(image)
    return finder.finish()


class MarkFinder:
    """The same for a raster that comes in pieces: fed rows of any height, it answers when they end.

    It keeps at most one and a half blocks of lines, the marks, and a few bytes for each column of each block.

    Raises:
        ArgumentError: as ``find_marks``.

    Example:
        >>> image = np.full((400, 200), 150, np.uint8)
        >>> finder = MarkFinder(200, (0.3, 0.3), np.uint8)
        >>> for start in range(0, 400, 64):
        ...     finder.feed(image[start : start + 64])
        >>> finder.finish().marks.height
        0
    """

    def __init__(
        self,
        columns: int,
        pitch_mm: tuple[float, float],
        dtype: DTypeLike,
        settings: ScanSettings = _USUAL,
    ) -> None:
        self._frame: Frame = make_frame(columns, pitch_mm, dtype, settings)
        # The last block must not be so short that its background is uncertain: it is from half to one and a half long.
        self._waiting: Grey = np.empty((self._frame.block_lines * 3 // 2, columns), self._frame.dtype)
        self._held = 0
        self._line = 0
        self._carry = Carry(open_marks=no_marks())
        self._blocks: list[BlockReport] = []
        self._result: ScanResult | None = None

    def feed(self, rows: NDArray[np.uint8] | NDArray[np.uint16]) -> None:
        """Take the next rows ``[along, across]`` of the raster, as many as there are.

        Raises:
            ArgumentError: when they have other columns or another type than was announced, or come after the end.
        """
        check_rows(rows, self._frame)
        if self._result is not None:
            raise ArgumentError(where="rows", rule="must come before finish()", mend="Start another MarkFinder.")
        block, room, taken = self._frame.block_lines, len(self._waiting), 0
        while len(rows) - taken + self._held >= room:
            if self._held == 0:
                self._screen(rows[taken : taken + block])
                taken += block
                continue
            fill = room - self._held
            self._waiting[self._held :] = rows[taken : taken + fill]
            self._screen(self._waiting[:block])
            taken += fill
            self._held = room - block
            if self._held <= taken:
                taken, self._held = taken - self._held, 0
            else:
                self._waiting[: self._held] = self._waiting[block:].copy()
        rest = len(rows) - taken
        self._waiting[self._held : self._held + rest] = rows[taken:]
        self._held += rest

    def finish(self) -> ScanResult:
        """Screen what is left and sum up; asked again, it gives the same result.

        Raises:
            ArgumentError: when no rows were fed.
        """
        if self._result is None:
            if self._held:
                self._screen(self._waiting[: self._held])
            if not self._blocks:
                raise ArgumentError(where="image", rule="must have lines", value=0, mend="Feed rows before finish().")
            self._result = _sum_up(self._blocks, self._carry, self._frame)
            self._held, self._waiting = 0, self._waiting[:0]
        return self._result

    def _screen(self, rows: Grey) -> None:
        whole: NDArray[Any] = np.ascontiguousarray(rows).astype(self._frame.dtype, copy=False)
        report, self._carry = screen_block(whole, self._line, self._carry, self._frame)
        self._blocks.append(report)
        self._line += len(rows)


def _sum_up(blocks: list[BlockReport], carry: Carry, frame: Frame) -> ScanResult:
    web = web_extent(blocks, frame)
    lines = find_lines(blocks, web, frame)
    measures = [*(block.measures for block in blocks), accept(carry.open_marks.measures, frame)]
    seen = [block.noise for block in blocks if block.edges]
    noise = float(np.median(seen)) if seen else 0.0
    marks = outside_lines(mark_table(np.concatenate(measures), frame), lines, noise, frame)
    short = [line for line in lines if not is_streak(line, frame)]
    return ScanResult(
        marks=pl.concat([marks, line_marks(short, frame)]).sort("along_m", "across_mm", maintain_order=True),
        streaks=tuple(line for line in lines if is_streak(line, frame)),
        coverage=find_coverage(blocks, web, frame),
        overview=join_overview([block.overview for block in blocks], web, frame),
        settings=frame.settings,
        pitch_mm=frame.pitch_mm,
        lines=blocks[-1].first_line + blocks[-1].lines,
        columns=frame.columns,
        web_width_mm=web.width_mm,
        noise=noise,
    )
