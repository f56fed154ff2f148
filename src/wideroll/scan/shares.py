"""One raster cut into shares that are screened apart and joined to the same result, to the bit, as in one go.

A share is a range of whole blocks. What its first block must know of the one before (the edges, the last lines, marks
that go on) is found by screening that one too and throwing its findings away. Whether this told the truth is seen when
the shares are joined: where a share began with anything else than the share before it ended with, such as in the middle
of a long scratch, it is screened again from there.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.scan.chips import ChipBook
from wideroll.scan.finder import MarkFinder
from wideroll.scan.frame import Frame, Grey, check_rows
from wideroll.scan.model import LostLines, ScanResult
from wideroll.scan.overview import OverviewRows
from wideroll.scan.screening import BlockReport, Carry, Desk, lost_block, screen_block

__all__ = ["Share", "ShareBorder", "ShareResult", "Span", "join_shares", "plan_shares", "same_border", "screen_share"]


class Span(NamedTuple):
    """Lines ``first`` to ``stop - 1`` that are screened as one block, or that are lost."""

    first: int
    stop: int
    last: bool
    """No lines follow it, or lost ones."""
    lost: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A range of blocks, after ``warm`` others that only tell what the first must know of those before it."""

    spans: tuple[Span, ...]
    warm: int = 0

    @property
    def reads_from(self) -> int:
        """The first line to read, counted from the head."""
        return self.spans[0].first

    @property
    def first(self) -> int:
        """The first line of its own."""
        return self.spans[self.warm].first

    @property
    def stop(self) -> int:
        """The line after its last."""
        return self.spans[-1].stop

    @property
    def lines(self) -> int:
        """Of its own."""
        return self.stop - self.first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShareBorder:
    """All that the lines from a border on must know of those before it; ``same_border`` compares two."""

    line: int
    """The first after the border."""
    carry: Carry
    taken: NDArray[np.uint8]
    """The map of marks in the held lines: the pixels of each of its rectangles, one after the other."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShareResult:
    """What was found in a share, and what was known at its borders."""

    share: Share
    reports: tuple[BlockReport, ...]
    overview: tuple[OverviewRows, ...]
    chips: ChipBook
    start: ShareBorder
    end: ShareBorder
    surprise: str = ""
    """Where the raster was not as planned: in which way. Nothing else here counts then."""


def plan_shares(lines: int, frame: Frame, count: int, lost: Iterable[tuple[int, int]] = ()) -> tuple[Share, ...]:
    """Cut a raster into shares with about the same number of blocks.

    Args:
        lines: Of the raster, lost ones included.
        frame: The raster.
        count: Shares; there are fewer where there aren't as many blocks.
        lost: Lines (from, to) that are known to be lost; in any order, they may overlap.

    Raises:
        ArgumentError: when there are no lines, ``count`` is below 1, or lines are lost that the raster hasn't.

    Example:
        >>> from wideroll.scan import ScanSettings
        >>> from wideroll.scan.frame import make_frame
        >>> frame = make_frame(100, (0.1, 0.1), np.uint8, ScanSettings(block_m=0.1))
        >>> [(share.reads_from, share.first, share.stop) for share in plan_shares(6000, frame, 2)]
        [(0, 0, 3000), (2000, 3000, 6000)]
    """
    for name, value in (("lines", lines), ("count", count)):
        if value < 1:
            raise ArgumentError(where=name, rule="must be at least 1", value=value, mend="Give a raster with lines.")
    spans = _cut_spans(lines, frame, _joined(lost, lines))
    count = min(count, len(spans))
    borders = [len(spans) * number // count for number in range(count + 1)]
    shares = []
    for start, end in pairwise(borders):
        warm = max(start - 1, 0)
        while warm > 0 and spans[warm].lost:
            warm -= 1
        shares.append(Share(spans=tuple(spans[warm:end]), warm=start - warm))
    return tuple(shares)


def screen_share(
    pieces: Iterable[Grey | LostLines],
    share: Share,
    frame: Frame,
    *,
    chips_of: Collection[str] = (),
    before: ShareBorder | None = None,
) -> ShareResult:
    """Find all that is to be found in a share.

    Args:
        pieces: Its lines in order, in pieces of any height: from ``share.reads_from`` on, or from ``share.first`` where
            ``before`` is given.
        share: As planned.
        frame: The raster.
        chips_of: Marks to keep a crop of, by id.
        before: What the share before ended with; None finds it out from the blocks before.

    Raises:
        ArgumentError: when there are fewer lines, or they don't belong to the raster.
    """
    head = ShareBorder(line=share.reads_from, carry=Carry(), taken=np.empty(0, np.uint8))
    if before is not None:
        head = _own(before)
    spans = share.spans if before is None else share.spans[share.warm :]
    taken = np.zeros((frame.block_lines * 3 // 2 + frame.held_lines, frame.columns), np.uint8)
    _lay_taken(head, taken)
    desk, carry, line, start = Desk(taken=taken, chips=_new_book(chips_of)), head.carry, head.line, head
    found: list[tuple[BlockReport, OverviewRows]] = []
    surprise = ""
    try:
        for span, piece in _assemble(pieces, spans, frame):
            if line == share.first:
                start, found = _border(line, carry, taken), []
                desk = Desk(taken=taken, chips=_new_book(chips_of))
            report, rows, carry = _screen(piece, line, carry, (desk, frame), last=span.last)
            found.append((report, rows))
            line += report.lines
    except _UnplannedError as error:
        surprise = str(error)
    return ShareResult(
        share=share,
        reports=tuple(report for report, _ in found),
        overview=tuple(rows for _, rows in found),
        chips=desk.chips,
        start=start,
        end=_border(line, carry, taken),
        surprise=surprise,
    )


def join_shares(
    results: Iterable[ShareResult],
    finder: MarkFinder,
    *,
    again: Callable[[Share, ShareBorder], ShareResult],
    rest: Callable[[int], Iterable[Grey | LostLines]],
    seen: Callable[[OverviewRows], None] | None = None,
) -> ScanResult:
    """Put the results of all shares of a raster together.

    Args:
        results: In order from the head; each is let go of before the one after the next is asked for.
        finder: A new one of the same raster.
        again: Screens a share from what the share before ended with; asked where it began with anything else.
        rest: The raster's lines from one on. Where lost lines turn up that weren't planned, the blocks after them lie
            elsewhere, and all from a little before them is screened here.
        seen: Is given the overview's rows as they come.
    """
    if seen:
        finder.take_overview()
    border = ShareBorder(line=0, carry=Carry(), taken=np.empty(0, np.uint8))
    waiting: ShareResult | None = None
    for result in results:
        before = waiting.end if waiting else border
        checked = result
        if not result.surprise and not same_border(result.start, before):
            checked = again(result.share, before)
        if checked.surprise:
            # The last block before lost lines is longer: the share before may have cut it in two.
            return _go_on(finder, border, rest(border.line), seen)
        if waiting:
            border = waiting.end
            _add(waiting, finder, seen)
        waiting = checked
    if waiting:
        _add(waiting, finder, seen)
    return _finish(finder, seen)


def same_border(one: object, other: object) -> bool:
    """Whether two borders, or parts of them, are equal field by field and to the last bit.

    Example:
        >>> border = ShareBorder(line=0, carry=Carry(last_row=np.zeros(3, np.uint8)), taken=np.empty(0, np.uint8))
        >>> other = ShareBorder(line=0, carry=Carry(last_row=np.ones(3, np.uint8)), taken=np.empty(0, np.uint8))
        >>> same_border(border, border), same_border(border, other)
        (True, False)
    """
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return one.dtype == other.dtype and one.shape == other.shape and one.tobytes() == other.tobytes()
    if is_dataclass(one):
        return all(same_border(getattr(one, part.name), getattr(other, part.name)) for part in fields(one))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(same_border, one, other))
    # As text, so that NaN equals itself and 0.0 differs from -0.0.
    return repr(one) == repr(other)


def _joined(lost: Iterable[tuple[int, int]], lines: int) -> list[tuple[int, int]]:
    """In order, those that touch as one."""
    joined: list[tuple[int, int]] = []
    for first, stop in sorted(lost):
        if not 0 <= first < stop <= lines:
            raise ArgumentError(
                where="lost", rule=f"must lie within 0 to {lines}", value=(first, stop), mend="Leave it out."
            )
        if joined and first <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(stop, joined[-1][1])
        else:
            joined.append((first, stop))
    return joined


def _cut_spans(lines: int, frame: Frame, lost: Sequence[tuple[int, int]]) -> list[Span]:
    """The blocks in which ``MarkFinder`` screens a raster."""
    spans: list[Span] = []
    line = 0
    for first, stop in [*lost, (lines, lines)]:
        borders = [line]
        while first - borders[-1] >= frame.block_lines * 3 // 2:
            borders.append(borders[-1] + frame.block_lines)
        if first > borders[-1]:
            borders.append(first)
        spans += [Span(a, b, last=b == first, lost=False) for a, b in pairwise(borders)]
        if stop > first:
            spans.append(Span(first, stop, last=False, lost=True))
        line = stop
    return spans


class _UnplannedError(Exception):
    """Lines are lost that should be there, or the other way round."""


def _assemble(
    pieces: Iterable[Grey | LostLines], spans: Sequence[Span], frame: Frame
) -> Iterator[tuple[Span, Grey | LostLines]]:
    """Each block whole, in memory that is used again for the next; lost lines as they come."""
    source = iter(pieces)
    heights = [span.stop - span.first for span in spans if not span.lost]
    room: Grey = np.empty((max(heights, default=0), frame.columns), frame.dtype)
    rows: Grey = room[:0]
    for span in spans:
        line = span.first
        while line < span.stop:
            piece = rows if len(rows) else _next(source, span)
            if isinstance(piece, LostLines):
                if not span.lost or line + piece.lines > span.stop:
                    raise _UnplannedError(piece.why)
                yield span, piece
                line += piece.lines
                continue
            if span.lost:
                message = "lines that were lost can be read"
                raise _UnplannedError(message)
            check_rows(piece, frame)
            part = piece[: span.stop - line]
            room[line - span.first : line - span.first + len(part)] = part
            rows, line = piece[len(part) :], line + len(part)
        if not span.lost:
            yield span, room[: span.stop - span.first]


def _next(source: Iterator[Grey | LostLines], span: Span) -> Grey | LostLines:
    for piece in source:
        if isinstance(piece, LostLines) or len(piece):
            return piece
    raise ArgumentError(
        where="pieces",
        rule="must hold all lines of the share",
        value=f"fewer than {span.stop - span.first} from line {span.first} on",
        mend="Read as far as share.stop.",
    )


def _screen(
    piece: Grey | LostLines, line: int, before: Carry, given: tuple[Desk, Frame], *, last: bool
) -> tuple[BlockReport, OverviewRows, Carry]:
    if isinstance(piece, LostLines):
        return lost_block(piece.lines, piece.why, line, before, given)
    return screen_block(piece, line, before, given, last=last)


def _new_book(chips_of: Collection[str]) -> ChipBook:
    return ChipBook(asked=frozenset(chips_of))


def _border(line: int, carry: Carry, taken: NDArray[np.uint8]) -> ShareBorder:
    boxes = carry.held.written.tolist() if carry.held else []
    parts = [taken[top:end, low:high].reshape(-1) for top, end, low, high in boxes]
    return ShareBorder(line=line, carry=carry, taken=np.concatenate([np.empty(0, np.uint8), *parts]))


def _lay_taken(border: ShareBorder, taken: NDArray[np.uint8]) -> None:
    done = 0
    for top, end, low, high in border.carry.held.written.tolist() if border.carry.held else []:
        size = (end - top) * (high - low)
        taken[top:end, low:high] = border.taken[done : done + size].reshape(end - top, high - low)
        done += size


def _own(value: Any) -> Any:
    """A copy whose arrays can be written to: what came from another process may be read-only."""
    if isinstance(value, np.ndarray):
        return np.array(value, order="C")
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{part.name: _own(getattr(value, part.name)) for part in fields(value)})
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return type(value)(*map(_own, value))
    return value


def _add(result: ShareResult, finder: MarkFinder, seen: Callable[[OverviewRows], None] | None) -> None:
    for report, rows in zip(result.reports, result.overview, strict=True):
        finder._add(report, rows)  # noqa: SLF001  -- what it does with a block of its own
    _merge_chips(result.chips, finder._desk.chips, finder._frame.settings.chips_per_kind)  # noqa: SLF001
    _hand_over(finder, seen)


def _merge_chips(more: ChipBook, into: ChipBook, most: int) -> None:
    """The most severe of both: they are among those of each."""
    for kind, chips in more.by_kind.items():
        kept = into.by_kind.setdefault(kind, [])
        kept.extend(chips)
        kept.sort(key=lambda item: (-item[0], item[1].mark))
        del kept[most:]
    into.wanted.update(more.wanted)


def _go_on(
    finder: MarkFinder,
    border: ShareBorder,
    pieces: Iterable[Grey | LostLines],
    seen: Callable[[OverviewRows], None] | None,
) -> ScanResult:
    """Screen what is left from a border on."""
    finder._carry = _own(border.carry)  # noqa: SLF001
    _lay_taken(border, finder._desk.taken)  # noqa: SLF001
    for piece in pieces:
        if isinstance(piece, LostLines):
            finder.lose(piece)
        else:
            finder.feed(piece)
        _hand_over(finder, seen)
    return _finish(finder, seen)


def _finish(finder: MarkFinder, seen: Callable[[OverviewRows], None] | None) -> ScanResult:
    result = finder.finish()
    _hand_over(finder, seen)
    return result


def _hand_over(finder: MarkFinder, seen: Callable[[OverviewRows], None] | None) -> None:
    if seen and (rows := finder.take_overview()):
        seen(rows)
