"""Whether a raster file is there to its last byte."""

import os
from pathlib import Path
from typing import Final

from wideroll.readers.raster_file import RasterFile
from wideroll.readers.raster_raw import RawFile
from wideroll.readers.toml_files import read_toml

__all__ = ["file_stamp", "is_whole"]

_PNG_END: Final = b"\0\0\0\0IEND\xaeB`\x82"


def file_stamp(path: Path) -> tuple[int, int] | None:
    """Bytes and time of the last change, of a folder all its files' together; None where nothing is there."""
    try:
        if not path.is_dir():
            said = path.stat()
            return said.st_size, said.st_mtime_ns
        found = [Path(folder, name).stat() for folder, _, names in os.walk(path) for name in names]
    except OSError:
        return None
    return sum(one.st_size for one in found), max((one.st_mtime_ns for one in found), default=0)


def is_whole(file: RasterFile, *, followed: bool) -> bool:
    """Whether nothing is missing that the file promises.

    A PNG ends with a chunk of its own. A raw file that doesn't say how many lines it has is whole when another follows.
    """
    if file.known_lost:
        return False
    ending = file.path.suffix.lower()
    if ending == ".png":
        return file.path.read_bytes()[-len(_PNG_END) :] == _PNG_END
    if ending == ".raw":
        return followed or read_toml(file.path.with_suffix(".toml"), RawFile).lines is not None
    return True
