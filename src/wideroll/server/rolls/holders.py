"""Who has a roll in hand, so that two don't work on the same one unawares; it binds nobody."""

import json
from pathlib import Path
from typing import Final

__all__ = ["give_back", "holder_of", "take_up"]

_FOLDER: Final = ("desk", "holders")


def holder_of(root: Path, roll: str) -> str:
    """The name of whoever has it; empty where nobody has."""
    try:
        return str(json.loads(_file(root, roll).read_text(encoding="utf-8"))["who"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def take_up(root: Path, roll: str, who: str, when_utc: str) -> None:
    """Somebody has it from now on, whoever had it before.

    Raises:
        InputError: when the disk refuses.
    """
    from wideroll.store.files import write_json  # noqa: PLC0415  (the store loads far more than the list of rolls needs)

    write_json(_file(root, roll), {"who": who, "when_utc": when_utc})


def give_back(root: Path, roll: str) -> None:
    """Nobody has it."""
    _file(root, roll).unlink(missing_ok=True)


def _file(root: Path, roll: str) -> Path:
    return root.joinpath(*_FOLDER, f"{roll}.json")
