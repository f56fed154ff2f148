"""Tables and figures as plain values: kept on disk once drawn, and put on a page without drawing them again."""

import csv
import io
import re
from typing import Any

from wideroll.report.grid import Grid
from wideroll.report.page import PageFigure

__all__ = ["figure_json", "grid_csv", "grid_json", "svg_size"]


def grid_json(grid: Grid) -> dict[str, Any]:
    """A table with the numbers of a column filled up to one length, as pages show it.

    Returns:
        ``caption``, ``columns`` (``head``, ``number``, ``keep``), ``rows`` of cells (``text``, ``note``, ``tone``,
        ``link``, an address or empty), ``empty``, ``left_out`` and ``foot``.

    Example:
        >>> from wideroll.report.grid import Cell, Column
        >>> grid = Grid(caption="Widths", columns=(Column(head="mm", number=True),), rows=((Cell(text="35"),),))
        >>> grid_json(grid)["rows"]
        [[{'text': '35', 'note': '', 'tone': '', 'link': ''}]]
    """
    return {
        "caption": grid.caption,
        "columns": [
            {"head": one.head, "number": one.number, "keep": one.keep or one.keep_on_page} for one in grid.columns
        ],
        "rows": [
            [{"text": cell.text, "note": cell.note, "tone": cell.tone, "link": ""} for cell in row]
            for row in grid.aligned()
        ],
        "empty": grid.empty,
        "left_out": grid.left_out,
        "foot": list(grid.foot),
    }


def figure_json(figure: PageFigure, name: str, title: str) -> dict[str, Any]:
    """A figure without its picture, which is kept beside it as ``name``.

    Args:
        figure: drawn.
        name: of its picture's file, such as ``map.svg``.
        title: of its data, such as ``marks and streaks``.
    """
    width, height = svg_size(figure.svg)
    return {
        "file": name,
        "title": title,
        "caption": figure.caption,
        "width": width,
        "height": height,
        "data": [grid_json(grid) for grid in figure.data],
    }


def grid_csv(grid: dict[str, Any]) -> str:
    """The table of ``grid_json`` as CSV: heads with units first, then texts as they stand, notes in brackets."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_safe(column["head"]) for column in grid["columns"]])
    for row in grid["rows"]:
        writer.writerow([_safe(" ".join(filter(None, (cell["text"].strip(), _noted(cell["note"]))))) for cell in row])
    return out.getvalue()


def _noted(note: str) -> str:
    return f"({note})" if note else ""


def _safe(text: str) -> str:
    """Text that a spreadsheet won't take for a formula; numbers stay numbers."""
    plain = re.sub(r"[\u2007\u2008\u202f\u00a0]", "", text).replace("\u2212", "-")
    try:
        float(plain)
    except ValueError:
        return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
    return plain


def svg_size(svg: str) -> tuple[int, int]:
    """Width and height of a drawing in CSS pixels, from its view box.

    Example:
        >>> svg_size('<svg viewBox="0 0 518.4 200.0">')
        (691, 267)
    """
    found = re.search(r'viewBox="[-\d.]+ [-\d.]+ ([\d.]+) ([\d.]+)"', svg)
    return (round(float(found[1]) * 4.0 / 3.0), round(float(found[2]) * 4.0 / 3.0)) if found else (691, 400)
