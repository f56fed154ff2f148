"""One roll scanned in shares by several workers, with the same result as by one."""

import socket
from collections.abc import Callable, Collection, Generator, Iterator, Sequence
from concurrent.futures import CancelledError
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

from wideroll.errors import InputError
from wideroll.farm.cluster import check_workers, open_client
from wideroll.scan import LostLines, MarkFinder, ScanResult, ScanSettings
from wideroll.scan.frame import Frame, make_frame
from wideroll.scan.overview import OverviewRows
from wideroll.scan.shares import Share, ShareBorder, ShareResult, join_shares, plan_shares, screen_share
from wideroll.workflow import Grey, Progress, Raster
from wideroll.workflow.ports import Silent

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["SegmentedRaster", "scan_in_shares"]

_LEAST_BLOCKS: Final = 24
"""A share screens one block of the share before: of so many that is little."""
_MOST_BLOCKS: Final = 240
"""So much work is lost at most with a worker."""
_ROUNDS: Final = 4
"""Shares for each worker, so that a quick one does more of them."""
_AHEAD: Final = 3
"""Shares for each worker that are given out before the first of them is joined: each result holds some megabytes."""
_RETRIES: Final = 2
"""How often a share is tried again after an error, such as of a disk that was away for a moment."""


class _Lost(Protocol):
    @property
    def first(self) -> int: ...
    @property
    def lines(self) -> int: ...


class _File(Protocol):
    @property
    def lines(self) -> int: ...
    @property
    def known_lost(self) -> Sequence[_Lost]: ...


class SegmentedRaster(Raster, Protocol):
    """A raster of one or more files that can be pickled and read from any line on."""

    @property
    def files(self) -> Sequence[_File]:
        """The files in order; lines that are known to be lost count from each one's first."""

    @property
    def starts(self) -> Sequence[int]:
        """First line of each file, counted from the head; what lies between two was never scanned."""

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """The lines in order, from ``first`` up to but without ``stop``."""


