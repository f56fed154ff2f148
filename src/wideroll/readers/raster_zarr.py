"""Arrays of Zarr format 3 in a folder, ``[along, across]`` or ``[along, across, channel]``."""

import itertools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import InputError
from wideroll.readers.raster_bands import Bands, check_band_size
from wideroll.readers.raster_file import DEPTHS, Lost, RasterFile, Why, broken, check_channels
from wideroll.scan import LostLines
from wideroll.workflow import Grey

if TYPE_CHECKING:
    from zarr import Array

__all__ = ["ZARR_ENDING", "open_zarr"]

ZARR_ENDING: Final = ".zarr"
_RULE: Final = "a Zarr raster is one array of Zarr format 3 in its folder"
_MEND: Final = "Save it as a Zarr 3 array of uint8 or uint16, [along, across] or [along, across, channel]."
_FLAT, _CHANNELLED = 2, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chunks:
    bands: Bands

    def known(self) -> Sequence[Lost]:
        return self.bands.known()

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        with _opening(self.bands.path):
            array = _array(self.bands.path)
        yield from self.bands.read(first, stop, partial(self._decode, array))

    def _decode(self, array: "Array[Any]", band: int) -> NDArray[Any]:
        start = band * self.bands.rows
        pixels = np.asarray(array[start : start + self.bands.height(band)])
        return pixels[:, :, None] if pixels.ndim == _FLAT else pixels


def open_zarr(path: Path, channels: Sequence[str] = ()) -> RasterFile:
    """Look at a Zarr array without reading its chunks.

    A chunk that isn't there was never written, so its lines are lost: Zarr would make them up from the fill value.

    Raises:
        InputError: when its metadata can't be read, or it isn't a raster of 8 or 16 bit.
    """
    with _opening(path):
        array = _array(path)
        shape, depth = array.shape, DEPTHS.get(np.dtype(array.dtype).name)
    if depth is None or len(shape) not in {_FLAT, _CHANNELLED}:
        raise InputError(
            where=str(path), rule="a raster is 8 or 16 bit", value=f"{array.dtype}, shape {shape}", mend=_MEND
        )
    if min(shape) < 1:
        raise broken(path, f"the metadata says shape {shape}")
    lines, columns, count = (*shape, 1)[:_CHANNELLED]
    check_channels(path, count, channels)
    rows = min(array.chunks[0], lines)
    check_band_size(path, rows, columns * count * depth.itemsize)
    bands = Bands(path=path, lines=lines, columns=columns, channels=count, rows=rows, whys=_missing(path, array, rows))
    return RasterFile(path=path, lines=lines, columns=columns, channels=count, dtype=depth, pixels=_Chunks(bands=bands))


def _array(path: Path) -> "Array[Any]":
    import zarr  # noqa: PLC0415  -- loading takes a third of a second, and few rasters are Zarr

    return zarr.open_array(path, mode="r", zarr_format=3)


def _missing(path: Path, array: "Array[Any]", rows: int) -> tuple[str, ...]:
    """Why each row of chunks is lost, where one of its files isn't there; a shard holds several rows."""
    files = array.shards or array.chunks
    beside = list(itertools.product(*(range(-(-n // m)) for n, m in zip(array.shape[1:], files[1:], strict=True))))
    name = array.metadata.encode_chunk_key
    whole = [
        all((path / name((down, *across))).is_file() for across in beside)
        for down in range(-(-array.shape[0] // files[0]))
    ]
    return tuple("" if whole[start // files[0]] else Why.UNWRITTEN for start in range(0, array.shape[0], rows))


@contextmanager
def _opening(path: Path) -> Iterator[None]:
    try:
        yield
    except Exception as error:  # the library answers damage with errors of a dozen kinds
        raise InputError(where=str(path), rule=_RULE, value=str(error) or type(error).__name__, mend=_MEND) from error
