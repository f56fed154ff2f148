"""scan.toml: a roll's scan as a file model."""

import itertools
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Millimetres, Name, SomeMetres, each_once

__all__ = ["AS_THEY_COME", "ScanFile", "SegmentTable"]

AS_THEY_COME: Final = "as they come"
"""In place of a list: all segments in the folder, in order of name."""


class SegmentTable(FileModel):
    """``[[segments]]`` in scan.toml; a name alone is a segment that follows the one before."""

    file: Name
    start: Annotated[SomeMetres | None, Field(alias="from")] = None


def _named(value: Any) -> Any:
    return {"file": value} if isinstance(value, str) else value


def _listed(value: Any) -> Any:
    if isinstance(value, str) and value != AS_THEY_COME:
        raise ArgumentError(
            where="segments",
            rule=f'must be a list in square brackets, or "{AS_THEY_COME}"',
            value=value,
            mend="List the files from the head, even a single one.",
        )
    if isinstance(value, list) and not value:
        raise ArgumentError(
            where="segments",
            rule="the list is too short",
            value=value,
            mend=f'List the files from the head, or write "{AS_THEY_COME}".',
        )
    return () if isinstance(value, str) else value


class ScanFile(FileModel):
    """rolls/<roll>/scan/scan.toml."""

    scanner: Name
    pitch_along: Millimetres
    pitch_across: Millimetres
    segments: Annotated[tuple[Annotated[SegmentTable, BeforeValidator(_named)], ...], BeforeValidator(_listed)]
    """Empty where they are taken as they come."""
    segment_names: Name | None = None
    channels: Annotated[tuple[Name, ...], Field(max_length=16)] = ()
    encoder: Name | None = None

    @model_validator(mode="after")
    def _can_be(self) -> "ScanFile":
        for name, pitch in (("pitch_along", self.pitch_along), ("pitch_across", self.pitch_across)):
            if not pitch > 0:
                raise ArgumentError(where=name, rule="must be greater than 0", value=pitch, mend='Like "0.3 mm".')
        if self.segments and self.segment_names is not None:
            raise ArgumentError(
                where="segment_names",
                rule=f'goes with segments = "{AS_THEY_COME}"',
                value=self.segment_names,
                mend="Take it out, or the list.",
            )
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
