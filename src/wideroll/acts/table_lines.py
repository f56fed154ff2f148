"""Lines added below a table that people keep by hand: what stands there stays as it was written."""

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Final

__all__ = ["with_rows"]

_BOM: Final = "\ufeff"
_SEPARATORS: Final = ";\t,"


def with_rows(text: str, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> str:
    r"""The table with further lines; columns that it lacks are added at the right where a line needs them.

    Args:
        text: of the table as it stands; empty where there is none yet.
        columns: of a new table, and the order of those that are added.
        rows: cells by the name of their column; empty ones may be left out.

    Example:
        >>> with_rows(
        ...     "Sheet;size\r\n# a remark\r\n1;0,5 mm\r\n", ["sheet", "size", "note"], [{"sheet": "2", "note": "x"}]
        ... )
        'Sheet;size;note\r\n# a remark\r\n1;0,5 mm;\r\n2;;x\r\n'
    """
    bom, plain = (_BOM, text[1:]) if text.startswith(_BOM) else ("", text)
    end = "\r\n" if "\r\n" in plain else "\n"
    lines = plain.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    heads = [number for number, line in enumerate(lines) if _holds_data(line)]
    if not heads:
        separator, names, added = ",", list(columns), []
        lines.append(_line(names, separator))
    else:
        separator = max(_SEPARATORS, key=lines[heads[0]].count)
        names = _cells(lines[heads[0]], separator)
        added = [name for name in columns if name not in names and any(row.get(name) for row in rows)]
        lines = [_widened(line, added, separator, head=number == heads[0]) for number, line in enumerate(lines)]
    lines += [_line([row.get(name, "") for name in [*names, *added]], separator) for row in rows]
    return bom + end.join(lines) + end


def _holds_data(line: str) -> bool:
    return bool(line.strip()) and not line.startswith("#")


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().lower() for cell in next(csv.reader([line], delimiter=separator))]


def _widened(line: str, added: Sequence[str], separator: str, *, head: bool) -> str:
    if not added or not _holds_data(line):
        return line
    return separator.join([line, *(added if head else [""] * len(added))])


def _line(cells: Sequence[str], separator: str) -> str:
    out = io.StringIO()
    # a line that begins with # would be a remark
    csv.writer(
        out,
        delimiter=separator,
        lineterminator="",
        quoting=csv.QUOTE_ALL if cells[0].startswith("#") else csv.QUOTE_MINIMAL,
    ).writerow(cells)
    return out.getvalue()
