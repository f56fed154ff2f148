"""scan.toml: a roll's scan as a file model."""

import itertools
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Millimetres, Name, SomeMetres, each_once

__all__ = ["ScanFile", "SegmentTable"]


class SegmentTable(FileModel):
    """``[[segments]]`` in scan.toml; a name alone is a segment that follows the one before."""

    file: Name
    start: Annotated[SomeMetres | None, Field(alias="from")] = None


def _named(value: Any) -> Any:
    return {"file": value} if isinstance(value, str) else value


class ScanFile(FileModel):
    """rolls/<roll>/scan/scan.toml."""

    scanner: Name
    pitch_along: Millimetres
    pitch_across: Millimetres
    segments: Annotated[tuple[Annotated[SegmentTable, BeforeValidator(_named)], ...], Field(min_length=1)]
    channels: Annotated[tuple[Name, ...], Field(max_length=16)] = ()
    encoder: Name | None = None

    @model_validator(mode="after")
    def _can_be(self) -> "ScanFile":
        for name, pitch in (("pitch_along", self.pitch_along), ("pitch_across", self.pitch_across)):
            if not pitch > 0:
                raise ArgumentError(where=name, rule="must be greater than 0", value=pitch, mend='Like "0.3 mm".')
        each_once("segments", (segment.file for segment in self.segments))
        each_once("channels", self.channels)
        started = [segment for segment in self.segments if segment.start is not None]
        for before, segment in itertools.pairwise(started):
            if not (before.start or 0.0) < (segment.start or 0.0):
                raise ArgumentError(
                    where=f"segment {segment.file}, from",
                    rule=f"segments are listed from the head; {before.file} starts at {before.start:g} m",
                    value=f"{segment.start:g} m",
                    mend="Change the two places, or correct from.",
                )
        return self
