"""The stream of lines, cut into blocks and screened one by one; the result doesn't depend on how the lines came."""

from collections.abc import Collection
from dataclasses import replace
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import DTypeLike, NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan.bands import find_bands
from wideroll.scan.chips import ChipBook
from wideroll.scan.coverage import find_coverage, web_extent
from wideroll.scan.frame import Frame, Grey, check_rows, make_frame
from wideroll.scan.look import Glance, LookSoFar, glance_back, look_back
from wideroll.scan.marks import mark_table
from wideroll.scan.model import Band, LostLines, ScanResult, ScanSettings
from wideroll.scan.mottle import find_mottle
from wideroll.scan.overview import OverviewRows, Picture, join_overview, join_rows
from wideroll.scan.places import LinePlaces
from wideroll.scan.residual import SETTLED_BLOCKS, settle_residuals
from wideroll.scan.screening import BlockReport, Carry, Desk, lost_block, screen_block
from wideroll.scan.splices import find_splices
from wideroll.scan.streaks import find_lines, is_streak, line_marks, outside_lines
from wideroll.scan.unevenness import band_borders_mm, cell_size_mm

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
        >>> spot["kind"], spot["polarity"], round(spot["along_m"], 5), round(spot["across_mm"], 2)
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

    def __init__(  # noqa: PLR0917  -- each is a fact of the raster or a wish of the caller
        self,
        columns: int,
        pitch_mm: tuple[float, float],
        dtype: DTypeLike,
        settings: ScanSettings = _USUAL,
        places: LinePlaces | None = None,
        chips_of: Collection[str] = (),
    ) -> None:
        self._frame: Frame = make_frame(columns, pitch_mm, dtype, settings, places)
        # The last block must not be so short that its background is uncertain: it is from half to one and a half long.
        room = self._frame.block_lines * 3 // 2
        self._waiting: Grey = np.empty((room, columns), self._frame.dtype)
        self._beyond: Grey = np.empty((room, columns), self._frame.dtype)
        taken = np.zeros((room + self._frame.held_lines, columns), np.uint8)
        self._desk = Desk(taken=taken, chips=ChipBook(asked=frozenset(chips_of)))
        self._held = 0
        self._line = 0
        self._carry = Carry()
        self._blocks: list[BlockReport] = []
        self._picture = Picture()
        self._fresh: list[OverviewRows] | None = None
        self._result: ScanResult | None = None

    def feed(self, rows: NDArray[np.uint8] | NDArray[np.uint16]) -> None:
        """Take the next rows ``[along, across]`` of the raster, as many as there are.

        Raises:
            ArgumentError: when they have other columns or another type than was announced, or come after the end.
        """
        check_rows(rows, self._frame)
        self._refuse_more()
        block, room, taken = self._frame.block_lines, len(self._waiting), 0
        while len(rows) - taken + self._held >= room:
            if self._held == 0:
                self._screen(rows[taken : taken + block])
                taken += block
                continue
            fill = max(block - self._held, 0)
            self._keep(rows[taken : taken + fill])
            taken += fill
            self._screen(self._waiting[:block])
            self._waiting, self._beyond = self._beyond, self._waiting
            self._held -= block
        self._keep(rows[taken:])

    def _keep(self, rows: NDArray[np.uint8] | NDArray[np.uint16]) -> None:
        """Hold rows until their block is whole; what lies beyond it goes where the next block will be whole."""
        inside = min(len(rows), max(self._frame.block_lines - self._held, 0))
        self._waiting[self._held : self._held + inside] = rows[:inside]
        start = self._held + inside - self._frame.block_lines
        self._beyond[start : start + len(rows) - inside] = rows[inside:]
        self._held += len(rows)

    def lose(self, lost: LostLines) -> None:
        """Go past lines that can't be read: they lie between the rows before and the rows to come.

        Raises:
            ArgumentError: when there are none, or they come after the end.
        """
        self._refuse_more()
        if lost.lines < 1:
            raise ArgumentError(
                where="lost lines", rule="must be at least 1", value=lost.lines, mend="Leave out what isn't lost."
            )
        self._flush()
        given = self._desk, self._frame
        report, rows, self._carry = lost_block(lost.lines, lost.why, self._line, self._carry, given)
        self._add(report, rows)

    def take_overview(self) -> OverviewRows | None:
        """The overview's rows that came since the last call; None where there are none. The first call begins it.

        Rows of all calls under each other are the whole overview at its finest, which the result's own may not be: that
        stays small however long the web. Rows may be of different widths; what one lacks was not seen.
        """
        rows, self._fresh = self._fresh, []
        return join_rows(rows) if rows else None

    @property
    def screened_lines(self) -> int:
        """Lines from the head that a look reaches by now."""
        return self._line

    @property
    def marks_ended(self) -> int:
        """Marks in them, those on lines along the web included."""
        return sum(len(block.measures) for block in self._blocks)

    def glance(self, from_m: float = 0.0, places: LinePlaces | None = None) -> Glance | None:
        """The places of the marks so far, quickly: to see whether a look is worth its time.

        Args:
            from_m: Where the stretch begins, or a little before, measured from the head.
            places: As for ``look``.

        Returns:
            None before the first block is whole.
        """
        frame = self._frame if places is None else replace(self._frame, places=places)
        return glance_back(self._blocks, frame, int(frame.places.line(max(from_m, 0.0)))) if self._blocks else None

    def look(self, from_m: float = 0.0, places: LinePlaces | None = None) -> LookSoFar | None:
        """The marks so far, and what was looked at for them; what the finder gives in the end isn't changed by it.

        Marks that have ended are final, unless a line along the web later turns out to hold them. Time goes with the
        stretch asked for.

        Args:
            from_m: Where the stretch begins, or a little before, measured from the head.
            places: Where lines lie, where an encoder has counted on since the finder was made.

        Returns:
            None before the first block is whole.
        """
        frame = self._frame if places is None else replace(self._frame, places=places)
        return look_back(self._blocks, frame, int(frame.places.line(max(from_m, 0.0)))) if self._blocks else None

    def finish(self) -> ScanResult:
        """Screen what is left and sum up; asked again, it gives the same result.

        Raises:
            ArgumentError: when no rows were fed.
        """
        if self._result is None:
            self._flush()
            if not self._blocks:
                raise ArgumentError(where="image", rule="must have lines", value=0, mend="Feed rows before finish().")
            self._result = _sum_up(self._blocks, self._picture, self._desk, self._frame)
            self._waiting = self._beyond = self._waiting[:0]
        return self._result

    def _refuse_more(self) -> None:
        if self._result is not None:
            raise ArgumentError(where="rows", rule="must come before finish()", mend="Start another MarkFinder.")

    def _flush(self) -> None:
        if self._held:
            more = max(self._held - self._frame.block_lines, 0)
            self._waiting[self._held - more : self._held] = self._beyond[:more]
            self._screen(self._waiting[: self._held], last=True)
            self._held = 0

    def _screen(self, rows: Grey, *, last: bool = False) -> None:
        whole: NDArray[Any] = np.ascontiguousarray(rows).astype(self._frame.dtype, copy=False)
        given = self._desk, self._frame
        report, overview, self._carry = screen_block(whole, self._line, self._carry, given, last=last)
        self._add(report, overview)

    def _add(self, report: BlockReport, rows: OverviewRows) -> None:
        self._blocks.append(report)
        self._line += report.lines
        if len(self._blocks) % SETTLED_BLOCKS == 0:
            last = self._blocks[-SETTLED_BLOCKS:]
            settled = settle_residuals([block.residual for block in last])
            self._blocks[-SETTLED_BLOCKS:] = [replace(b, residual=r) for b, r in zip(last, settled, strict=True)]
        self._picture.add(rows)
        if self._fresh is not None:
            self._fresh.append(rows)


