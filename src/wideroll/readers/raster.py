"""Grey rasters, 8 or 16 bit, from TIFF or PNG, one or many segments, handed on in blocks of lines."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias, cast

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from wideroll.errors import InputError
from wideroll.workflow import Grey

__all__ = ["RasterFile", "SegmentedRaster", "open_raster", "open_segments"]

_BLOCK_BYTES: Final = 16 << 20
_MOST_PIXELS_IN_MEMORY: Final = 4_000_000_000
_TIFF: Final = {".tif", ".tiff", ".btf"}
Depth: TypeAlias = np.dtype[np.uint8] | np.dtype[np.uint16]
_DEPTHS: Final[dict[str, Depth]] = {"uint8": np.dtype(np.uint8), "uint16": np.dtype(np.uint16)}
_GREY_MEND: Final = "Save it as an 8 or 16 bit grey TIFF or PNG with one channel."


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
        return _decode(self.path)


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
    try:
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages.first
            shape, depth = page.shape, str(page.dtype)
            offset = page.dataoffsets[0] if page.is_contiguous and tiff.byteorder == _native() else None
            ends = [o + n for o, n in zip(page.dataoffsets, page.databytecounts, strict=True)]
    except (tifffile.TiffFileError, ValueError, KeyError, IndexError, OSError) as error:
        raise _truncated(path, f"the TIFF's directory can't be read ({error})") from error
    if page.samplesperpixel != 1 or len(shape) != 2 or depth not in _DEPTHS:  # noqa: PLR2004
        raise InputError(
            where=str(path), rule="a raster is grey, 8 or 16 bit", value=f"{depth}, shape {shape}", mend=_GREY_MEND
        )
    size = path.stat().st_size
    if ends and max(ends) > size:
        raise _truncated(path, f"the header promises {max(ends)} bytes, the file has {size}")
    return RasterFile(path=path, lines=shape[0], columns=shape[1], dtype=_DEPTHS[depth], offset=offset)


def _open_png(path: Path) -> RasterFile:
    try:
        with Image.open(path) as image:
            mode, (columns, lines) = image.mode, image.size
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        raise _truncated(path, f"the PNG can't be read ({error})") from error
    depths = {"L": _DEPTHS["uint8"], "I;16": _DEPTHS["uint16"]}
    if mode not in depths:
        raise InputError(where=str(path), rule="a raster is grey, 8 or 16 bit", value=f"mode {mode}", mend=_GREY_MEND)
    return RasterFile(path=path, lines=lines, columns=columns, dtype=depths[mode], offset=None)


def _decode(path: Path) -> Grey:
    try:
        if path.suffix.lower() in _TIFF:
            pixels: NDArray[np.generic] = tifffile.imread(path, key=0)
        else:
            with Image.open(path) as image:
                pixels = np.asarray(image)
    except (tifffile.TiffFileError, ValueError, RuntimeError, OSError, SyntaxError) as error:
        raise _truncated(path, f"its pixels can't be decoded ({error})") from error
    return pixels.astype(pixels.dtype.newbyteorder("="), copy=False)


def _truncated(path: Path, value: str) -> InputError:
    return InputError(
        where=str(path),
        rule="the raster must be whole",
        value=value,
        mend="Copy the file again from the scanner, or take it out of the segments.",
    )


def _native() -> str:
    return "<" if np.dtype(np.uint16).newbyteorder("=").str[0] in "<|" else ">"
