"""PNG, which can only be decoded as a whole."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from wideroll.errors import InputError
from wideroll.readers.raster_bands import Bands, check_band_size
from wideroll.readers.raster_file import DEPTHS, GREY_MEND, Lost, RasterFile, check_channels, reading
from wideroll.scan import LostLines
from wideroll.workflow import Grey

__all__ = ["open_png"]

_MODES: Final = {"L": "uint8", "I;16": "uint16"}

# The limit here speaks of rasters of a web, not of pictures from strangers.
Image.MAX_IMAGE_PIXELS = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _WholeImage:
    band: Bands

    def known(self) -> Sequence[Lost]:
        return self.band.known()

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        yield from self.band.read(first, stop, self._decode)

    def _decode(self, _: int) -> NDArray[Any]:
        with Image.open(self.band.path, formats=["PNG"]) as image:
            image.load()
            return np.asarray(image)[:, :, None]


def open_png(path: Path, channels: Sequence[str] = ()) -> RasterFile:
    """Look at a PNG without reading its pixels.

    Raises:
        InputError: when its header can't be read, it isn't 8 or 16 bit grey, or has more pixels than can be decoded.
    """
    with reading(path, "the PNG can't be read"), Image.open(path, formats=["PNG"]) as image:
        mode, (columns, lines) = image.mode, image.size
    if mode not in _MODES:
        raise InputError(where=str(path), rule="a raster is grey, 8 or 16 bit", value=f"mode {mode}", mend=GREY_MEND)
    check_channels(path, 1, channels)
    depth = DEPTHS[_MODES[mode]]
    check_band_size(path, lines, columns * depth.itemsize)
    band = Bands(path=path, lines=lines, columns=columns, channels=1, rows=lines, whys=("",))
    return RasterFile(path=path, lines=lines, columns=columns, channels=1, dtype=depth, pixels=_WholeImage(band=band))
