"""The marks of a segment as a table beside the picture, and as a file."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from wideroll.server.viewer.asked import Asked
from wideroll.server.viewer.marks import ROWS, chosen_marks

if TYPE_CHECKING:
    from wideroll.server.viewer.data import RollView

__all__ = ["Head", "MarkTable", "csv_of", "mark_table", "mark_words"]

_HEADS: Final = (
    ("along_m", "along, m", True),
    ("across_mm", "across, mm", True),
    ("kind", "kind", False),
    ("size_mm", "length × width, mm", True),
    ("contrast", "contrast, %", True),
    ("snr", "× noise", True),
    ("source", "source", False),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A column's head: its words, whether it holds numbers, how it is sorted now, and the address that sorts by it."""

    words: str
    number: bool
    sorted: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkTable:
    """A page of the table."""

    heads: tuple[Head, ...]
    rows: tuple[dict[str, Any], ...]
    found: int
    page: int
    pages: int
    first: int
    """Number of its first row among all, from 1."""


def mark_table(view: "RollView", asked: Asked) -> MarkTable:
    """The page that is asked for; the last where there are fewer.

    Raises:
        InputError: as ``chosen_marks``.
    """
    found = chosen_marks(view, asked)
    pages = max(1, -(-found.height // ROWS))
    page = min(asked.page, pages)
    shown = found.slice((page - 1) * ROWS, ROWS)
    return MarkTable(
        heads=tuple(_head(name, words, asked, number=number) for name, words, number in _HEADS),
        rows=tuple({**row, "words": mark_words(row)} for row in shown.iter_rows(named=True)),
        found=found.height,
        page=page,
        pages=pages,
        first=(page - 1) * ROWS + 1,
    )


def _head(name: str, words: str, asked: Asked, *, number: bool) -> Head:
    column, down = asked.sort.removeprefix("-"), asked.sort.startswith("-")
    mine = column == name
    now = ("descending" if down else "ascending") if mine else "none"
    # What is large is looked for first, but places from the head on.
    other = f"-{name}" if (not down if mine else name in {"size_mm", "contrast", "snr"}) else name
    return Head(words=words, number=number, sorted=now, address=asked.address(sort=other, page=1))


def mark_words(row: dict[str, Any]) -> str:
    """A mark in words, for those who don't see it."""
    sign = "−" if row["polarity"] == "dark" else "+"
    return (
        f"{row['kind']}, {row['polarity']}, {row['length_mm']:.2f} × {row['width_mm']:.2f} mm, "
        f"contrast {sign}{row['contrast'] * 100:.1f} %, "
        f"at {row['along_m']:.3f} m along and {row['across_mm']:.1f} mm across"
    )


def csv_of(view: "RollView", asked: Asked) -> bytes:
    """All marks that are asked for, with the columns of a marks table, in the order asked for.

    Raises:
        InputError: as ``chosen_marks``.
    """
    return chosen_marks(view, asked).drop("size_mm").write_csv().encode()
