"""Rasters by the ending of their name: TIFF, Zarr, raw with a sidecar, PNG."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.readers.raster_file import GREY_MEND, RasterFile
from wideroll.readers.raster_png import open_png
from wideroll.readers.raster_raw import open_raw
from wideroll.readers.raster_tiff import TIFF_ENDINGS, open_tiff
from wideroll.readers.raster_zarr import ZARR_ENDING, open_zarr

__all__ = ["RASTER_ENDINGS", "open_raster"]

_FILES: Final[dict[str, Callable[[Path, Sequence[str]], RasterFile]]] = {
    **dict.fromkeys(TIFF_ENDINGS, open_tiff),
    ".png": open_png,
    ".raw": open_raw,
}
RASTER_ENDINGS: Final = frozenset({*_FILES, ZARR_ENDING})


def open_raster(path: Path, *, channels: Sequence[str] = ()) -> RasterFile:
    """Look at a raster file without reading its pixels.

    What its header promises and the file doesn't hold is told by its ``known_lost``; it is no error.

    Args:
        path: A ``.tif``, ``.tiff``, ``.btf``, ``.raw`` or ``.png`` file, or a ``.zarr`` folder.
        channels: Names of its channels, where scan.toml gives them.

    Raises:
        InputError: when it isn't there, isn't 8 or 16 bit grey (or as many channels as named), or its header can't be
            read or contradicts itself.
    """
    ending = path.suffix.lower()
    if not (path.is_dir() if ending == ZARR_ENDING else path.is_file()):
        raise InputError(where=str(path), rule="the raster file must be there", mend="Check the path.")
    if ending == ZARR_ENDING:
        return open_zarr(path, channels)
    if ending not in _FILES:
        known = f"{', '.join([*TIFF_ENDINGS, '.raw'])} or .png file, or a {ZARR_ENDING} folder"
        raise InputError(where=str(path), rule=f"a raster is a {known}", value=path.suffix, mend=GREY_MEND)
    return _FILES[ending](path, channels)