def _sum_up(blocks: list[BlockReport], picture: Picture, desk: Desk, frame: Frame) -> ScanResult:
    web = web_extent(blocks, frame)
    lines = find_lines(blocks, web, frame)
    seen = [block.noise for block in blocks if block.edges]
    noise = float(np.median(seen)) if seen else 0.0
    table = mark_table(np.concatenate([block.measures for block in blocks]), frame)
    marks = outside_lines(table, lines, noise, frame)
    short = [line for line in lines if not is_streak(line, frame)]
    marks = pl.concat([marks, line_marks(short, frame)]).sort("along_m", "across_mm", maintain_order=True)
    known = set(marks["id"])
    return ScanResult(
        marks=marks,
        streaks=tuple(line for line in lines if is_streak(line, frame)),
        coverage=find_coverage(blocks, web, frame),
        overview=join_overview(picture.parts(), picture.halvings, web, frame),
        settings=frame.settings,
        pitch_mm=frame.pitch_mm,
        lines=blocks[-1].first_line + blocks[-1].lines,
        columns=frame.columns,
        web_width_mm=web.width_mm,
        noise=noise,
        bands=_find_bands(blocks, web, frame),
        mottle=find_mottle([block.mottle for block in blocks if block.mottle is not None], cell_size_mm(frame)),
        splices=find_splices([block.off_level for block in blocks], [block.off_gain for block in blocks], web, frame),
        chips=tuple(chip for chip in desk.chips.chips() if chip.mark in known),
        places=frame.places if frame.places != LinePlaces.steady(frame.pitch_mm[0]) else None,
    )


def _find_bands(blocks: list[BlockReport], web: Extent, frame: Frame) -> tuple[Band, ...]:
    lefts = [block.edges.left for block in blocks if block.edges]
    borders = band_borders_mm(frame, float(np.median(lefts)) if lefts else 0.0)
    bands = find_bands([block.bands for block in blocks], borders, frame)
    inside = ((band, band.extent.meet(web)) for band in bands)
    return tuple(replace(band, extent=extent) for band, extent in inside if extent is not None)
