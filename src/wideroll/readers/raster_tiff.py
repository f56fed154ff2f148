"""TIFF and BigTIFF, in strips or tiles, plain or compressed, one or several channels."""

import logging
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from io import FileIO
from pathlib import Path
from typing import Any, Final

import numpy as np
import tifffile
from numpy.typing import NDArray

from wideroll.errors import InputError
from wideroll.readers.raster_bands import BandLostError, Bands, check_band_size
from wideroll.readers.raster_file import (
    DEPTHS,
    GREY_MEND,
    Lost,
    Pixels,
    RasterFile,
    Why,
    broken,
    check_channels,
    reading,
    too_large,
)
from wideroll.readers.raster_stored import NOWHERE, StoredLines, join_runs
from wideroll.scan import LostLines
from wideroll.workflow import Grey

__all__ = ["TIFF_ENDINGS", "open_tiff"]

TIFF_ENDINGS: Final = (".tif", ".tiff", ".btf")
_PHOTOMETRIC_TAG: Final = 262
_ORIENTATION_TAG: Final = 274
_UPRIGHT: Final = 1
_SEPARATE: Final = 2
_BITS: Final = {8, 16}
_COMPRESSIONS: Final = {
    tifffile.COMPRESSION.NONE,
    tifffile.COMPRESSION.LZW,
    tifffile.COMPRESSION.ADOBE_DEFLATE,
    tifffile.COMPRESSION.DEFLATE,
    tifffile.COMPRESSION.PACKBITS,
    tifffile.COMPRESSION.ZSTD,
}
_MOST_LINE_BYTES: Final = 1 << 26
_IFD: Final = "the TIFF's directory can't be read"

