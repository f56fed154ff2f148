"""Which segments a scan has by now, in order from the head."""

import re
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.readers.raster import RASTER_ENDINGS
from wideroll.readers.scan_file import ScanFile, SegmentTable

__all__ = ["in_order", "names_there", "segments_there"]

_NUMBER: Final = re.compile(r"(\d+)")


def segments_there(folder: Path, file: ScanFile) -> tuple[SegmentTable, ...]:
    """The segments that scan.toml lists or, where it takes them as they come, those in the folder in order of name.

    Raises:
        InputError: when they come and none is there.
    """
    if file.segments:
        return file.segments
    found = names_there(folder, file)
    if not found:
        raise InputError(
            where=str(folder),
            rule="a scan has at least one segment",
            value=f"none named {file.segment_names}" if file.segment_names else "none",
            mend="Wait until the scanner has written one; docs/reference/files.md says how they are named.",
        )
    return tuple(SegmentTable(file=name) for name in found)


def names_there(folder: Path, file: ScanFile) -> tuple[str, ...]:
    """Names of raster files in the folder that fit, in order; those that begin with a dot aren't ready."""
    pattern = file.segment_names or "*"
    names = (path.name for path in folder.iterdir() if path.suffix.lower() in RASTER_ENDINGS)
    return tuple(sorted((n for n in names if not n.startswith(".") and fnmatchcase(n, pattern)), key=in_order))


def in_order(name: str) -> tuple[tuple[tuple[int, str], ...], str]:
    """What names are sorted by: numbers in them count as numbers.

    Example:
        >>> sorted(["s-10.tif", "s-9.tif"], key=in_order)
        ['s-9.tif', 's-10.tif']
    """
    parts = _NUMBER.split(name)
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts), name
