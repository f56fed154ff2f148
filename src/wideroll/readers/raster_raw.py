"""Bare pixels in a ``.raw`` file, described by a ``.toml`` file of the same name beside it."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from wideroll.errors import InputError
from wideroll.readers.fields import FileModel
from wideroll.readers.raster_file import DEPTHS, RasterFile, broken, check_channels
from wideroll.readers.raster_stored import Run, StoredLines
from wideroll.readers.toml_files import read_toml

__all__ = ["RawFile", "open_raw"]


class RawFile(FileModel):
    """name.toml beside name.raw."""

    columns: Annotated[int, Field(ge=1, le=10**6, strict=True)]
    dtype: Literal["uint8", "uint16"]
    byte_order: Literal["little", "big"] = "little"
    offset_bytes: Annotated[int, Field(ge=0, le=2**40, strict=True)] = 0
    channels: Annotated[int, Field(ge=1, le=16, strict=True)] = 1
    lines: Annotated[int, Field(ge=1, le=10**9, strict=True)] | None = None


def open_raw(path: Path, channels: Sequence[str] = ()) -> RasterFile:
    """Look at a raw file without reading its pixels.

    Without ``lines`` in the sidecar it has as many as it holds; one that is cut off in its middle counts, and is lost.

    Raises:
        InputError: when the sidecar isn't there or has a fault, or the raw file holds no pixels.
    """
    sidecar = path.with_suffix(".toml")
    if not sidecar.is_file():
        raise InputError(
            where=str(sidecar),
            rule=f"{path.name} needs this file beside it",
            mend='Write one like: columns = 13720, dtype = "uint8", each on a line of its own.',
        )
    said = read_toml(sidecar, RawFile)
    check_channels(path, said.channels, channels)
    depth, size = DEPTHS[said.dtype], path.stat().st_size
    pixel_bytes = depth.itemsize * said.channels
    lines = said.lines or -(-(size - said.offset_bytes) // (said.columns * pixel_bytes))
    if lines < 1:
        raise broken(path, f"{size} bytes, of which {said.offset_bytes} are left out by offset_bytes")
    pixels = StoredLines(
        path=path,
        runs=(Run(first=0, lines=lines, offsets=(said.offset_bytes,)),),
        columns=said.columns,
        channels=said.channels,
        stored=depth.newbyteorder("<" if said.byte_order == "little" else ">"),
        size=size,
    )
    return RasterFile(path=path, lines=lines, columns=said.columns, channels=said.channels, dtype=depth, pixels=pixels)
