"""The parts of a sheet that is set as PDF: plain values, which the template in ``typst`` lays out.

Nothing in them is markup: the template takes every text as text.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final, TypeAlias
from xml.etree import ElementTree as ET

from wideroll.release.model import Verdict
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.page import PageFigure
from wideroll.report.pdf.letters import shown, with_breaks
from wideroll.report.theme import VERDICTS

__all__ = [
    "Part",
    "caution",
    "columned",
    "do",
    "heading",
    "lines_to_sign",
    "pairs",
    "picture",
    "pictures",
    "steps",
    "table",
    "verdict",
    "words",
]

Part: TypeAlias = dict[str, Any]

_SVG: Final = "{http://www.w3.org/2000/svg}"
_FAMILY: Final = re.compile(r"font-family: [^\"]*sans-serif")
_FAMILY_HERE: Final = "font-family: 'DejaVu Sans'"
_SHORT_ROWS: Final = 10
_SHORT_TEXT: Final = 2600
_NARROW: Final = 13
_KEPT: Final = 30


def heading(text: str, *, level: int = 1, page: bool = False) -> Part:
    """A heading; with ``page`` it begins a new one."""
    return {"is": "heading", "text": _text(text), "level": level, "page": page}


def words(text: str, *, size: float = 0.0, strong: bool = False, muted: bool = False, leads: bool = False) -> Part:
    """A paragraph.

    Args:
        text: of it.
        size: in points; 0 is that of the sheet.
        strong: in bold.
        muted: in grey, for what is read last.
        leads: to what comes next, and stands on one page with it.
    """
    return {"is": "words", "text": _text(text), "size": size, "strong": strong, "muted": muted, "leads": leads}


def caution(text: str) -> Part:
    """What can hurt, in a frame, with the word before it."""
    return {"is": "caution", "text": _text(text)}


def do(text: str, *, size: float = 0.0) -> Part:
    """What is to be done, in a frame; ``size`` in points, 0 that of the sheet."""
    return {"is": "do", "text": _text(text), "size": size}


def verdict(one: Verdict, word: str, why: str) -> Part:
    """The verdict in large letters: sign, word and frame say it, the colour only besides."""
    style = VERDICTS[one]
    return {
        "is": "verdict",
        "sign": style.sign,
        "word": _text(word),
        "why": _text(why),
        "colour": style.colour,
        "tint": style.tint,
    }


def pairs(facts: Iterable[tuple[str, str]], *, mono: Iterable[str] = ()) -> Part:
    """Names with their values; those named in ``mono`` are digests, set letter by letter of one width."""
    digests = frozenset(mono)
    return {
        "is": "pairs",
        "pairs": [
            {"name": _text(name), "value": _text(value, breaks=name not in digests), "mono": name in digests}
            for name, value in facts
        ],
    }


def steps(texts: Iterable[str]) -> Part:
    """What to do, one after the other, numbered."""
    return {"is": "steps", "steps": [_text(one) for one in texts]}


def lines_to_sign() -> Part:
    """Lines for a name, a date and a signature in ink."""
    return {"is": "lines", "names": ["Name", "Date", "Signature"]}


def columned(parts: Iterable[Part], *, count: int) -> Part:
    """Narrow tables that run down one column of the page after the other."""
    return {"is": "columned", "parts": [part | {"fine": True} for part in parts], "count": count}


def table(grid: Grid) -> Part:
    """A table whose head stands again on each page; without rows, what there is to say instead."""
    if not grid.rows:
        return words(f"{grid.caption}. {grid.empty}")
    left_out = f" ({grid.left_out} more are not in this table)" if grid.left_out else ""
    columns = [_column(grid, rank, column) for rank, column in enumerate(grid.columns)]
    letters = sum(len(cell.text) + len(cell.note) for row in grid.rows for cell in row)
    return {
        "is": "table",
        "caption": _text(grid.caption + left_out),
        "fine": False,
        "short": len(grid.rows) <= _SHORT_ROWS and letters <= _SHORT_TEXT,
        "columns": columns,
        "rows": [[_cell(cell) for cell in row] for row in grid.aligned()],
    }


def picture(figure: PageFigure) -> Part:
    """A figure with its caption; what it shows in words goes with it for those who can't see it."""
    root = ET.fromstring(figure.svg)  # noqa: S314  (drawn here)
    said = [(root.findtext(f"{_SVG}{name}") or "").strip().rstrip(".") for name in ("title", "desc")]
    _, _, width, height = (float(value) for value in root.attrib["viewBox"].split())
    return {
        "is": "picture",
        "svg": shown(_FAMILY.sub(_FAMILY_HERE, figure.svg)),
        "alt": _text(". ".join(filter(None, said)) or figure.caption),
        "aspect": width / height,
        "caption": _text(figure.caption),
    }


def pictures(figures: Sequence[PageFigure]) -> Part:
    """Figures of half the width, two abreast."""
    return {"is": "pictures", "pictures": [picture(one) for one in figures]}


def _column(grid: Grid, rank: int, column: Column) -> Part:
    """Columns of numbers and of short words are as wide as these; the others share the rest by how much they say."""
    cells = [row[rank] for row in grid.rows]
    longest = max(len(cell.text) for cell in cells)
    most = max(longest, *(len(cell.note) for cell in cells))
    keep = column.number or ((column.keep or column.keep_on_page) and longest <= _KEPT)
    fixed = column.number or (keep and most <= max(longest, _NARROW)) or most <= _NARROW
    said = sum(len(cell.text) + len(cell.note) for cell in cells) / len(cells)
    return {
        "head": _text(column.head),
        "number": column.number,
        "keep": keep,
        "weight": 0 if fixed else round(max(said, len(column.head), _NARROW) ** 0.5, 2),
    }


def _cell(cell: Cell) -> Part:
    return {
        "text": _text(cell.text),
        "note": _text(cell.note),
        "strong": bool(cell.tone),
        "mono": False,
    }


def _text(text: str, *, breaks: bool = True) -> str:
    plain = shown(text)
    return with_breaks(plain) if breaks else plain
