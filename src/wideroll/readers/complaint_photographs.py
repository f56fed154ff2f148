"""Photographs that come with a complaint: held to be whole pictures, kept as they came, made smaller for a page."""

import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageOps

from wideroll.errors import InputError

__all__ = ["ComplaintPhotograph", "read_complaint_photograph", "small_jpeg"]

_MOST_BYTES: Final = 40_000_000
_MOST_PIXELS: Final = 80_000_000
_ENDINGS: Final = {"PNG": ".png", "JPEG": ".jpg", "MPO": ".jpg", "TIFF": ".tif"}
"""By what is in the file, whatever its name says; MPO is a JPEG with further pictures behind the first."""
_LONGEST_SIDE: Final = 1200
_QUALITY: Final = 85
_DEEP: Final = ("I", "F", "I;16", "I;16B", "I;16L")


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintPhotograph:
    """The bytes of a photograph as they came, the name they came with, and the ending for what they are."""

    name: str
    ending: str
    data: bytes


def read_complaint_photograph(path: Path) -> ComplaintPhotograph:
    """A photograph of at most 40 MB and 80 million pixels, decoded once to see that it is whole.

    Raises:
        InputError: when it isn't there, too large, or no whole PNG, JPEG or TIFF.
    """
    if not path.is_file():
        raise _refuse(path, "the photograph must be a file that is there", "", "Check the path.")
    size = path.stat().st_size
    if size > _MOST_BYTES:
        raise _refuse(path, "must have at most 40 MB", f"{size / 1e6:.0f} MB", "Save it smaller, or crop it.")
    data = path.read_bytes()
    return ComplaintPhotograph(name=path.name, ending=_ENDINGS[_kind(path, data)], data=data)


def small_jpeg(data: bytes) -> bytes:
    """The picture upright, its longer side at most 1200 pixels, without what the camera wrote beside it.

    Args:
        data: of a photograph that was kept.

    Raises:
        InputError: when it is no whole picture.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data), formats=["PNG", "JPEG", "TIFF"]) as image:
                image.draft("RGB", (_LONGEST_SIDE, _LONGEST_SIDE))
                upright = ImageOps.exif_transpose(_eight_bit(image))
        except Exception as error:  # damage ends in errors of many kinds
            raise _refuse(Path("photograph"), "must be a whole picture", str(error), "Save it again.") from error
    upright.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _kind(path: Path, data: bytes) -> str:
    with warnings.catch_warnings():
        # What the library has to say of a photograph's side issues is no concern of who sends it in.
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data), formats=["PNG", "JPEG", "TIFF"]) as image:
                _check_size(path, *image.size)
                image.load()
                return image.format or ""
        except InputError:
            raise
        except Exception as error:  # damage ends in errors of many kinds
            rule = "the photograph must be a whole PNG, JPEG or TIFF"
            raise _refuse(path, rule, str(error), "Save it again as JPEG.") from error


def _check_size(path: Path, columns: int, rows: int) -> None:
    if columns * rows > _MOST_PIXELS:
        rule = "must have at most 80 million pixels"
        raise _refuse(path, rule, f"{columns} by {rows}", "Save it smaller, or crop it.")


def _eight_bit(image: Image.Image) -> Image.Image:
    """In colour of 8 bit; deeper greys from their darkest to their lightest, transparent parts on white."""
    if image.mode in _DEEP:
        return _stretched(image).convert("RGB")
    if "A" in image.getbands() or image.mode == "P":
        colour = image.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", colour.size, "white"), colour).convert("RGB")
    return image.convert("RGB")


def _stretched(image: Image.Image) -> Image.Image:
    deep = np.asarray(image, dtype=np.float64)
    low, high = float(deep.min()), float(deep.max())
    scale = 255.0 / (high - low) if high > low else 0.0
    return Image.fromarray(np.rint((deep - low) * scale).astype(np.uint8))


def _refuse(path: Path, rule: str, value: str, mend: str) -> InputError:
    return InputError(where=str(path), rule=rule, value=value or None, mend=mend)