# What is wrong with a file is said once, by the error raised here.
logging.getLogger("tifffile").addHandler(logging.NullHandler())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Layout:
    """Where the strips or tiles lie; ``offsets`` and ``counts`` in bytes, ``[plane, down, across]``."""

    lines: int
    columns: int
    channels: int
    rows: int
    width: int
    offsets: NDArray[np.int64]
    counts: NDArray[np.int64]

    @property
    def written(self) -> NDArray[np.bool_]:
        """Whether each strip or tile has a place in the file."""
        return (self.offsets > 0) & (self.counts > 0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _CodedStrips:
    """Strips or tiles that must be decoded, a row of them at a time."""

    bands: Bands
    offsets: NDArray[np.int64]
    counts: NDArray[np.int64]

    def known(self) -> Sequence[Lost]:
        return self.bands.known()

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        path = self.bands.path
        with reading(path, _IFD):
            tiff, file = tifffile.TiffFile(path), FileIO(path)
        with tiff, file:
            with reading(path, _IFD):
                page = tiff.pages.first
            yield from self.bands.read(first, stop, partial(self._band, page, file))

    def _band(self, page: tifffile.TiffPage, file: FileIO, band: int) -> NDArray[Any]:
        planes, _, across = self.offsets.shape
        rows = [[self._part(page, file, (plane, band, column)) for column in range(across)] for plane in range(planes)]
        joined = [row[0] if across == 1 else np.concatenate(row, axis=1) for row in rows]
        return joined[0] if planes == 1 else np.concatenate(joined, axis=2)

    def _part(self, page: tifffile.TiffPage, file: FileIO, part: tuple[int, int, int]) -> NDArray[Any]:
        count = int(self.counts[part])
        file.seek(int(self.offsets[part]))
        data = file.read(count)
        if len(data) < count:  # cut off after it was opened
            raise BandLostError(Why.CUT_OFF)
        pixels: NDArray[Any] | None = page.decode(data, int(np.ravel_multi_index(part, self.offsets.shape)))[0]
        if pixels is None:
            raise BandLostError(Why.UNWRITTEN)
        whole: NDArray[Any] = pixels[0]
        return whole


def open_tiff(path: Path, channels: Sequence[str] = ()) -> RasterFile:
    """Look at a TIFF without reading its pixels.

    Raises:
        InputError: when its header can't be read, contradicts itself, or tells of anything but an upright image of 8
            or 16 bit grey, or of the channels named.
    """
    with reading(path, _IFD), tifffile.TiffFile(path) as tiff:
        page = tiff.pages.first
        _check_kind(path, page, channels)
        _check_pages(path, tiff)
        layout = _layout(path, page)
        depth = DEPTHS[str(page.dtype)]
        plain = page.compression == tifffile.COMPRESSION.NONE
        if plain:
            _check_counts(path, layout, depth.itemsize)
        as_it_is = plain and page.predictor == 1 and page.fillorder == 1 and layout.width == layout.columns
        pixels: Pixels = (
            _stored(path, layout, depth.newbyteorder(tiff.byteorder)) if as_it_is else _coded(path, layout, depth)
        )
    return RasterFile(
        path=path, lines=layout.lines, columns=layout.columns, channels=layout.channels, dtype=depth, pixels=pixels
    )


def _check_kind(path: Path, page: tifffile.TiffPage, channels: Sequence[str]) -> None:
    wrong = _not_grey(page, channels)
    if wrong:
        raise InputError(where=str(path), rule="a raster is grey, 8 or 16 bit", value=wrong, mend=GREY_MEND)
    check_channels(path, page.samplesperpixel, channels)
    turned = page.tags.get(_ORIENTATION_TAG)
    if turned is not None and turned.value != _UPRIGHT:
        raise InputError(
            where=str(path),
            rule="a raster's first line lies at the head, its first pixel at the datum edge (TIFF orientation 1)",
            value=int(turned.value),
            mend="Save it upright.",
        )
    if page.compression not in _COMPRESSIONS:
        raise InputError(
            where=str(path),
            rule="a raster is uncompressed or compressed by deflate, LZW, PackBits or zstd",
            value=getattr(page.compression, "name", page.compression),
            mend="Save it without loss.",
        )


def _not_grey(page: tifffile.TiffPage, channels: Sequence[str]) -> str:
    """What speaks against grey, or against channels of grey; empty where nothing does."""
    said = page.tags.get(_PHOTOMETRIC_TAG)
    grey = {tifffile.PHOTOMETRIC.MINISBLACK}
    if str(page.dtype) not in DEPTHS or page.imagedepth != 1 or (page.samplesperpixel > 1 and not channels):
        return f"{page.dtype}, shape {page.shape}"
    if page.bitspersample not in _BITS:
        return f"{page.bitspersample} bits"
    if page.samplesperpixel > 1:  # named one by one, so that red, green and blue are channels like others
        grey.add(tifffile.PHOTOMETRIC.RGB)
    if said is not None and said.value not in grey:
        return f"photometric {getattr(said.value, 'name', said.value)}"
    return ""


def _check_pages(path: Path, tiff: tifffile.TiffFile) -> None:
    pages = 0
    try:
        for page in tiff.pages:
            pages += not (isinstance(page, tifffile.TiffPage) and page.is_reduced)
    except Exception:  # noqa: BLE001  -- further pages that a cut took away are no reason to refuse the first
        pages = min(pages, 1)
    if pages > 1:
        raise InputError(
            where=str(path),
            rule="a raster file holds one image",
            value=f"{pages} pages",
            mend="Save each page as a file of its own, and list them as segments.",
        )


def _layout(path: Path, page: tifffile.TiffPage) -> _Layout:
    lines, columns = page.imagelength, page.imagewidth
    if min(lines, columns) < 1:
        raise broken(path, f"the header says {lines} lines of {columns} pixels")
    line_bytes = columns * page.samplesperpixel * page.bitspersample // 8
    if line_bytes > _MOST_LINE_BYTES:
        raise too_large(path, f"lines of {line_bytes} bytes")
    rows, width = (page.tilelength, page.tilewidth) if page.is_tiled else (min(page.rowsperstrip, lines), columns)
    if min(rows, width) < 1:
        raise broken(path, f"the header says strips or tiles of {rows} lines of {width} pixels")
    planes = page.samplesperpixel if page.planarconfig == _SEPARATE else 1
    shape = (planes, math.ceil(lines / rows), math.ceil(columns / width))
    offsets, counts = page.dataoffsets, page.databytecounts
    if not len(offsets) == len(counts) == math.prod(shape):
        raise broken(path, f"{min(len(offsets), len(counts))} of {math.prod(shape)} strips or tiles")
    return _Layout(
        lines=lines,
        columns=columns,
        channels=page.samplesperpixel,
        rows=rows,
        width=width,
        offsets=np.asarray(offsets, np.int64).reshape(shape),
        counts=np.asarray(counts, np.int64).reshape(shape),
    )


def _check_counts(path: Path, layout: _Layout, itemsize: int) -> None:
    """Uncompressed, each strip or tile is at least as large as its pixels: else the header contradicts itself."""
    planes, down, _ = layout.offsets.shape
    rows = np.full(down, layout.rows)
    if layout.width == layout.columns:  # the last strip may end with the image
        rows[-1] = layout.lines - (down - 1) * layout.rows
    least = rows[None, :, None] * (layout.width * layout.channels // planes * itemsize)
    if (layout.written & (layout.counts < least)).any():
        raise broken(path, f"{layout.counts.sum()} bytes for {layout.lines} lines of {layout.columns} pixels")


def _stored(path: Path, layout: _Layout, stored: Any) -> StoredLines:
    planes = len(layout.offsets)
    offsets = np.where(layout.written, layout.offsets, NOWHERE)[:, :, 0]
    line_bytes = layout.columns * layout.channels // planes * stored.itemsize
    return StoredLines(
        path=path,
        runs=join_runs(offsets, layout.rows, layout.lines, line_bytes),
        columns=layout.columns,
        channels=layout.channels,
        stored=stored,
        size=path.stat().st_size,
    )


def _coded(path: Path, layout: _Layout, depth: Any) -> _CodedStrips:
    across = layout.offsets.shape[2]
    check_band_size(path, layout.rows, layout.width * across * layout.channels * depth.itemsize)
    cut = (layout.offsets + layout.counts > path.stat().st_size).any(axis=(0, 2))
    why = np.where(layout.written.all(axis=(0, 2)), np.where(cut, Why.CUT_OFF, ""), Why.UNWRITTEN)
    return _CodedStrips(
        bands=Bands(
            path=path,
            lines=layout.lines,
            columns=layout.columns,
            channels=layout.channels,
            rows=layout.rows,
            whys=tuple(why.tolist()),
        ),
        offsets=layout.offsets,
        counts=layout.counts,
    )
