"""Which files decisions rest on the record names, and what of them is new, changed or gone."""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final, TypeAlias

from wideroll.record import Json, Written, digest
from wideroll.store.acts import CALIBRATION, EVIDENCE, READING, SIGHTING, TAKE_IN
from wideroll.store.files import json_bytes

__all__ = [
    "Lookup",
    "NamedFile",
    "act_of",
    "evidence_bodies",
    "evidence_files",
    "evidence_named",
    "folded",
    "named_files",
]

Lookup: TypeAlias = Callable[[Sequence[str], Sequence[str]], Iterable[Written]]
"""Events of some acts whose body names any of some names; all of these acts where no name is given."""

_CALIBRATION_FILES: Final = frozenset({"instruments.toml", "examiners.toml", "processors.toml"})
_PROCESSORS: Final = "processors"
_ROLLS: Final = "rolls"
_WITHIN: Final = 2
"""Where the name within the roll's folder begins."""
_FOLDED: Final = ".zarr"
"""A raster of many files, named as one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedFile:
    """What the record last said of a file: its SHA-256, or None where it was gone; and which event said so."""

    content: str | None
    number: int
    act: str
    who: str
    when_utc: str
    roll: str
    """Empty where the event names none."""


def act_of(name: str) -> str:
    """By which act a file of a plant is recorded.

    Args:
        name: path in the plant.

    Example:
        >>> act_of("rolls/W-1/strips/readings.csv"), act_of("rolls/W-1/scan/segment-1.tif"), act_of("examiners.toml")
        ('reading', 'take-in', 'calibration')
    """
    parts = PurePosixPath(name).parts
    if name in _CALIBRATION_FILES or parts[0] == _PROCESSORS:
        return CALIBRATION
    within = parts[_WITHIN] if parts[0] == _ROLLS and len(parts) > _WITHIN else ""
    return {"strips": READING, "properties.csv": READING, "examination": SIGHTING}.get(within, TAKE_IN)


def folded(digests: Mapping[str, str]) -> dict[str, str]:
    """SHA-256 of each file by its path in the plant; a Zarr folder is one, by the digests of what is in it.

    Example:
        >>> list(
        ...     folded({"plant.toml": "ab", "rolls/W-1/scan/s.zarr/0/0": "cd", "rolls/W-1/scan/s.zarr/zarr.json": "ef"})
        ... )
        ['plant.toml', 'rolls/W-1/scan/s.zarr']
    """
    single: dict[str, str] = {}
    folders: dict[str, dict[str, str]] = {}
    for name, content in digests.items():
        path = PurePosixPath(name)
        folder = next((parent for parent in path.parents if parent.suffix.lower() == _FOLDED), None)
        if folder is None:
            single[name] = content
        else:
            folders.setdefault(folder.as_posix(), {})[path.relative_to(folder).as_posix()] = content
    return single | {name: digest(json_bytes(inside)) for name, inside in folders.items()}


def evidence_named(look: Lookup, roll: str, files: Iterable[str]) -> dict[str, NamedFile]:
    """What the record last said of a roll's files, and of the plant's that it rests on.

    Args:
        look: finds the events.
        roll: its name.
        files: paths in the plant of the files there are now.

    Example:
        >>> evidence_named(lambda acts, names: (), "W-1", ["plant.toml"])
        {}
    """
    shared = [name for name in files if PurePosixPath(name).parts[0] != _ROLLS and act_of(name) == TAKE_IN]
    rows = [*look((TAKE_IN,), [roll, *shared]), *look((READING, SIGHTING), [roll]), *look((CALIBRATION,), ())]
    return named_files(sorted(rows, key=lambda row: row.number))


def named_files(rows: Iterable[Written]) -> dict[str, NamedFile]:
    """What the record last said of each file, by its path in the plant.

    Args:
        rows: events in order; acts other than those of evidence are passed over.

    Example:
        >>> from wideroll.record import append_event, written
        >>> said = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> event = append_event(None, act="reading", body={"roll": "W-1", "files": {"a.csv": "ab"}}, **said)
        >>> named_files([written(event)])["a.csv"].number
        1
    """
    named: dict[str, NamedFile] = {}
    for row in rows:
        if row[1] in EVIDENCE:
            body = json.loads(row[5])
            for name, content in _said_of(body):
                named[name] = NamedFile(
                    content=content,
                    number=row[0],
                    act=row[1],
                    who=row[2],
                    when_utc=row[3],
                    roll=str(body.get("roll", "")),
                )
    return named


def evidence_bodies(
    roll: str, files: Mapping[str, str], named: Mapping[str, NamedFile], *, root: Path
) -> tuple[tuple[str, dict[str, Json]], ...]:
    """The acts, each with its body, that make the record name all files as they are; none where it does so already.

    Args:
        roll: its name.
        files: SHA-256 of each file that a decision on the roll rests on, by its path in the plant.
        named: what the record last said of them (``evidence_named``).
        root: the plant's folder, to see what is gone.

    Returns:
        Acts in the order of ``EVIDENCE``.

    Example:
        >>> evidence_bodies("W-1", {"rolls/W-1/roll.toml": "ab"}, {}, root=Path("plant"))
        (('take-in', {'roll': 'W-1', 'files': {'rolls/W-1/roll.toml': 'ab'}}),)
    """
    new = {name: content for name, content in files.items() if name not in named or named[name].content != content}
    gone = [
        name
        for name, one in named.items()
        if one.content is not None and name not in files and one.roll in {roll, ""} and not (root / name).exists()
    ]
    return tuple(_bodies(roll, new, gone))


def _bodies(roll: str, new: Mapping[str, str], gone: Iterable[str]) -> Iterator[tuple[str, dict[str, Json]]]:
    left = sorted(gone)
    for act in EVIDENCE:
        files: dict[str, Json] = {name: new[name] for name in sorted(new) if act_of(name) == act}
        away: list[Json] = [name for name in left if act_of(name) == act]
        if files or away:
            body: dict[str, Json] = {} if act == CALIBRATION else {"roll": roll}
            yield act, body | {"files": files} | ({"gone": away} if away else {})


def evidence_files(body: Mapping[str, Json]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the files that an act of evidence is about, and of those that it says are gone.

    Example:
        >>> evidence_files({"roll": "W-1", "files": {"rolls/W-1/roll.toml": "ab"}})
        (('rolls/W-1/roll.toml',), ())
    """
    said = list(_said_of(body))
    return tuple(name for name, content in said if content), tuple(name for name, content in said if content is None)


def _said_of(body: Mapping[str, Json]) -> Iterator[tuple[str, str | None]]:
    files, gone = body.get("files"), body.get("gone")
    if isinstance(files, dict):
        yield from ((name, str(content)) for name, content in files.items())
    if isinstance(gone, list):
        yield from ((str(name), None) for name in gone)
