"""Small crops around the most severe marks of each kind, and around those that were asked for."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Polarity, mark_id
from wideroll.scan import linking
from wideroll.scan.frame import Frame
from wideroll.scan.growth import BRIGHT, Window
from wideroll.scan.marks import name_kinds, place_marks
from wideroll.scan.model import Chip

__all__ = ["ChipBook", "keep_chips"]

_MARGIN: Final = 16
_MOST_SIDE: Final = 256


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChipBook:
    """The chips kept so far: of each kind the most severe, first the greatest; and those asked for."""

    asked: frozenset[str]
    by_kind: dict[int, list[tuple[float, Chip]]] = field(default_factory=dict)
    wanted: dict[str, Chip] = field(default_factory=dict)

    def chips(self) -> tuple[Chip, ...]:
        """Each chip once, in order of line and column."""
        found = {chip.mark: chip for kept in self.by_kind.values() for _, chip in kept} | self.wanted
        return tuple(sorted(found.values(), key=lambda chip: (chip.first_line, chip.first_column, chip.mark)))


def keep_chips(book: ChipBook, measures: NDArray[np.float64], window: Window, first_line: int, frame: Frame) -> None:
    """Crop the marks that are more severe than those kept, while their lines are at hand.

    A mark is the more severe the greater its contrast summed over its pixels.

    Args:
        book: Is added to.
        measures: Marks that ended, lines counted from the head.
        window: The lines.
        first_line: The window's first line, counted from the head.
        frame: The raster.
    """
    most = frame.settings.chips_per_kind
    if not len(measures) or (most == 0 and not book.asked):
        return
    severity, kinds = measures[:, linking.SUM_CONTRAST], name_kinds(measures, frame)
    ids = _ids(measures, frame) if book.asked else [""] * len(measures)
    for kind in np.unique(kinds).tolist() if most else ():
        kept = book.by_kind.setdefault(kind, [])
        least = kept[-1][0] if len(kept) >= most else -np.inf
        # Equals stay in until their names decide, so that it doesn't matter which came first.
        chosen = np.flatnonzero((kinds == kind) & (severity >= least))
        cut = np.sort(severity[chosen])[-most] if len(chosen) > most else -np.inf
        for k in chosen[severity[chosen] >= cut].tolist():
            chip = _crop(measures[k], window, first_line, frame)
            kept.append((float(severity[k]), chip))
        kept.sort(key=lambda item: (-item[0], item[1].mark))
        del kept[most:]
    for k in (k for k, name in enumerate(ids) if name in book.asked):
        book.wanted[ids[k]] = _crop(measures[k], window, first_line, frame)


def _ids(measures: NDArray[np.float64], frame: Frame) -> list[str]:
    along, across = place_marks(measures, frame)
    return [
        mark_id(
            source=frame.settings.source,
            along_m=s,
            across_mm=x,
            polarity=Polarity.BRIGHT.value if code == BRIGHT else Polarity.DARK.value,
        )
        for s, x, code in zip(along.tolist(), across.tolist(), measures[:, linking.CODE].tolist(), strict=True)
    ]


def _crop(m: NDArray[np.float64], window: Window, first_line: int, frame: Frame) -> Chip:
    held = len(window.tail.scale)
    left = window.tail.left if m[linking.LINE] - first_line < held else window.block.left
    lines = held + len(window.block.scale)
    top, end = _span((m[linking.TOP] - first_line, m[linking.END] - first_line), lines)
    low, high = _span((m[linking.LOW] + left, m[linking.HIGH] + left), frame.columns)
    parts: Sequence[NDArray[np.generic]] = (
        window.tail.rows[min(top, held) : min(end, held), low:high],
        window.block.rows[max(top - held, 0) : max(end - held, 0), low:high],
    )
    pixels = np.concatenate(parts)
    return Chip(mark=_ids(m[None], frame)[0], pixels=pixels, first_line=first_line + top, first_column=low)


def _span(reach: tuple[float, float], most: int) -> tuple[int, int]:
    """With its margin, cut about its middle where it is long, and inside of what is there."""
    start, end = round(reach[0]) - _MARGIN, round(reach[1]) + _MARGIN
    if end - start > _MOST_SIDE:
        middle = min(max((start + end) // 2, _MOST_SIDE // 2), max(most - _MOST_SIDE // 2, 0))
        start, end = middle - _MOST_SIDE // 2, middle + _MOST_SIDE // 2
    return max(start, 0), max(min(end, most), max(start, 0) + 1)
