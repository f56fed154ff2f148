"""What lies below ``results/``: one folder a roll, with the decision and its sheet."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from wideroll.errors import InputError

__all__ = ["ROLL_NAME", "RollResult", "check_roll", "list_rolls", "look_at_roll", "read_roll", "sheet_path"]

ROLL_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_DECISION: Final = "decision.json"
_SHEET: Final = "sheet.html"
_KEPT: Final = 64
"""So many decisions are held read."""
_WANTED: Final = ("roll", "verdict", "why")
_MEND: Final = "Run wideroll decide on this roll again."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollResult:
    """A decided roll. ``trouble`` says why its decision can't be read, and is empty otherwise."""

    roll: str
    verdict: str
    why: str
    has_sheet: bool
    decision: Mapping[str, Any]
    trouble: str = ""


def check_roll(name: str) -> str:
    """The name of a roll, which can never lead out of the folder of results.

    Raises:
        InputError: when it isn't letters, digits, points, dashes and underscores, with a letter or digit first.

    Example:
        >>> check_roll("4711")
        '4711'
    """
    if ROLL_NAME.fullmatch(name) is None:
        raise InputError(
            where="roll",
            rule="a roll's name is letters, digits, points, dashes and underscores, a letter or digit first",
            value=name,
            mend="Take the name from the list of rolls.",
        )
    return name


def list_rolls(results: Path) -> tuple[RollResult, ...]:
    """All decided rolls by name; one whose decision can't be read is listed with its trouble, not left out."""
    if not results.is_dir():
        return ()
    names = sorted(path.name for path in results.iterdir() if ROLL_NAME.fullmatch(path.name))
    return tuple(found for name in names if (found := look_at_roll(results, name)) is not None)


def look_at_roll(results: Path, name: str) -> RollResult | None:
    """One roll as it stands in the list; None where nothing is decided about it."""
    folder = results / name
    if not (folder / _DECISION).is_file():
        return None
    try:
        return read_roll(results, name)
    except FileNotFoundError:  # a link that leads elsewhere
        return None
    except InputError as error:
        return RollResult(
            roll=name,
            verdict="unknown",
            why="",
            has_sheet=(folder / _SHEET).is_file(),
            decision={},
            trouble=str(error),
        )


def read_roll(results: Path, name: str) -> RollResult:
    """One decided roll.

    Raises:
        InputError: when the decision isn't JSON with the keys ``roll``, ``verdict`` and ``why``.
        FileNotFoundError: when nothing was decided about such a roll.
    """
    path = _inside(results, name) / _DECISION
    if not path.is_file():
        raise FileNotFoundError(name)
    decision = _decision_in(path, _stamp(path))
    if not isinstance(decision, dict) or any(not isinstance(decision.get(key), str) for key in _WANTED):
        raise InputError(
            where=f"{name}/{_DECISION}", rule=f"must have the texts {', '.join(_WANTED)}", value=decision, mend=_MEND
        )
    return RollResult(
        roll=decision["roll"],
        verdict=decision["verdict"],
        why=decision["why"],
        has_sheet=(path.parent / _SHEET).is_file(),
        decision=decision,
    )


def _stamp(path: Path) -> tuple[int, int, int]:
    seen = path.stat()
    return seen.st_ino, seen.st_mtime_ns, seen.st_size


@lru_cache(maxsize=_KEPT)
def _decision_in(path: Path, stamp: tuple[int, int, int]) -> Any:
    """What a file holds, read once for each state of it: a decision is replaced whole."""
    del stamp
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        where = f"{path.parent.name}/{_DECISION}"
        raise InputError(where=where, rule="must be JSON", value=str(error), mend=_MEND) from error


def sheet_path(results: Path, name: str) -> Path:
    """The file of a roll's sheet.

    Raises:
        FileNotFoundError: when there is none.
    """
    path = _inside(results, name) / _SHEET
    if not path.is_file():
        raise FileNotFoundError(name)
    return path


def _inside(results: Path, name: str) -> Path:
    folder = (results / check_roll(name)).resolve()
    if folder.parent != results.resolve():  # a link that leads elsewhere
        raise FileNotFoundError(name)
    return folder
