"""A photograph that comes in for a sighting, as a plain PNG: its pixels, and nothing else of the file."""

import io
import warnings
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from PIL import Image
from PIL.PngImagePlugin import PngInfo

from wideroll.errors import InputError
from wideroll.examination import Photograph
from wideroll.readers.photograph_file import read_photograph
from wideroll.record import digest

__all__ = ["plain_png"]

_GAMMA_UNIT: Final = 100_000
_NAME_DIGITS: Final = 16


def plain_png(data: bytes, ending: str) -> tuple[str, bytes]:
    """A name made from its content, and the photograph as a PNG of 8 bit in colour without what a camera wrote beside.

    Args:
        data: of a PNG, JPEG or TIFF.
        ending: for what it is, such as ``.jpg``.

    Raises:
        InputError: when it isn't a whole photograph in colour.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"photograph{ending}"
        path.write_bytes(_as_png(data) if ending == ".tif" else data)
        try:
            with warnings.catch_warnings():
                # What the library has to say of a photograph's side issues is no concern of who sends it up.
                warnings.simplefilter("ignore")
                photograph = read_photograph(path)
        except InputError as error:
            raise InputError(where="photograph", rule=error.rule, value=error.value, mend=error.mend) from error
    out = io.BytesIO()
    Image.fromarray(photograph.pixels).save(out, "PNG", compress_level=3, pnginfo=_transfer(photograph))
    png = out.getvalue()
    return f"photograph-{digest(png)[:_NAME_DIGITS]}.png", png


def _as_png(data: bytes) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data), formats=["TIFF"]) as image:
                out = io.BytesIO()
                image.save(out, "PNG", compress_level=0, icc_profile=image.info.get("icc_profile"))
        except Exception as error:  # damage ends in errors of many kinds
            rule = "the photograph must be a whole TIFF of 8 bit"
            raise InputError(where="photograph", rule=rule, value=str(error), mend="Save it as PNG.") from error
    return out.getvalue()


def _transfer(photograph: Photograph) -> PngInfo:
    """What the file says of its code values: a gamma, sRGB, or nothing where the one that came said nothing."""
    info = PngInfo()
    if photograph.gamma is not None:
        info.add(b"gAMA", round(_GAMMA_UNIT / photograph.gamma).to_bytes(4))
    elif "doesn't say" not in photograph.taken_for:
        info.add(b"sRGB", b"\0")
    return info
