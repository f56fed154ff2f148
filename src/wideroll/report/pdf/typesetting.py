"""A sheet to a PDF file: tagged, with its records attached, the same bytes each time.

The file is PDF/A-3a and PDF/UA-1. Fonts are those that come with the typesetter and the drawing library, never the
machine's; the date is the record's, never the clock's; nothing is fetched.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from types import ModuleType
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.report.pdf.letters import FONTS, shown
from wideroll.report.pdf.parts import Part

__all__ = ["AttachedFile", "PdfSheet", "typeset"]

_STANDARDS: Final = ("a-3a", "ua-1")
_UNDATED: Final = ("ua-1",)
"""An archived file must have a date."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedFile:
    """A text that goes with the sheet, to the byte."""

    name: str
    data: bytes
    about: str
    relationship: str = "source"
    """``source`` is what the sheet was made from, ``data`` what proves it, ``supplement`` anything else."""
    mime: str = "application/json"


@dataclass(frozen=True, slots=True, kw_only=True)
class PdfSheet:
    """What a sheet says; ``warning`` stands on top of each page, ``foot`` below."""

    title: str
    about: str
    author: str
    when_utc: str
    """Of the event that the sheet tells of, as the record has it; empty where the record has none."""
    foot: str
    parts: Sequence[Part]
    files: Sequence[AttachedFile] = ()
    warning: str = ""
    text_pt: float = 10.0
    """Size of the text; tables have their own."""


def typeset(sheet: PdfSheet) -> bytes:
    """The sheet as PDF; the same sheet gives the same bytes with the same versions of typst and matplotlib.

    Raises:
        InputError: when typst isn't installed.
    """
    typst = _typesetter()
    when = _when(sheet.when_utc)
    made: bytes = typst.compile(
        files("wideroll.report").joinpath("typst", "sheet.typ").read_bytes(),
        font_paths=_fonts(),
        sys_inputs={"sheet": json.dumps(_document(sheet, when), ensure_ascii=False)},
        pdf_standards=list(_STANDARDS if when else _UNDATED),
        timestamp=when or 0,
    )
    return made


def _typesetter() -> ModuleType:
    try:
        import typst  # noqa: PLC0415  (an extra)
    except ImportError as error:
        raise InputError(
            where="print",
            rule="a PDF is set by typst, which isn't installed",
            mend="Install it with: pip install 'wideroll[pdf]'.",
        ) from error
    return typst


@cache
def _fonts() -> object:
    return _typesetter().Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(FONTS)])


def _when(when_utc: str) -> datetime | None:
    return datetime.fromisoformat(when_utc).astimezone(UTC).replace(microsecond=0) if when_utc else None


def _document(sheet: PdfSheet, when: datetime | None) -> dict[str, Any]:
    return {
        "title": shown(sheet.title),
        "about": shown(sheet.about),
        "author": shown(sheet.author),
        "date": when and {part: getattr(when, part) for part in ("year", "month", "day", "hour", "minute", "second")},
        "foot": shown(sheet.foot),
        "text": sheet.text_pt,
        "warning": shown(sheet.warning),
        "parts": list(sheet.parts),
        "files": [
            {
                "name": one.name,
                "text": one.data.decode(),
                "about": one.about,
                "relationship": one.relationship,
                "mime": one.mime,
            }
            for one in sheet.files
        ],
    }
