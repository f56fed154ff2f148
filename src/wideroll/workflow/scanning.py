"""A roll's raster to a scan, and the scan to the roll it is of."""

from collections.abc import Callable, Collection, Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import Protocol

from wideroll.errors import InputError
from wideroll.roll import Extent, unseen_within
from wideroll.scan import (
    LinePlaces,
    LostLines,
    MarkFinder,
    ScanResult,
    ScanSettings,
    StreakOrigin,
    match_channels,
)
from wideroll.scan.frame import make_frame
from wideroll.scan.origin import compare_scans
from wideroll.scan.overview import OverviewRows
from wideroll.workflow.ports import Grey, OtherScans, OverviewStore, Progress, Raster, Silent

__all__ = [
    "ScanRunner",
    "check_length",
    "check_width",
    "fit_to_roll",
    "open_blocks",
    "scan_web",
    "scanned_m",
    "tell_origins",
]

_MUST_SHOW = 0.2
"""Where less of the web was seen its width isn't judged: the missing coverage is what holds the roll."""
_LENGTH_SLACK = 0.005
_LENGTH_SLACK_M = 0.05
_WIDTH_SLACK_MM = 6.0
"""Edges wander by millimetres (common practice), and a length counter slips by some tenths of a per cent."""

_PLAIN = 2
"""Dimensions of a block of one channel."""


class ScanRunner(Protocol):
    """How a raster is scanned, such as by several workers; the result is the same."""

    def __call__(
        self,
        raster: Raster,
        settings: Sequence[ScanSettings],
        *,
        chips_of: Collection[str],
        seen: Callable[[OverviewRows], None] | None,
        progress: Progress,
    ) -> Sequence[ScanResult]:
        """A scan for each channel with its settings; ``seen`` is given the rows of the first one's overview."""


def scan_web(
    raster: Raster,
    *,
    settings: ScanSettings | None = None,
    progress: Progress | None = None,
    overview: OverviewStore | None = None,
    chips_of: Collection[str] = (),
    run: ScanRunner | None = None,
) -> ScanResult:
    """Feed a raster block by block to the finder; each of several channels to one of its own, in the same pass.

    Lines that can't be read are lost, not the scan: it goes on behind them, they are not looked at, and who watches is
    told at the end.

    Args:
        raster: What the scanner wrote.
        settings: Of the finder; the raster's source where None. Channels after the first have ``<source> <channel>``.
        progress: Told lines, lost ones included.
        overview: Where the rows of the first channel's overview go as they come.
        chips_of: Marks whose crops are wanted besides those of the most severe.
        run: Who does the work; None does it here.

    Returns:
        See ``match_channels`` where there are several channels.

    Raises:
        InputError: when no line can be read.
    """
    progress = progress or Silent()
    chosen = settings or ScanSettings(source=raster.source)
    names = raster.channel_names or tuple(f"channel {number}" for number in range(1, raster.channels + 1))
    sources = [chosen, *(replace(chosen, source=f"{chosen.source} {name}") for name in names[1:])]
    seen = None if overview is None else partial(_put, overview)
    try:
        results = (run or _scan_here)(raster, sources, chips_of=chips_of, seen=seen, progress=progress)
        if overview is not None:
            frame = make_frame(raster.columns, raster.pitch_mm, raster.dtype, chosen, raster.places)
            cell_m = frame.cell_lines * raster.pitch_mm[0] / 1000.0
            overview.finish(cell_m, results[0].overview.cell_mm, results[0].overview.extent)
    except BaseException:
        if overview is not None:
            overview.abandon()
        raise
    for damage in raster.damage():
        progress.note(str(damage))
    return match_channels(list(zip(names, results, strict=True)))


@contextmanager
def open_blocks(raster: Raster, first: int = 0, stop: int | None = None) -> Iterator[Iterator[Grey | LostLines]]:
    """The lines of a raster; its files are closed however the reading ends."""
    blocks = raster.blocks(first, stop)
    try:
        yield blocks
    finally:
        if isinstance(blocks, Generator):
            blocks.close()


def scanned_m(scan: ScanResult) -> float:
    """How far the scan reaches along."""
    return _end_m(scan.places, scan.pitch_mm, scan.lines)


