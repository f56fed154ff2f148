"""Photographs of marks, PNG or JPEG, to code values that are taken for sRGB unless the file says otherwise."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from PIL import Image, ImageCms

from wideroll.errors import InputError
from wideroll.examination import Photograph

__all__ = ["read_photograph"]

_MOST_PIXELS: Final = 100_000_000
_SRGB_GAMMA: Final = 1.0 / 2.2
_NEAR: Final = 0.01
_OPAQUE: Final = 255


def read_photograph(path: Path) -> Photograph:
    """Decode a photograph in colour, as it lies in the file: 8 bit red, green and blue.

    A colour profile is applied, so that the code values are those of sRGB; a PNG's gamma without a profile is taken as
    it is; a file that says nothing is taken for sRGB, and the photograph says so.

    Raises:
        InputError: when it can't be decoded, isn't a PNG or JPEG, is grey, partly transparent, or too large.
    """
    with _reading(path), Image.open(path, formats=["PNG", "JPEG"]) as image:
        columns, rows = image.size
        if columns * rows > _MOST_PIXELS:
            raise _refuse(path, "must have at most 100 million pixels", f"{columns} by {rows}", "Crop it to the mark.")
        image.load()
        colour = _colour(path, image)
        gamma, taken_for = _transfer(image)
        profile = image.info.get("icc_profile")
        if profile:
            colour, taken_for = _to_srgb(path, colour, profile)
            gamma = None
    return Photograph(pixels=np.asarray(colour, dtype=np.uint8), gamma=gamma, taken_for=taken_for)


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Whatever the library makes of a damaged file, as one error."""
    try:
        yield
    except InputError:
        raise
    except FileNotFoundError as error:
        raise _refuse(path, "the photograph must be there", "", "Put it beside sightings.csv.") from error
    except Exception as error:  # damage ends in errors of many kinds
        raise _refuse(path, "the photograph must be a whole PNG or JPEG", str(error), "Save it again.") from error


def _colour(path: Path, image: Image.Image) -> Image.Image:
    if image.mode in {"RGBA", "P"}:
        whole = image.convert("RGBA")
        low: Any = whole.getchannel("A").getextrema()[0]
        if low < _OPAQUE:
            raise _refuse(path, "must not be transparent", image.mode, "Save it without transparency.")
        return whole.convert("RGB")
    if image.mode != "RGB":
        rule = "must be in colour, to tell the layers apart"
        raise _refuse(path, rule, f"mode {image.mode}", "Save it as RGB, 8 bit; a grey photograph tells no layer.")
    return image


def _transfer(image: Image.Image) -> tuple[float | None, str]:
    gamma = image.info.get("gamma")
    if "srgb" in image.info:
        return None, "sRGB, as the file says"
    if isinstance(gamma, float) and gamma > 0.0 and abs(gamma - _SRGB_GAMMA) > _NEAR:
        return 1.0 / gamma, f"gamma {1.0 / gamma:.2g}, as the file says"
    return None, "sRGB; the file doesn't say"


def _to_srgb(path: Path, image: Image.Image, profile: bytes) -> tuple[Image.Image, str]:
    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        name = ImageCms.getProfileDescription(source).strip()
        if "srgb" in name.lower():
            return image, f"sRGB, as its profile says ({name})"
        converted = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"))
    except (OSError, ImageCms.PyCMSError) as error:
        raise _refuse(path, "its colour profile must be readable", str(error), "Save it as sRGB.") from error
    return converted or image, f"sRGB, turned into it from its profile ({name})"


def _refuse(path: Path, rule: str, value: str, mend: str) -> InputError:
    return InputError(where=str(path), rule=rule, value=value or None, mend=mend)
