"""Whether the files that standing decisions rest on, and those they made, are still those that were sealed."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Json, Written, digest
from wideroll.store.files import read_json
from wideroll.store.folders import sealed_bytes
from wideroll.store.hashes import hash_file

__all__ = ["CUT", "DECISION", "FilesReport", "check_files"]

DECISION: Final = "decision"
"""Act of the events that seal a decision."""
CUT: Final = "cut"
"""Act of the events that put a cut for the order book in the place of the one made with the standing decision."""
_DOCUMENT: Final = "decision.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilesReport:
    """How many decisions and files were looked at, and the first event whose files aren't those that were sealed."""

    decisions: int
    files: int
    first_bad: int | None = None
    why: str = ""


def check_files(root: Path, rows: Iterable[Written]) -> FilesReport:
    """Look at the files of each roll's last decision: what it made and, as its document names them, what it rests on.

    Of a cut recorded after it, those that it put in the place of the decision's. Earlier decisions and cuts are
    superseded; of these the chain alone is proven.

    Args:
        root: the plant's folder.
        rows: an intact record.
    """
    standing = _standing(rows)
    files = 0
    for number, body, named in sorted((one for acts in standing for one in _named(acts)), key=lambda one: one[0]):
        for why in _looked_at(root / "results" / str(body.get("roll")), root, named):
            files += 1
            if why:
                return FilesReport(decisions=len(standing), files=files, first_bad=number, why=f"file: {why}")
    return FilesReport(decisions=len(standing), files=files)


def _standing(rows: Iterable[Written]) -> list[list[tuple[int, Mapping[str, Json]]]]:
    """Of each roll the last decision, and the last cut after it if there is one, with their numbers."""
    standing: dict[str, list[tuple[int, Mapping[str, Json]]]] = {}
    for row in rows:
        if row[1] in {DECISION, CUT}:
            body = json.loads(row[5])
            roll = str(body.get("roll"))
            if row[1] == DECISION:
                standing[roll] = [(row[0], body)]
            elif roll in standing:
                standing[roll][1:] = [(row[0], body)]
    return list(standing.values())


def _named(
    acts: Sequence[tuple[int, Mapping[str, Json]]],
) -> Iterator[tuple[int, Mapping[str, Json], dict[str, Json]]]:
    """Each act with the files that it names and no later one replaced."""
    replaced: set[str] = set()
    for number, body in reversed(acts):
        outputs = body.get("outputs")
        named = outputs if isinstance(outputs, dict) else {}
        yield number, body, {name: sealed for name, sealed in named.items() if name not in replaced}
        replaced |= named.keys()


def _looked_at(folder: Path, root: Path, named: Mapping[str, Json]) -> Iterator[str]:
    """For each file what is wrong with it, in words; empty where it is as sealed."""
    for name, sealed in sorted(named.items()):
        path = folder / name
        same = path.exists() and digest(sealed_bytes(path)) == sealed
        yield "" if same else _changed(path, root, "what was sealed")
    if _DOCUMENT not in named:
        return
    # The document is the one that was sealed, so the hashes it names are those of then.
    for name, sealed in sorted(read_json(folder / _DOCUMENT)["inputs"].items()):
        try:
            same = hash_file(root / name) == sealed
        except InputError:
            same = False
        yield "" if same else _changed(root / name, root, "what the decision was made from")


def _changed(path: Path, root: Path, what: str) -> str:
    name = path.relative_to(root).as_posix()
    return f"{name} isn't {what}" if path.exists() else f"{name} isn't there"
