"""Text of a bare file or of standard input, and the cells of a table in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from wideroll.errors import InputError
from wideroll.readers.csv_tables import split_lines

__all__ = ["STANDARD_INPUT", "CellTable", "read_cells", "read_pasted", "read_whole"]

STANDARD_INPUT: Final = Path("standard input")
_MOST_BYTES: Final = 4 * 1024 * 1024
"""A thousand strips of three records take an eighth of it."""
_LONGEST_NAME: Final = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTable:
    """A table as text: the names of its columns as they are written, and its lines with their numbers."""

    path: Path
    header: str
    """Where the names come from, for an error: the line, or the option."""
    names: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]


def read_whole(path: Path) -> str:
    """The text of a file of the user's own; its size is bounded, for it is read as a whole.

    Raises:
        InputError: when the file isn't there, can't be read, is too large, or isn't UTF-8 text.
    """
    try:
        with path.open("rb") as stream:
            return read_pasted(stream, path)
    except FileNotFoundError as error:
        raise InputError(
            where=str(path), rule="the file must be there", mend="Check the path, or put the file in place."
        ) from error
    except OSError as error:
        raise InputError(
            where=str(path),
            rule="the file must be readable",
            value=error.strerror,
            mend="Check the path and its rights.",
        ) from error


def read_pasted(stream: BinaryIO, path: Path = STANDARD_INPUT) -> str:
    """The text of a stream, with plain line ends and without a byte order mark.

    Raises:
        InputError: when there is too much of it, or it isn't UTF-8 text.
    """
    data = stream.read(_MOST_BYTES + 1)
    if len(data) > _MOST_BYTES:
        raise InputError(
            where=str(path), rule=f"must be at most {_MOST_BYTES // 2**20} MiB", mend="Give strips in several files."
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            where=f"{path}, line {line}, byte {error.start}",
            rule="the text must be UTF-8",
            value=data[error.start : error.start + 1],
            mend="Save it again as UTF-8.",
        ) from error
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "\0" in text:
        raise InputError(
            where=f"{path}, line {text.count(chr(10), 0, text.index(chr(0))) + 1}",
            rule="the text must be UTF-8 without NUL bytes",
            mend="Save it again as UTF-8 text.",
        )
    return text


def read_cells(path: Path, text: str, *, columns: Sequence[str] = ()) -> CellTable:
    """The cells of a table separated by semicolon, tab or comma.

    Args:
        path: of the file, for errors.
        text: of the table; its first line names the columns unless ``columns`` does.
        columns: names of the columns of a table that has no header.

    Raises:
        InputError: when names are missing, given twice or can't be read, or a line has more or fewer cells than names.
    """
    delimiter = next((sign for sign in "\t;" if sign in text), ",") if columns else ""
    delimiter, split = split_lines(path, text, delimiter=delimiter)
    lines = [(number, tuple(cells)) for number, cells in split if any(cells)]
    names, header = tuple(columns), "option --columns"
    if columns and lines and {cell.lower() for cell in lines[0][1]} & {name.lower() for name in columns}:
        raise InputError(
            where=f"{path}, line {lines[0][0]}",
            rule="a table whose columns are named by --columns has no header",
            value=lines[0][1][0],
            mend="Leave out --columns, or the header.",
        )
    if not columns and lines:
        number, names = lines.pop(0)
        header = f"line {number}"
    _check_names(path, header, names)
    if not lines:
        raise InputError(where=str(path), rule="the table must have rows below its header", mend="Add them.")
    for number, cells in lines:
        if len(cells) != len(names):
            where = f"{path}, line {number}"
            raise _wrong_count(where, names, cells, delimiter)
    return CellTable(path=path, header=header, names=names, lines=tuple(lines))


def _check_names(path: Path, header: str, names: Sequence[str]) -> None:
    where = f"{path}, {header}"
    if all(name[:1] in "0123456789.,+-−" for name in names):
        raise InputError(
            where=where,
            rule="the first line must name the columns",
            value=", ".join(names),
            mend="Add a header like step, red, green, blue, or name them with --columns step,red,green,blue.",
        )
    seen: set[str] = set()
    for place, name in enumerate(names, 1):
        if not name or not name.isprintable() or len(name) > _LONGEST_NAME:
            raise InputError(
                where=f"{where}, column {place}",
                rule=f"a column has a name of 1 to {_LONGEST_NAME} printable characters",
                value=name,
                mend="Name it, or take it out.",
            )
        if name.lower() in seen:
            raise InputError(where=where, rule="each column once", value=name, mend="Remove or rename the column.")
        seen.add(name.lower())


def _wrong_count(where: str, names: Sequence[str], cells: Sequence[str], delimiter: str) -> InputError:
    rule = f"must have {len(names)} cells like the header"
    if delimiter == "," and len(cells) > len(names):
        return InputError(
            where=where,
            rule=f"{rule}; where commas separate cells, a decimal comma can't be told from a separator",
            value=f"{len(cells)} cells",
            mend="Save the table with semicolons or tabs, or put numbers with a comma in quotes.",
        )
    return InputError(where=where, rule=rule, value=f"{len(cells)} cells", mend="Check the separators.")
