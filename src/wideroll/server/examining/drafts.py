"""What an examiner has entered and not sent yet: a file of their own that no page shows to anybody else."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.server.access import Person

__all__ = ["Draft", "DraftSheet", "Noted", "Open", "draft_json", "draft_name", "draft_of", "drafting", "photographs_of"]

_SCHEMA: Final = "wideroll/draft/1"
_FOLDER: Final = ("desk", "drafts")
_LOCK: Final = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A sighting that was saved; undone ones can be put back until the sheet is sent."""

    number: int
    cells: Mapping[str, str]
    """By the columns of sightings.csv."""
    at_utc: str
    undone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """The sighting that is being entered: answers so far, and the question that is asked next."""

    number: int
    at: str
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftSheet:
    """A sheet in hand; its places as in sheets.csv."""

    sheet: str
    along_from: str
    along_to: str
    across_from: str = ""
    across_to: str = ""
    taken: str = "drawn"
    listed: bool = False
    """Whether somebody looked at it before."""
    began_utc: str = ""
    setting: Mapping[str, str] = field(default_factory=dict)
    """How it is looked at: blind, loupe, filters, sections, densitometer."""
    noted: tuple[Noted, ...] = ()
    open: Open | None = None
    finished: bool = False
    """All of it was looked at."""
    dropped: bool = False

    @property
    def called(self) -> str:
        """As people say it: sheet 2, whether its name is that or 2 alone."""
        return self.sheet if self.sheet.casefold().startswith("sheet") else f"sheet {self.sheet}"

    @property
    def taken_up(self) -> bool:
        """Whether the open sighting was saved before, and is being changed."""
        return self.open is not None and any(one.number == self.open.number for one in self.noted)

    @property
    def holds(self) -> tuple[Noted, ...]:
        """The sightings that weren't undone."""
        return tuple(one for one in self.noted if not one.undone)

    @property
    def next_number(self) -> int:
        """Of a further sighting."""
        return 1 + max((one.number for one in self.noted), default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """All that one examiner has in hand of one roll. ``shown_utc``: when they were shown what is noted already."""

    roll: str
    examiner: str
    shown_utc: str = ""
    sheets: tuple[DraftSheet, ...] = ()

    def sheet(self, name: str) -> DraftSheet | None:
        """A sheet in hand."""
        return next((one for one in self.sheets if one.sheet == name and not one.dropped), None)

    def with_sheet(self, sheet: DraftSheet) -> "Draft":
        """The draft with that sheet in the place of the one of its name, or behind the others."""
        others = [one.sheet for one in self.sheets]
        if sheet.sheet not in others:
            return replace(self, sheets=(*self.sheets, sheet))
        return replace(self, sheets=tuple(sheet if one.sheet == sheet.sheet else one for one in self.sheets))


def draft_name(roll: str, person: Person) -> str:
    """Path of a draft in the plant's folder; a name that can be typed by anybody doesn't stand in it."""
    owner = person.login or person.name
    return "/".join((*_FOLDER, roll, f"{blake2b(owner.encode(), digest_size=12).hexdigest()}.json"))


def photographs_of(root: Path, roll: str, person: Person) -> Path:
    """The folder of photographs that weren't sent yet."""
    return (root / draft_name(roll, person)).with_suffix("")


def draft_of(root: Path, roll: str, person: Person) -> Draft:
    """What somebody has in hand of a roll.

    Raises:
        InputError: when the file can't be read.
    """
    from wideroll.store.files import read_json  # noqa: PLC0415  (the store loads far more than a page needs)

    path = root / draft_name(roll, person)
    if not path.is_file():
        return Draft(roll=roll, examiner=person.name)
    value = read_json(path)
    try:
        return _draft(value, person.name)
    except (KeyError, TypeError, AttributeError) as error:
        raise InputError(
            where=str(path),
            rule="must be a draft as this version writes it",
            value=str(error),
            mend="Send it with the version that wrote it, or take the file away.",
        ) from error


@contextmanager
def drafting(root: Path, roll: str, person: Person) -> Iterator[list[Draft]]:
    """The draft in a list of one, while nobody else changes it; what the list holds at the end is kept.

    Raises:
        InputError: when the file can't be read, or the disk refuses.
    """
    from wideroll.store.files import write_whole  # noqa: PLC0415

    with _LOCK:
        before = draft_of(root, roll, person)
        held = [before]
        yield held
        if held[0] != before:
            path = root / draft_name(roll, person)
            _private(path.parent)
            write_whole(path, draft_json(held[0]).encode())


def draft_json(draft: Draft) -> str:
    """The text of a draft's file."""
    from wideroll.store.files import json_bytes  # noqa: PLC0415

    return json_bytes({"schema": _SCHEMA, **asdict(draft)}).decode()


def now_utc() -> str:
    """The time, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def _private(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)


def _draft(value: Mapping[str, Any], examiner: str) -> Draft:
    return Draft(
        roll=value["roll"],
        examiner=examiner,
        shown_utc=value["shown_utc"],
        sheets=tuple(_sheet(one) for one in value["sheets"]),
    )


def _sheet(value: Mapping[str, Any]) -> DraftSheet:
    given = None if value["open"] is None else Open(**value["open"])
    return DraftSheet(**{**value, "noted": tuple(Noted(**one) for one in value["noted"]), "open": given})
