"""What people send as files: never more than allowed, and a picture only when its head says that it isn't a bomb."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from starlette.datastructures import UploadFile
from starlette.requests import Request

from wideroll.errors import InputError
from wideroll.server.entrance import entrance_of
from wideroll.server.identity import who_asks

if TYPE_CHECKING:
    from PIL.ImageFile import ImageFile

__all__ = ["Upload", "read_upload"]

_PIECE: Final = 1 << 18
_MOST_BYTES: Final = 40_000_000
_MOST_PIXELS: Final = 80_000_000
_LONGEST_NAME: Final = 120
_KINDS: Final = {"PNG": ".png", "JPEG": ".jpg", "MPO": ".jpg", "TIFF": ".tif"}
_MOST_PAGES: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A picture as it came: the name it came with, made harmless; the ending for what it is; its size; its bytes."""

    name: str
    ending: str
    columns: int
    rows: int
    data: bytes


async def read_upload(
    request: Request,
    file: UploadFile,
    *,
    where: str,
    most_bytes: int = _MOST_BYTES,
    most_pixels: int = _MOST_PIXELS,
) -> Upload:
    """Read a picture that was sent, piece by piece; only its head is looked at, nothing is unpacked.

    Args:
        request: it came with.
        file: of the form.
        where: name of the form's field, for the error.
        most_bytes: it may have.
        most_pixels: it may have once it is unpacked.

    Raises:
        InputError: when it is empty, too large, too large unpacked, or no PNG, JPEG or TIFF; this is logged.
    """
    try:
        return await _read(file, where=where, most_bytes=most_bytes, most_pixels=most_pixels)
    except InputError as error:
        person = who_asks(request).person
        what = f"upload: {error.rule}" + (f" ({error.value})" if error.value else "")
        who = person.name if person else ""
        entrance_of(request).log("refused", request, who=who, what=what, about=request.url.path)
        raise


async def _read(file: UploadFile, *, where: str, most_bytes: int, most_pixels: int) -> Upload:
    pieces, size = [], 0
    while piece := await file.read(_PIECE):
        size += len(piece)
        if size > most_bytes:
            rule = f"must have at most {most_bytes / 1e6:g} MB"
            raise _refuse(where, rule, None, "Save it smaller, or crop it.")
        pieces.append(piece)
    data = b"".join(pieces)
    if not data:
        raise _refuse(where, "must be a picture", "an empty file", "Choose a PNG, JPEG or TIFF.")
    kind, columns, rows = _head(where, data, most_pixels)
    return Upload(name=_harmless(file.filename or ""), ending=_KINDS[kind], columns=columns, rows=rows, data=data)


def _head(where: str, data: bytes, most_pixels: int) -> tuple[str, int, int]:
    import io  # noqa: PLC0415
    import warnings  # noqa: PLC0415

    from PIL import Image  # noqa: PLC0415  (a desk that is sent no picture needn't know how to read one)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(data), formats=["PNG", "JPEG", "TIFF"]) as image:
                kind, (columns, rows) = image.format or "", image.size
                deep = kind == "TIFF" and _has_page(image, _MOST_PAGES)
        except Image.DecompressionBombError as error:
            raise _too_many(where, most_pixels, "very many more") from error
        except Exception as error:  # damage ends in errors of many kinds
            mend = "Save it again as PNG, JPEG or TIFF."
            raise _refuse(where, "must be a whole picture", str(error), mend) from error
    if columns * rows > most_pixels or deep:
        raise _too_many(where, most_pixels, f"{columns} by {rows}" + (" and more pages" if deep else ""))
    return kind, columns, rows


def _has_page(image: "ImageFile", page: int) -> bool:
    """Whether there is one of a number, from 0; those behind it aren't looked for, as there may be millions."""
    try:
        image.seek(page)
    except EOFError:
        return False
    return True


def _harmless(name: str) -> str:
    """The last part of a name, of letters that can stand in a file's name, never leading anywhere."""
    last = name.replace("\\", "/").rpartition("/")[2]
    kept = "".join(letter if letter.isalnum() or letter in "._-" else "_" for letter in last).lstrip(".")
    return kept[-_LONGEST_NAME:] or "picture"


def _too_many(where: str, most: int, value: str) -> InputError:
    rule = f"must have at most {most / 1e6:g} million pixels and {_MOST_PAGES} pages"
    return _refuse(where, rule, value, "Save it smaller, or crop it.")


def _refuse(where: str, rule: str, value: str | None, mend: str) -> InputError:
    return InputError(where=where, rule=rule, value=value, mend=mend)