def scan_in_shares(
    raster: SegmentedRaster,
    *,
    settings: ScanSettings | None = None,
    scheduler: str | None = None,
    workers: int = 2,
    progress: Progress | None = None,
    channel: int | None = None,
    chips_of: Collection[str] = (),
    seen: Callable[[OverviewRows], None] | None = None,
) -> ScanResult:
    """Scan one roll, several shares of it at a time; the result is that of one ``MarkFinder`` fed with all of it.

    A worker that dies costs its share's time: another does that share again. A share that began in the middle of
    something longer than a block, such as a scratch, is screened again here, as are the lines from where some turn out
    to be lost that no header told of; the progress says so.

    Args:
        raster: Each worker reads its own lines of it: the files must lie at the same path on every machine.
        settings: What counts as a mark; None takes the usual for the raster's scanner.
        scheduler: Address of a Dask scheduler such as ``tcp://10.0.0.5:8786``; None starts ``workers`` processes here,
            which end with this call.
        workers: Processes to start; without meaning when a scheduler is named.
        progress: Told of each share that is done.
        channel: Which one to scan, where a pixel has several values.
        chips_of: Marks to keep a crop of, by id.
        seen: Is given the overview's rows as they come.

    Raises:
        ArgumentError: when ``workers`` is less than 1, or the raster has no lines.
        InputError: when Dask isn't installed, the scheduler doesn't answer or has no workers, a share's worker dies
            again and again, or a worker can't read the files.
    """
    check_workers(workers)
    chosen = settings or ScanSettings(source=raster.source)
    facts = raster.columns, raster.pitch_mm, raster.dtype, chosen, raster.places
    work = _Work(
        raster=raster,
        frame=make_frame(*facts),
        channel=channel,
        chips_of=frozenset(chips_of),
        elsewhere=scheduler is not None,
    )
    with open_client(scheduler, workers, what="one roll in shares") as client:
        threads = workers if scheduler is None else sum(client.nthreads().values())  # type: ignore[no-untyped-call]
        shares = plan_shares(raster.lines, work.frame, _how_many(raster.lines, work.frame, threads), _lost(raster))
        return _scan(client, work, shares, (threads * _AHEAD, progress or Silent(), seen))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """What a worker is told of the roll."""

    raster: SegmentedRaster
    frame: Frame
    channel: int | None
    chips_of: frozenset[str]
    elsewhere: bool
    """Workers may be on other machines."""

    def pieces(self, first: int, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """Lines of the channel."""
        for piece in self.raster.blocks(first, stop):
            yield piece if self.channel is None or isinstance(piece, LostLines) else piece[..., self.channel]

    def again(self, share: Share, before: ShareBorder) -> ShareResult:
        """Screen a share from what the one before ended with."""
        pieces = self.pieces(share.first, share.stop)
        return screen_share(pieces, share, self.frame, chips_of=self.chips_of, before=before)


def _screen(work: _Work, share: Share) -> ShareResult:
    """On a worker."""
    try:
        return screen_share(work.pieces(share.reads_from, share.stop), share, work.frame, chips_of=work.chips_of)
    except InputError as error:
        if not work.elsewhere:
            raise
        raise InputError(
            where=f"worker on {socket.gethostname()}",
            rule="must find the raster's files at the same path as here",
            value=str(error),
            mend="Share the plant's folder with all workers under one path, or scan without a scheduler.",
        ) from error


def _scan(
    client: "Client",
    work: _Work,
    shares: Sequence[Share],
    given: tuple[int, Progress, Callable[[OverviewRows], None] | None],
) -> ScanResult:
    ahead, progress, seen = given
    raster, frame = work.raster, work.frame
    finder = MarkFinder(
        frame.columns, frame.pitch_mm, frame.dtype, frame.settings, raster.places, chips_of=work.chips_of
    )
    results = _in_order(client, work, shares, ahead, progress)

    def rest(line: int) -> Iterator[Grey | LostLines]:
        results.close()
        progress.finish()
        progress.start("lost lines turned up: scan the rest in one process", raster.lines - line, "lines")
        for piece in work.pieces(line):
            yield piece
            progress.advance(piece.lines if isinstance(piece, LostLines) else len(piece))

    progress.start(f"scan in {len(shares)} shares", raster.lines, "lines")
    try:
        return join_shares(results, finder, again=work.again, rest=rest, seen=seen)
    finally:
        results.close()
        progress.finish()


def _in_order(
    client: "Client", work: _Work, shares: Sequence[Share], ahead: int, progress: Progress
) -> Generator[ShareResult, None, None]:
    """Results from the head on; each is fetched as soon as it is there, so that it can't be lost with its worker."""
    from distributed import as_completed  # noqa: PLC0415  -- the extra may not be installed

    arriving: Any = as_completed(with_results=True, raise_errors=False, loop=client.loop)  # type: ignore[no-untyped-call]
    away: dict[str, tuple[Share, Any]] = {}
    ready: dict[Share, ShareResult] = {}
    given = 0
    try:
        for number, wanted in enumerate(shares):
            for share in shares[given : number + ahead]:
                future: Any = client.submit(_screen, work, share, pure=False, retries=_RETRIES, priority=-given)
                away[future.key] = share, future
                arriving.add(future)
                given += 1
            while wanted not in ready:
                future, result = next(arriving)
                share, _ = away.pop(future.key)
                future.release()
                ready[share] = _whole(result[1] if isinstance(result, tuple) else result)
                progress.advance(share.lines)
            yield ready.pop(wanted)
    finally:
        client.cancel([future for _, future in away.values()])  # type: ignore[no-untyped-call]


def _whole(result: ShareResult | BaseException) -> ShareResult:
    from distributed import KilledWorker  # noqa: PLC0415  -- the extra may not be installed

    if isinstance(result, ShareResult):
        return result
    if isinstance(result, KilledWorker):
        raise InputError(
            where="workers",
            rule="one must live until its share of the scan is done",
            value=str(result),
            mend="Give each worker more memory, or start fewer on each machine.",
        ) from result
    if isinstance(result, CancelledError):
        raise InputError(
            where="scheduler",
            rule="it and a worker must stay up until the scan is done",
            mend="Start them again, then scan again.",
        ) from result
    raise result


def _how_many(lines: int, frame: Frame, threads: int) -> int:
    """As many for each thread, so that none waits long for the last, but none too short or too long."""
    blocks = lines // frame.block_lines
    rounds = min(max(blocks // (_LEAST_BLOCKS * threads), 1), _ROUNDS)
    return threads * max(rounds, -(-blocks // (_MOST_BLOCKS * threads)))


def _lost(raster: SegmentedRaster) -> Iterator[tuple[int, int]]:
    """Lines (from, to) that are known to be lost, or were never scanned."""
    line = 0
    for start, file in zip(raster.starts, raster.files, strict=True):
        if start > line:
            yield line, start
        for lost in file.known_lost:
            yield start + lost.first, start + lost.first + lost.lines
        line = start + file.lines
