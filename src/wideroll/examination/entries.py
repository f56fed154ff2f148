"""The sightings as they were written, line after line: what is taken back stays readable."""

from collections.abc import Sequence
from dataclasses import dataclass

from wideroll.errors import ArgumentError
from wideroll.examination.model import Sighting

__all__ = ["Entry", "SightingLog", "read_back"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line: a sighting, or what it takes back, or both, which corrects an earlier line."""

    name: str
    sighting: Sighting | None = None
    takes_back: str = ""
    """Name of an earlier line."""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SightingLog:
    """All lines in the order they were written, and what holds now."""

    entries: tuple[Entry, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    """Those that hold."""
    taken_back: tuple[tuple[Entry, Entry], ...] = ()
    """Each line that no longer holds, with the one that took it back."""


def read_back(entries: Sequence[Entry]) -> SightingLog:
    """What holds after all lines were read.

    A line may take back any earlier line that still holds. Taking back a line that took something back makes that hold
    again, so that an undo can be undone.

    Args:
        entries: in the order they were written.

    Raises:
        ArgumentError: when two lines have one name, or one takes back what doesn't stand before it, was taken back
            already, or is nothing.

    Example:
        >>> lines = [Entry(name="1"), Entry(name="2", takes_back="1"), Entry(name="3", takes_back="2")]
        >>> [before.name for before, _ in read_back(lines).taken_back]
        ['2']
    """
    names: set[str] = set()
    backs: list[Entry] = []
    for entry in entries:
        if entry.name in names:
            raise ArgumentError(
                where="entry", rule="each line has a name of its own", value=entry.name, mend="Give it another name."
            )
        if entry.takes_back:
            _check(entry.takes_back, names, _gone(backs))
            backs.append(entry)
        names.add(entry.name)
    gone = _gone(backs)
    return SightingLog(
        entries=tuple(entries),
        sightings=tuple(e.sighting for e in entries if e.sighting is not None and e.name not in gone),
        taken_back=tuple((entry, gone[entry.name]) for entry in entries if entry.name in gone),
    )


def _gone(backs: Sequence[Entry]) -> dict[str, Entry]:
    """Names of lines that no longer hold, with what took them back: from the end, as only later lines take back."""
    gone: dict[str, Entry] = {}
    for entry in reversed(backs):
        if entry.name not in gone:
            gone.setdefault(entry.takes_back, entry)
    return gone


def _check(named: str, names: set[str], gone: dict[str, Entry]) -> None:
    if named not in names:
        raise ArgumentError(
            where="takes_back",
            rule="must name a line that stands before it",
            value=named,
            mend="Write the name of the line that was wrong; lines without a name are counted from 1.",
        )
    if named in gone:
        raise ArgumentError(
            where="takes_back",
            rule=f"a line is taken back once, and {gone[named].name} did so already",
            value=named,
            mend=f"To make it hold again, take back {gone[named].name}.",
        )
