"""Whether the files that standing decisions rest on, and those they made, are still those that were sealed."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Json, Written, digest
from wideroll.store.files import read_json
from wideroll.store.folders import sealed_bytes
from wideroll.store.hashes import hash_file

__all__ = ["DECISION", "FilesReport", "check_files"]

DECISION: Final = "decision"
"""Act of the events that seal a decision."""
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

    Earlier decisions are superseded; of these the chain alone is proven.

    Args:
        root: the plant's folder.
        rows: an intact record.
    """
    standing: dict[str, tuple[int, Mapping[str, Json]]] = {}
    for row in rows:
        if row[1] == DECISION:
            body = json.loads(row[5])
            standing[str(body.get("roll"))] = (row[0], body)
    files = 0
    for number, body in sorted(standing.values(), key=lambda one: one[0]):
        for why in _looked_at(root, body):
            files += 1
            if why:
                return FilesReport(decisions=len(standing), files=files, first_bad=number, why=f"file: {why}")
    return FilesReport(decisions=len(standing), files=files)


def _looked_at(root: Path, body: Mapping[str, Json]) -> Iterator[str]:
    """For each file what is wrong with it, in words; empty where it is as sealed."""
    folder = root / "results" / str(body.get("roll"))
    outputs = body.get("outputs")
    for name, sealed in sorted(outputs.items()) if isinstance(outputs, dict) else ():
        path = folder / name
        same = path.exists() and digest(sealed_bytes(path)) == sealed
        yield "" if same else _changed(path, root, "what was sealed")
    if not isinstance(outputs, dict) or _DOCUMENT not in outputs:
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
