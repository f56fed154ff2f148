"""Grey rasters, 8 or 16 bit, from TIFF or PNG, one or many segments, handed on in blocks of lines."""

import logging
import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias, cast

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from wideroll.errors import InputError
from wideroll.workflow import Grey

__all__ = ["RasterFile", "SegmentedRaster", "open_raster", "open_segments"]

_BLOCK_BYTES: Final = 16 << 20
_MOST_PIXELS_IN_MEMORY: Final = 4_000_000_000
_TIFF: Final = {".tif", ".tiff", ".btf"}
_BITS: Final = {8, 16}
_PHOTOMETRIC_TAG: Final = 262
_ORIENTATION_TAG: Final = 274
_UPRIGHT: Final = 1
Depth: TypeAlias = np.dtype[np.uint8] | np.dtype[np.uint16]
_DEPTHS: Final[dict[str, Depth]] = {"uint8": np.dtype(np.uint8), "uint16": np.dtype(np.uint16)}
_GREY_MEND: Final = "Save it as an 8 or 16 bit grey TIFF or PNG with one channel, 0 as black."

# What is wrong with a file is said once, by the error raised here.
logging.getLogger("tifffile").addHandler(logging.NullHandler())
# The limit here speaks of rasters of a web, not of pictures from strangers.
Image.MAX_IMAGE_PIXELS = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterFile:
    """One file's shape and where its pixels lie; ``offset`` is None where they must be decoded."""

    path: Path
    lines: int
    columns: int
    dtype: Depth
    offset: int | None

    def blocks(self) -> Iterator[Grey]:
        """The lines in order, [along, across], in blocks of about 16 MB."""
        pixels = self._pixels()
        height = max(1, _BLOCK_BYTES // (self.columns * self.dtype.itemsize))
        for start in range(0, self.lines, height):
            yield cast("Grey", np.ascontiguousarray(pixels[start : start + height]))

    def _pixels(self) -> Grey:
        if self.offset is not None:
            return np.memmap(self.path, self.dtype, mode="r", offset=self.offset, shape=(self.lines, self.columns))
        pixels = _decode(self.path)
        if pixels.shape != (self.lines, self.columns) or pixels.dtype != self.dtype:
            value = f"pixels {pixels.dtype} {pixels.shape}, the header says {self.dtype} {(self.lines, self.columns)}"
            raise _truncated(self.path, value)
        return pixels


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentedRaster:
    """Several files as one raster, in order from the head."""

    files: tuple[RasterFile, ...]
    pitch_mm: tuple[float, float]
    source: str

    @property
    def lines(self) -> int:
        """Lines of all segments."""
        return sum(file.lines for file in self.files)

    @property
    def columns(self) -> int:
        """Pixels across."""
        return self.files[0].columns

    @property
    def dtype(self) -> Depth:
        """Pixel type."""
        return self.files[0].dtype

    def blocks(self) -> Iterator[Grey]:
        """The lines of all segments in order."""
        for file in self.files:
            yield from file.blocks()


def open_raster(path: Path) -> RasterFile:
    """Look at a raster file without reading its pixels.

    Raises:
        InputError: when it isn't there, isn't a grey 8 or 16 bit TIFF or PNG, or is shorter than its header says.
    """
    if not path.is_file():
        raise InputError(where=str(path), rule="the raster file must be there", mend="Check the path.")
    if path.suffix.lower() in _TIFF:
        return _open_tiff(path)
    if path.suffix.lower() == ".png":
        return _open_png(path)
    raise InputError(
        where=str(path), rule="a raster is a .tif, .tiff, .btf or .png file", value=path.suffix, mend=_GREY_MEND
    )


def open_segments(paths: Sequence[Path], *, pitch_mm: tuple[float, float], source: str) -> SegmentedRaster:
    """Several files as one raster.

    Raises:
        InputError: when one can't be opened, or differs from the first in width or depth.
    """
    files = tuple(open_raster(path) for path in paths)
    first = files[0]
    for file in files[1:]:
        if (file.columns, file.dtype) != (first.columns, first.dtype):
            raise InputError(
                where=str(file.path),
                rule=f"all segments must be {first.columns} pixels wide and {first.dtype} like {first.path.name}",
                value=f"{file.columns} pixels, {file.dtype}",
                mend="Take out the segment that belongs to another scan.",
            )
    return SegmentedRaster(files=files, pitch_mm=pitch_mm, source=source)


def _open_tiff(path: Path) -> RasterFile:
    with _reading(path, "the TIFF's directory can't be read"), tifffile.TiffFile(path) as tiff:
        page = tiff.pages.first
        _check_grey(path, page)
        pages = sum(not (isinstance(one, tifffile.TiffPage) and one.is_reduced) for one in tiff.pages)
        if pages > 1:
            raise InputError(
                where=str(path),
                rule="a raster file holds one image",
                value=f"{pages} pages",
                mend="Save each page as a file of its own, and list them as segments.",
            )
        lines, columns = page.shape
        _check_whole(path, page)
        offset = int(page.dataoffsets[0]) if page.is_contiguous and tiff.byteorder == _native() else None
        if offset is None:
            _check_size(path, lines, columns)
        return RasterFile(path=path, lines=lines, columns=columns, dtype=_DEPTHS[str(page.dtype)], offset=offset)


def _check_grey(path: Path, page: tifffile.TiffPage) -> None:
    depth, shape = str(page.dtype), page.shape
    said = page.tags.get(_PHOTOMETRIC_TAG)
    wrong = ""
    if page.samplesperpixel != 1 or len(shape) != 2 or depth not in _DEPTHS:  # noqa: PLR2004
        wrong = f"{depth}, shape {shape}"
    elif page.bitspersample not in _BITS:
        wrong = f"{page.bitspersample} bits"
    elif said is not None and said.value != tifffile.PHOTOMETRIC.MINISBLACK:
        wrong = f"photometric {getattr(said.value, 'name', said.value)}"
    if wrong:
        raise InputError(where=str(path), rule="a raster is grey, 8 or 16 bit", value=wrong, mend=_GREY_MEND)
    turned = page.tags.get(_ORIENTATION_TAG)
    if turned is not None and turned.value != _UPRIGHT:
        raise InputError(
            where=str(path),
            rule="a raster's first line lies at the head, its first pixel at the datum edge (TIFF orientation 1)",
            value=int(turned.value),
            mend="Save it upright.",
        )


def _check_whole(path: Path, page: tifffile.TiffPage) -> None:
    """Each strip or tile is there, inside the file, and together they are as large as the image."""
    (lines, columns), offsets, counts = page.shape, page.dataoffsets, page.databytecounts
    if min(lines, columns) < 1:
        raise _truncated(path, f"the header says {lines} lines of {columns} pixels")
    parts = math.prod(page.chunked)
    if not len(offsets) == len(counts) == parts or min(offsets) < 1 or min(counts) < 1:
        there = sum(offset > 0 and count > 0 for offset, count in zip(offsets, counts, strict=False))
        raise _truncated(path, f"{there} of {parts} strips or tiles")
    size, promised = path.stat().st_size, max(offset + count for offset, count in zip(offsets, counts, strict=True))
    plain = page.compression == tifffile.COMPRESSION.NONE
    if plain and sum(counts) < lines * columns * page.bitspersample // 8:
        raise _truncated(path, f"{sum(counts)} bytes for {lines} lines of {columns} pixels")
    if promised > size:
        raise _truncated(path, f"the header promises {promised} bytes, the file has {size}")


def _open_png(path: Path) -> RasterFile:
    with _reading(path, "the PNG can't be read"), Image.open(path, formats=["PNG"]) as image:
        mode, (columns, lines) = image.mode, image.size
    depths = {"L": _DEPTHS["uint8"], "I;16": _DEPTHS["uint16"]}
    if mode not in depths:
        raise InputError(where=str(path), rule="a raster is grey, 8 or 16 bit", value=f"mode {mode}", mend=_GREY_MEND)
    _check_size(path, lines, columns)
    return RasterFile(path=path, lines=lines, columns=columns, dtype=depths[mode], offset=None)


def _decode(path: Path) -> Grey:
    pixels: NDArray[np.generic]
    with _reading(path, "its pixels can't be decoded"):
        if path.suffix.lower() in _TIFF:
            with tifffile.TiffFile(path) as tiff:
                pixels = tiff.pages.first.asarray()
        else:
            with Image.open(path, formats=["PNG"]) as image:
                image.load()
                pixels = np.asarray(image)
    return cast("Grey", pixels.astype(pixels.dtype.newbyteorder("="), copy=False))


@contextmanager
def _reading(path: Path, what: str) -> Iterator[None]:
    """Whatever a library makes of a damaged file, as one error."""
    try:
        yield
    except InputError:
        raise
    except MemoryError as error:
        raise _too_large(path, str(error)) from error
    except Exception as error:  # the libraries answer damage with errors of a dozen kinds
        raise _truncated(path, f"{what} ({error})") from error


def _check_size(path: Path, lines: int, columns: int) -> None:
    if lines * columns > _MOST_PIXELS_IN_MEMORY:
        raise _too_large(path, f"{lines} lines of {columns} pixels")


def _too_large(path: Path, value: str) -> InputError:
    return InputError(
        where=str(path),
        rule="a raster that must be decoded has to fit in memory",
        value=value,
        mend="Save it uncompressed, or in several segments.",
    )


def _truncated(path: Path, value: str) -> InputError:
    return InputError(
        where=str(path),
        rule="the raster must be whole",
        value=value,
        mend="Copy the file again from the scanner, or take it out of the segments.",
    )


def _native() -> str:
    return "<" if np.dtype(np.uint16).newbyteorder("=").str[0] in "<|" else ">"
