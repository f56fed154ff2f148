"""How the plant's files stand, as far as pages show them, and what changed between two looks."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, TypeAlias

__all__ = ["RollSight", "Sight", "record_mark", "sight_of"]

Mark: TypeAlias = tuple[int, ...]
"""Changes with a file; empty where there is none."""

_CARD: Final = re.compile(r"(\d{1,9})\.json")
_ROLL: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_RECORD: Final = "wideroll.db"
_EVIDENCE: Final = ("scan", "strips", "examination")
_READ: Final = (".csv", ".toml")


@dataclass(frozen=True, slots=True, kw_only=True)
class RollSight:
    """How one roll's files stand."""

    cards: Mapping[int, int] = field(default_factory=dict)
    """When each card's file was written, by its number."""
    decision: Mark = ()
    results: tuple[Mark, ...] = ((), ())
    """The cut and the drawn pages."""
    evidence: tuple[Mark, ...] = ((),)
    holder: Mark = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """How the plant stands."""

    rolls: Mapping[str, RollSight]
    record: tuple[Mark, ...]


def sight_of(root: Path, results: Path) -> Sight:
    """Look once; what can't be read counts as not there.

    Args:
        root: the plant's folder.
        results: the folder with one folder a roll.
    """
    names = {path.name for parent in (root / "rolls", results) for path in _inside(parent) if path.is_dir()}
    return Sight(
        rolls={name: _roll(root, results, name) for name in sorted(names) if _ROLL.fullmatch(name)},
        record=record_mark(root),
    )


def record_mark(root: Path) -> tuple[Mark, ...]:
    """Changes with the record where it is the plant's own file; reading it changes nothing here.

    Args:
        root: the plant's folder.
    """
    log = _mark(root / f"{_RECORD}-wal")
    return _mark(root / _RECORD), log if log and log[0] else ()


def _roll(root: Path, results: Path, name: str) -> RollSight:
    folder, evidence = results / name, root / "rolls" / name
    read = [path for path in _inside(evidence) if path.suffix in _READ]
    for part in _EVIDENCE:
        read += [path for path in _inside(evidence / part) if path.suffix in _READ]
    marks = [_mark(path) for path in sorted(read)]
    return RollSight(
        cards={
            int(found[1]): written[1]
            for path in _inside(folder / "cards")
            if (found := _CARD.fullmatch(path.name)) and (written := _mark(path))
        },
        decision=_mark(folder / "decision.json"),
        results=(_mark(folder / "cut.json"), _mark(folder / "shown" / "index.json")),
        evidence=(*marks, _changed(evidence / "scan")),
        holder=_mark(root / "desk" / "holders" / f"{name}.json"),
    )


def _inside(folder: Path) -> Iterator[Path]:
    try:
        yield from folder.iterdir()
    except OSError:
        return


def _mark(path: Path) -> Mark:
    try:
        stat = path.stat()
    except OSError:
        return ()
    return stat.st_size, stat.st_mtime_ns


def _changed(folder: Path) -> Mark:
    """Of a folder whose files come one after the other, when the last one came."""
    return _mark(folder)[1:]