def fit_to_roll(scan: ScanResult, whole: Extent) -> ScanResult:
    """The scan with everything the scanner did not reach on this roll listed as unseen.

    What is shorter than a line or narrower than a pixel isn't listed.
    """
    line_m, pixel_mm = scan.pitch_mm[0] / 1000.0, scan.pitch_mm[1]
    missed = [
        gap
        for gap in unseen_within(whole, scan.coverage.seen, why="outside the scanner's field")
        if gap.extent.length_m > line_m and gap.extent.width_mm > pixel_mm
    ]
    if not missed:
        return scan
    end_m = scanned_m(scan) - line_m
    unseen = [
        replace(gap, why="the scan ends before the roll does") if gap.extent.along_from_m >= end_m else gap
        for gap in missed
    ]
    return replace(scan, coverage=replace(scan.coverage, unseen=(*scan.coverage.unseen, *unseen)))


def tell_origins(scan: ScanResult, others: OtherScans | None) -> ScanResult:
    """The scan with its undecided streaks told apart by other rolls' scans, where there are any by this scanner."""
    undecided = any(streak.origin is StreakOrigin.UNDECIDED for streak in scan.streaks)
    if others is None or not undecided:
        return scan
    alike = [
        other
        for other in others.by(scan.settings.source)
        if other.columns == scan.columns and other.pitch_mm[1] == scan.pitch_mm[1]
    ]
    if not alike:
        return scan
    streaks = compare_scans(
        scan.streaks,
        [other.streaks for other in alike],
        pitch_mm=scan.pitch_mm[1],
        lengths_m=[other.length_m for other in alike],
        streak_snr=max(other.streak_snr for other in alike),
    )
    return replace(scan, streaks=streaks)


def check_length(raster: Raster, whole: Extent, *, roll: str) -> None:
    """Refuse a scan that is longer than its roll: places along would be wrong.

    Raises:
        InputError: when it is longer by more than the slack of a length counter.
    """
    long_m = _end_m(raster.places, raster.pitch_mm, raster.lines)
    if long_m > whole.length_m * (1.0 + _LENGTH_SLACK) + _LENGTH_SLACK_M:
        field = "encoder" if raster.places else "pitch_along"
        raise InputError(
            where=f"rolls/{roll}/scan/scan.toml, field {field}",
            rule=f"the scan must not be longer than the roll, {whole.length_m:g} m",
            value=f"{long_m:.2f} m",
            mend=f"Correct {field}, take out segments of another roll, or correct the length in roll.toml.",
        )


def check_width(scan: ScanResult, whole: Extent, *, roll: str) -> None:
    """Refuse a scan whose web isn't as wide as the plant's: places across would be wrong.

    Raises:
        InputError: when the measured width differs by more than edges wander.
    """
    if scan.coverage.share(whole) > _MUST_SHOW and abs(scan.web_width_mm - whole.width_mm) > _WIDTH_SLACK_MM:
        raise InputError(
            where=f"rolls/{roll}/scan/scan.toml, field pitch_across",
            rule=f"the web in the scan must be as wide as plant.toml's web_width, {whole.width_mm:g} mm",
            value=f"{scan.web_width_mm:.1f} mm",
            mend="Correct pitch_across, or web_width; a scan that doesn't show both edges can't be placed.",
        )


def _end_m(places: LinePlaces | None, pitch_mm: tuple[float, float], lines: int) -> float:
    return places.along_m(float(lines)) if places else lines * pitch_mm[0] / 1000.0


def _scan_here(
    raster: Raster,
    settings: Sequence[ScanSettings],
    *,
    chips_of: Collection[str],
    seen: Callable[[OverviewRows], None] | None,
    progress: Progress,
) -> list[ScanResult]:
    facts = raster.columns, raster.pitch_mm, raster.dtype
    finders = [MarkFinder(*facts, one, raster.places, chips_of) for one in settings]
    progress.start("scan", raster.lines, "lines")
    try:
        if seen is not None:
            finders[0].take_overview()
        with open_blocks(raster) as blocks:
            for block in blocks:
                _take(block, finders)
                _hand_over(finders[0], seen)
                progress.advance(block.lines if isinstance(block, LostLines) else len(block))
        results = [finder.finish() for finder in finders]
        _hand_over(finders[0], seen)
    finally:
        progress.finish()
    return results


def _take(block: Grey | LostLines, finders: Sequence[MarkFinder]) -> None:
    for number, finder in enumerate(finders):
        if isinstance(block, LostLines):
            finder.lose(block)
        else:
            finder.feed(block if block.ndim == _PLAIN else block[..., number])


def _hand_over(finder: MarkFinder, seen: Callable[[OverviewRows], None] | None) -> None:
    if seen is not None and (rows := finder.take_overview()) is not None:
        seen(rows)


def _put(overview: OverviewStore, rows: OverviewRows) -> None:
    overview.put(rows.mean, rows.worst)
