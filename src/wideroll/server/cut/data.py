"""The cut that stands on a roll, as its decision or the order book left it."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.rolls.data import check_roll, read_roll
from wideroll.server.rolls.shown import SHOWN, shown_page

__all__ = ["StandingCut", "cut_file", "cut_of", "shown_cut"]

_KEPT: Final = 8
_FILES: Final = frozenset({"cut.json", "cut.csv", "cut.html"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StandingCut:
    """``document`` is ``wideroll/cut/2``; ``decided`` the fingerprint of the evidence behind the decision."""

    roll: str
    document: dict[str, Any]
    digest: str
    decided: str

    @property
    def mark(self) -> str:
        """Another one for each decision and each cut."""
        return f"{self.decided} {self.digest}"

    @property
    def is_cut(self) -> bool:
        """Whether anything of the roll is cut."""
        return bool(self.document.get("pieces"))


def cut_of(desk: Desk, roll: str) -> StandingCut:
    """The cut that stands.

    Raises:
        FileNotFoundError: when nothing is decided about such a roll.
        InputError: when its file can't be read.
    """
    decided = str(read_roll(desk.results, roll).decision.get("fingerprint", ""))
    document, digest = _read(desk, cut_file(desk, roll, "cut.json"))
    return StandingCut(roll=roll, document=document, digest=digest, decided=decided)


def cut_file(desk: Desk, roll: str, name: str) -> Path:
    """The file of its list or its sheet.

    Raises:
        FileNotFoundError: when there is none.
    """
    path = desk.results / check_roll(roll) / name
    if name not in _FILES or not path.is_file():
        raise FileNotFoundError(roll)
    return path


def shown_cut(desk: Desk, cut: StandingCut) -> dict[str, Any] | None:
    """The drawn parts of its page by their keys, and ``texts``; None where they aren't those of this cut."""
    shown = shown_page(desk, cut.roll, "cut")
    index = desk.results / cut.roll / SHOWN / "index.json"
    if shown is None or not index.is_file() or _read(desk, index)[0].get("cut") != cut.digest:
        return None
    return {
        "texts": [one["text"] for one in shown["blocks"] if "text" in one],
        "cautions": [one["caution"] for one in shown["blocks"] if "caution" in one],
        **{one["key"]: one for one in shown["blocks"] if "key" in one},
    }


def _read(desk: Desk, path: Path) -> tuple[dict[str, Any], str]:
    """A JSON file and its hash, read once for each state of it."""
    kept: dict[Path, tuple[tuple[int, int], dict[str, Any], str]] = desk.parts.setdefault("cut", {})
    stat = path.stat()
    state = (stat.st_mtime_ns, stat.st_size)
    found = kept.get(path)
    if found is None or found[0] != state:
        while len(kept) >= _KEPT:
            kept.pop(next(iter(kept)), None)
        content = path.read_bytes()
        found = kept[path] = (state, _parsed(path, content), hashlib.sha256(content).hexdigest())
    return found[1], found[2]


def _parsed(path: Path, content: bytes) -> dict[str, Any]:
    where, mend = f"{path.parent.name}/{path.name}", "Decide the roll again."
    try:
        document = json.loads(content)
    except ValueError as error:
        raise InputError(where=where, rule="must be JSON", value=str(error), mend=mend) from error
    if not isinstance(document, dict):
        raise InputError(where=where, rule="must be a JSON object", mend=mend)
    return document
