"""What lies below ``results/``: one folder a roll, with the decision and its sheet."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wideroll.errors import InputError

__all__ = ["ROLL_NAME", "RollResult", "check_roll", "list_rolls", "read_roll", "sheet_path"]

ROLL_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_DECISION: Final = "decision.json"
_SHEET: Final = "sheet.html"
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
    found: list[RollResult] = []
    for folder in sorted(results.iterdir()):
        if ROLL_NAME.fullmatch(folder.name) is None or not (folder / _DECISION).is_file():
            continue
        try:
            found.append(read_roll(results, folder.name))
        except InputError as error:
            found.append(
                RollResult(
                    roll=folder.name,
                    verdict="unknown",
                    why="",
                    has_sheet=(folder / _SHEET).is_file(),
                    decision={},
                    trouble=str(error),
                )
            )
    return tuple(found)


def read_roll(results: Path, name: str) -> RollResult:
    """One decided roll.

    Raises:
        InputError: when the decision isn't JSON with the keys ``roll``, ``verdict`` and ``why``.
        FileNotFoundError: when nothing was decided about such a roll.
    """
    path = _inside(results, name) / _DECISION
    if not path.is_file():
        raise FileNotFoundError(name)
    try:
        decision = json.loads(path.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise InputError(where=f"{name}/{_DECISION}", rule="must be JSON", value=str(error), mend=_MEND) from error
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
