"""A table of texts that the terminal and the sheet both show: one content, two looks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rich import box
from rich.table import Table
from rich.text import Text

from wideroll.report.quantities import align_points

__all__ = ["Cell", "Column", "Grid", "abreast", "printable", "rich_grid"]

_FIGURE_SPACE: Final = "\u2007"
_POINT_SPACE: Final = "\u2008"
_SPACES: Final = frozenset("\n\u00a0\u2007\u2008\u2009\u202f")
"""Those that numbers are set with, and the end of a line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column's head with the unit in it; numbers stand with their points in line and aren't broken over lines."""

    head: str
    number: bool = False
    keep: bool = False
    """Never break."""
    keep_on_page: bool = False
    """Never break on a page, where there is more room than in a terminal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A text, a smaller note beneath it, and a tone (the css class of a verdict, or ``strong``)."""

    text: str
    note: str = ""
    tone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A captioned table.

    ``empty`` is what to say when there are no rows; ``left_out`` counts rows not shown; ``foot`` are lines that stand
    beneath the table in a terminal.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...] = ()
    empty: str = "Nothing to show."
    left_out: int = 0
    foot: tuple[str, ...] = ()

    def aligned(self) -> tuple[tuple[Cell, ...], ...]:
        """The rows with numbers padded by figure spaces, so that points stand in line in proportional type too."""
        return self.padded(_FIGURE_SPACE, _POINT_SPACE)

    def padded(self, pad: str, pad_point: str) -> tuple[tuple[Cell, ...], ...]:
        """The rows with the texts of number columns filled up with ``pad`` to one length."""
        columns = [
            align_points([row[place].text for row in self.rows], pad=pad, pad_point=pad_point)
            if column.number
            else None
            for place, column in enumerate(self.columns)
        ]
        return tuple(
            tuple(
                cell if (texts := columns[place]) is None else Cell(text=texts[rank], note=cell.note, tone=cell.tone)
                for place, cell in enumerate(row)
            )
            for rank, row in enumerate(self.rows)
        )


def abreast(caption: str, head: Sequence[Column], rows: Sequence[tuple[Cell, ...]], *, blocks: int) -> Grid:
    """A grid of short rows in several blocks side by side, to be read down one block after the other.

    Example:
        >>> grid = abreast("letters", (Column(head="it"),), [(Cell(text=one),) for one in "abc"], blocks=2)
        >>> [[cell.text for cell in row] for row in grid.rows]
        [['a', 'c'], ['b', '']]
    """
    deep = max(1, math.ceil(len(rows) / blocks))
    parts = [rows[start : start + deep] for start in range(0, len(rows), deep)]
    blank = tuple(Cell(text="") for _ in head)
    return Grid(
        caption=caption,
        columns=tuple(head) * len(parts),
        rows=tuple(
            tuple(cell for part in parts for cell in (part[row] if row < len(part) else blank))
            for row in range(deep if parts else 0)
        ),
    )


def printable(text: str) -> str:
    r"""The text with control characters made visible, so that nobody's note can steer a terminal.

    Example:
        >>> printable("dirt \x1b[2J")
        'dirt �[2J'
    """
    return "".join(letter if letter.isprintable() or letter in _SPACES else "�" for letter in text.replace("\t", " "))


def rich_grid(grid: Grid) -> Table:
    """The grid for a terminal; words and signs carry the meaning, so it reads the same without colour."""
    title = Text(printable(grid.caption), style="bold")
    if not grid.rows:
        bare = Table(box=None, show_header=False, pad_edge=False)
        bare.add_row(title)
        bare.add_row(Text(printable(grid.empty)))
        return bare
    table = Table(
        title=title,
        title_justify="left",
        caption=_foot(grid),
        caption_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for column in grid.columns:
        table.add_column(
            Text(column.head),
            justify="left",
            no_wrap=column.number or column.keep,
            overflow="fold",
            vertical="top",
        )
    for row in grid.padded(" ", " "):
        table.add_row(*(_rich_cell(cell, column) for cell, column in zip(row, grid.columns, strict=True)))
    return table


def _foot(grid: Grid) -> Text | None:
    lines = [f"… and {grid.left_out} more"] if grid.left_out else []
    return Text(printable("\n".join([*lines, *grid.foot])), style="not italic") if lines or grid.foot else None


def _rich_cell(cell: Cell, column: Column) -> Text:
    # the head sets the least width; numbers stand at its right
    shown = cell.text.rjust(len(column.head)) if column.number else cell.text
    lines: Sequence[tuple[str, str]] = [(printable(shown), "bold" if cell.tone else "")]
    if cell.note:
        lines = [*lines, ("\n" + printable(cell.note), "dim")]
    text = Text.assemble(*lines)
    text.no_wrap = column.number or column.keep
    return text
