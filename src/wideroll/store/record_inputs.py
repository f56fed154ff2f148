"""Whether the files that standing decisions rest on, those they made, and those taken in are still what was sealed."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Json, Written, digest
from wideroll.store.acts import CARD, CUT, DECISION, EVIDENCE
from wideroll.store.evidence import NamedFile, folded, named_files
from wideroll.store.files import read_json
from wideroll.store.folders import FOLDERS, sealed_bytes
from wideroll.store.hashes import FileHashes, hash_twice

__all__ = ["FilesReport", "NotTakenIn", "check_files"]

_DOCUMENT: Final = "decision.json"
_LOOKED_AT: Final = frozenset({DECISION, CUT, CARD, *EVIDENCE})


@dataclass(frozen=True, slots=True, kw_only=True)
class NotTakenIn:
    """A file that isn't what the last event that names it took in, and that no standing decision rests on."""

    file: str
    event: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FilesReport:
    """How many decisions and files were looked at, and the first event whose files aren't those that were sealed."""

    decisions: int
    files: int
    first_bad: int | None = None
    why: str = ""
    mend: str = ""
    """What to do about it, where that is known."""
    taken_in: int = 0
    """Files that were taken in, looked at where none fails."""
    not_taken_in: tuple[NotTakenIn, ...] = ()
    photographs: int = 0
    base_periods: int = 0
    """Of complaints."""


def check_files(root: Path, rows: Iterable[Written]) -> FilesReport:
    """Look at the files of each roll's last decision: what it made and, as its document names them, what it rests on.

    Of a cut recorded after it, those that it put in the place of the decision's. Earlier decisions and cuts are
    superseded; of these the chain alone is proven. So are action cards as they were raised. Where all these are as
    sealed, the files that were taken in are compared with the last event that names each; one that was changed since is
    no failure, as people may change what they have not handed over, but is told.

    Args:
        root: the plant's folder.
        rows: an intact record.
    """
    told = [row for row in rows if row[1] in _LOOKED_AT]
    standing, named, disk = _standing(told), named_files(told), _Disk(root=root)
    files = 0
    acts = [one for acts in standing for one in _named(acts)] + _cards(told)
    for number, body, outputs in sorted(acts, key=lambda one: one[0]):
        for why, mend in _looked_at(root / "results" / str(body.get("roll")), disk, outputs, named):
            files += 1
            if why:
                return FilesReport(
                    decisions=len(standing), files=files, first_bad=number, why=f"file: {why}", mend=mend
                )
    return FilesReport(
        decisions=len(standing), files=files, taken_in=len(named), not_taken_in=tuple(_not_taken_in(disk, named))
    )


@dataclass(slots=True, kw_only=True)
class _Disk:
    """A plant's files as they are, each read once."""

    root: Path
    _seen: dict[Path, FileHashes | None] = field(default_factory=dict)

    def hashes(self, path: Path) -> FileHashes | None:
        """Of a file; None where it isn't there or can't be read."""
        if path not in self._seen:
            try:
                self._seen[path] = hash_twice(path)
            except InputError:
                self._seen[path] = None
        return self._seen[path]

    def content(self, name: str) -> str | None:
        """What the record would name a file by; a folder by all that is in it."""
        path = self.root / name
        if not path.is_dir():
            both = self.hashes(path)
            return None if both is None else both.sha256
        inside = {one: self.hashes(one) for one in path.rglob("*") if one.is_file()}
        names = {one.relative_to(self.root).as_posix(): both.sha256 for one, both in inside.items() if both is not None}
        return folded(names).get(name)


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


def _cards(rows: Iterable[Written]) -> list[tuple[int, Mapping[str, Json], Mapping[str, Json]]]:
    """The last event that raised each card of each roll, with its file."""
    cards: dict[tuple[str, str], tuple[int, Mapping[str, Json], Mapping[str, Json]]] = {}
    for row in rows:
        if row[1] == CARD:
            body = json.loads(row[5])
            outputs = body.get("outputs")
            named = outputs if isinstance(outputs, dict) else {}
            cards[str(body.get("roll")), str(body.get("card"))] = row[0], body, named
    return list(cards.values())


def _looked_at(
    folder: Path, disk: _Disk, outputs: Mapping[str, Json], named: Mapping[str, NamedFile]
) -> Iterator[tuple[str, str]]:
    """For each file what is wrong with it, in words, and what mends it; empty where it is as sealed."""
    for name, sealed in sorted(outputs.items()):
        path = folder / name
        same = path.exists() and digest(sealed_bytes(path)) == sealed
        yield "" if same else _changed(_within(folder, name, outputs), disk.root, "what was sealed"), ""
    if _DOCUMENT not in outputs:
        return
    # The document is the one that was sealed, so the hashes it names are those of then.
    for name, sealed in sorted(read_json(folder / _DOCUMENT)["inputs"].items()):
        both = disk.hashes(disk.root / name)
        same = both is not None and both.hash == sealed
        why = "" if same else _changed(disk.root / name, disk.root, "what the decision was made from")
        yield why, _taken_in_since(named.get(name), both) if why else ""


def _within(folder: Path, name: str, outputs: Mapping[str, Json]) -> Path:
    """The first file that changed of a folder that did, where the list of its files is the one that was sealed."""
    path, listed = folder / name, folder / FOLDERS
    if not path.is_dir() or not listed.is_file() or digest(sealed_bytes(listed)) != outputs.get(FOLDERS):
        return path
    then, now = read_json(listed).get(name, {}), json.loads(sealed_bytes(path))
    changed = sorted(one for one in then.keys() | now.keys() if then.get(one) != now.get(one))
    return path / changed[0] if changed else path


def _taken_in_since(one: NamedFile | None, now: FileHashes | None) -> str:
    if one is None or one.content != (None if now is None else now.sha256):
        return ""
    return f"Decide the roll anew: event {one.number}, {one.act} by {one.who}, took the file in as it is now."


def _not_taken_in(disk: _Disk, named: Mapping[str, NamedFile]) -> Iterator[NotTakenIn]:
    for name, one in sorted(named.items()):
        content = disk.content(name)
        if content != one.content:
            yield NotTakenIn(file=name, event=one.number, why=_unlike(content, one))


def _unlike(content: str | None, one: NamedFile) -> str:
    if one.content is None:
        return "is there again"
    return "isn't there" if content is None else "isn't what was taken in"


def _changed(path: Path, root: Path, what: str) -> str:
    name = path.relative_to(root).as_posix()
    return f"{name} isn't {what}" if path.exists() else f"{name} isn't there"
