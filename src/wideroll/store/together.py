"""Several files replaced as one: after a crash what was begun is finished, not left half done."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.store.files import json_bytes, read_json, write_whole

__all__ = ["finish_together", "write_together"]

_SCHEMA: Final = "wideroll/together/1"


def write_together(root: Path, journal: Path, files: Mapping[str, str]) -> None:
    """Replace several text files in their order; all of them lie in the journal before the first is touched.

    Args:
        root: the folder that the files' names start from.
        journal: file that holds them meanwhile; gone when all is done.
        files: new text of each, by its path below ``root``.

    Raises:
        InputError: when the disk refuses; ``finish_together`` goes on where it broke off, unless nothing was begun.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     write_together(Path(folder), Path(folder, "journal.json"), {"a.csv": "1", "b/c.csv": "2"})
        ...     sorted(path.name for path in Path(folder).rglob("*.*"))
        ['a.csv', 'c.csv']
    """
    before = {name: _text(root / name) for name in files}
    said = [{"name": name, "before": before[name], "after": text} for name, text in files.items()]
    write_whole(journal, json_bytes({"schema": _SCHEMA, "files": said}))
    finish_together(root, journal)


def finish_together(root: Path, journal: Path) -> bool:
    """Finish what was begun before; whether there was anything.

    Args:
        root: the folder that the files' names start from.
        journal: as of ``write_together``.

    Raises:
        InputError: when somebody changed one of the files since, so that neither text may be lost.
    """
    if not journal.is_file():
        return False
    for file in read_json(journal)["files"]:
        path = root / file["name"]
        there = _text(path)
        if there == file["after"]:
            continue
        if there != file["before"]:
            raise InputError(
                where=str(path),
                rule="a file that was half written together with others must not change before they are finished",
                mend=f"See what {journal} was to write, put it right by hand, and take that file away.",
            )
        write_whole(path, file["after"].encode())
    journal.unlink(missing_ok=True)
    return True


def _text(path: Path) -> str | None:
    """What a file holds to the byte; None where there is none."""
    try:
        return path.read_bytes().decode("utf-8", "replace")
    except FileNotFoundError:
        return None
