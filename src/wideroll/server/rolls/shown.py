"""The pages of a decided roll as ``acts.showing`` left them beside its decision."""

import json
import re
from pathlib import Path
from typing import Any, Final

from wideroll.server.desk import Desk
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.rolls.data import check_roll, read_roll

__all__ = ["SHOWN", "ask_for_shown", "picture_path", "shown_page", "size_of"]

SHOWN: Final = "shown"
"""The folder in the roll's results."""
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]*(\.[a-z]+)?")


def shown_page(desk: Desk, roll: str, page: str) -> dict[str, Any] | None:
    """A page's blocks, or None where they aren't made of the decision that stands.

    Raises:
        FileNotFoundError: when nothing is decided about such a roll.
    """
    index = _index(desk, roll)
    if index is None:
        return None
    path = desk.results / roll / SHOWN / f"{page}.json"
    return _kept(desk, path) if _NAME.fullmatch(page) and path.is_file() else None


def size_of(desk: Desk, roll: str) -> str:
    """Length and width of a decided roll in words, empty where its pages aren't made."""
    index = _index(desk, roll)
    return "" if index is None else str(index.get("size", ""))


def picture_path(desk: Desk, roll: str, name: str) -> Path:
    """The file of a drawn figure.

    Raises:
        FileNotFoundError: when there is none.
    """
    path = desk.results / check_roll(roll) / SHOWN / name
    if _NAME.fullmatch(name) is None or path.suffix != ".svg" or not path.is_file():
        raise FileNotFoundError(roll)
    return path


def ask_for_shown(desk: Desk, roll: str) -> Job:
    """Let the pages of a decided roll be made, if nobody has asked yet."""

    def make(job: Job) -> None:
        from wideroll.acts.rolls import take_in_hand  # noqa: PLC0415  (loads all rooms)
        from wideroll.acts.showing import show_roll  # noqa: PLC0415
        from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

        with listening(Listener(tell=job.tell, progress=lambda: job)):
            show_roll(take_in_hand(desk.root, roll))

    return jobs_of(desk).begin(f"show {roll}", f"drawing the pages of roll {roll}", make)


def _index(desk: Desk, roll: str) -> dict[str, Any] | None:
    decision = read_roll(desk.results, roll).decision
    path = desk.results / roll / SHOWN / "index.json"
    if not path.is_file():
        return None
    index = _kept(desk, path)
    return index if index.get("fingerprint") == decision.get("fingerprint") else None


def _kept(desk: Desk, path: Path) -> dict[str, Any]:
    """A JSON file, read once for each state of it."""
    kept: dict[Path, tuple[int, dict[str, Any]]] = desk.parts.setdefault("shown", {})
    changed = path.stat().st_mtime_ns
    if path not in kept or kept[path][0] != changed:
        while len(kept) >= _MOST_KEPT:
            kept.pop(next(iter(kept)), None)
        kept[path] = (changed, json.loads(path.read_text(encoding="utf-8")))
    return kept[path][1]


_MOST_KEPT: Final = 64
