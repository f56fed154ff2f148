"""What is sent with the form of a complaint: its fields, ticks and photographs."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Final

from fastapi import Depends, HTTPException, Request
from pydantic import BaseModel, Field, ValidationError
from starlette.datastructures import UploadFile

from wideroll.errors import InputError
from wideroll.server.desk import desk_of
from wideroll.server.units import form_units, place_words
from wideroll.server.uploads import Upload, read_upload

__all__ = ["MOST_PHOTOS", "Sent", "SentForm", "WasSent", "as_files", "form_sent", "place_in"]

_MOST_FIELDS: Final = 40
MOST_PHOTOS: Final = 12


class SentForm(BaseModel):
    """What may stand in the form of any step."""

    finished: str = Field(default="", max_length=400)
    saw: str = Field(default="", max_length=8000)
    place: str = Field(default="", max_length=400)
    end: str = Field(default="", max_length=20)
    reference: str = Field(default="", max_length=400)
    untraced: str = Field(default="", max_length=4)
    samples: str = Field(default="", max_length=8000)
    sample: str = Field(default="", max_length=400)
    there: str = Field(default="", max_length=4)
    finding: str = Field(default="", max_length=20)
    why: str = Field(default="", max_length=8000)
    outcome: str = Field(default="", max_length=8000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What was sent with a form: its texts, its ticks, photographs, or why these can't be kept."""

    form: SentForm
    looked_at: list[str]
    photos: list[Upload]
    error: InputError | None = None


async def form_sent(request: Request) -> Sent:
    """What was sent with a form; an empty field of files is none."""
    async with request.form(max_fields=_MOST_FIELDS, max_files=MOST_PHOTOS) as parts:
        known = SentForm.model_fields
        texts = {name: value for name, value in parts.items() if name in known and isinstance(value, str)}
        looked_at = [value for value in parts.getlist("looked_at") if isinstance(value, str)]
        files = [one for one in parts.getlist("photos") if isinstance(one, UploadFile) and (one.filename or one.size)]
        try:
            form = SentForm(**texts)
        except ValidationError as error:
            first = error.errors()[0]
            raise HTTPException(422, f"{first['loc'][0]}: {first['msg']}") from error
        try:
            photos = [await read_upload(request, one, where="photos") for one in files]
        except InputError as error:
            return Sent(form=form, looked_at=looked_at, photos=[], error=error)
        return Sent(form=form, looked_at=looked_at, photos=photos)


WasSent = Annotated[Sent, Depends(form_sent)]


def place_in(request: Request, form: SentForm) -> str | None:
    """The place with its end; None where none was sent."""
    return place_words(form.place, form.end, form_units(desk_of(request)).along)


def as_files(sent: Sent) -> "_Files":
    """The photographs as files, within it.

    Raises:
        InputError: when one of them can't be kept.
    """
    if sent.error is not None:
        raise sent.error
    return _Files(sent.photos)


class _Files:
    """Photographs as files while they are taken in; an act knows files only."""

    def __init__(self, photos: Sequence[Upload]) -> None:
        """Of photographs that were sent."""
        self._photos = photos
        self._folder = TemporaryDirectory(prefix="wideroll-")

    def __enter__(self) -> list[Path]:
        """Their files, each in a folder of its own, so that names may be alike."""
        paths = []
        for number, photo in enumerate(self._photos):
            path = Path(self._folder.name) / str(number) / photo.name
            path.parent.mkdir()
            path.write_bytes(photo.data)
            paths.append(path)
        return paths

    def __exit__(self, *_: object) -> None:
        """They are gone."""
        self._folder.cleanup()
