"""What is known of a roll's strips: as they were when it was decided, or as they are while it isn't."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from wideroll.server.desk import Desk
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.rolls.shown import ask_for_shown, shown_page
from wideroll.server.rolls.waiting import RollStanding, standing_of

if TYPE_CHECKING:
    from wideroll.acts.shown_page import ShownPage

__all__ = ["StripsShown", "instruments_of", "strips_made_now", "strips_of"]

_KEPT: Final = 8
_SOON_S: Final = 0.3
_PAGE: Final = "strips"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripsShown:
    """The blocks of the page by their keys, where its pictures and tables lie, and ``wideroll/strips/1``.

    ``decided`` says whether a decision rests on just this.
    """

    parts: dict[str, Any]
    texts: tuple[str, ...]
    pictures: str
    tables: str
    document: dict[str, Any]
    read_outs: dict[int, dict[str, Any]]
    decided: bool

    @property
    def strips(self) -> list[dict[str, Any]]:
        """Each strip in brief."""
        found: list[dict[str, Any]] = self.parts["strips-known"]["setting"]
        return found

    def number_of(self, strip: str) -> int:
        """The strip's number on the page: that named, or else the first that is drawn; 0 where there is none.

        Raises:
            KeyError: when no such strip is known.
        """
        if not strip:
            return next((one["number"] for one in self.strips if one["drawn"]), 0)
        return int({one["strip"]: one["number"] for one in self.strips}[strip])


def strips_of(desk: Desk, roll: str) -> tuple[StripsShown | None, Job | None]:
    """The strips, or the work on them that isn't done yet.

    Raises:
        FileNotFoundError: when there is no such roll.
    """
    standing = standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    if _as_decided(standing):
        shown = shown_page(desk, roll, _PAGE)
        if shown is not None and (found := _kept(desk, roll, shown)) is not None:
            return found, None
        return None, ask_for_shown(desk, roll)
    made = strips_made_now(desk, roll)
    if made is not None:
        return _now(roll, made), None
    return None, _ask_for_now(desk, roll)


def strips_made_now(desk: Desk, roll: str) -> "ShownPage | None":
    """The page made of the files as they are; None where it isn't made of just these."""
    kept: dict[str, tuple[str, ShownPage]] = desk.parts.setdefault("strips now", {})
    found = kept.get(roll)
    return found[1] if found is not None and found[0] == _stamp(desk.root, roll) else None


def instruments_of(desk: Desk, day: str) -> dict[str, Any]:
    """The lab's instruments as on a day: ``tables`` by name, ``trouble`` in words, ``waits`` while they are read."""
    path = desk.root / "instruments.toml"
    found: dict[str, Any] = {"tables": {}, "trouble": "", "waits": False}
    if not path.is_file():
        return found
    jobs, key = jobs_of(desk), f"instruments {day} {path.stat().st_mtime_ns}"
    job = jobs.get(key) or jobs.begin(key, "reading the instruments' calibrations", lambda _: _instruments(desk, day))
    job.over.wait(_SOON_S)
    if job.error is not None:
        return found | {"trouble": str(job.error)}
    return found | ({"waits": True} if job.result is None else {"tables": job.result})


def _instruments(desk: Desk, day: str) -> dict[str, Any]:
    from wideroll.acts.showing_strips import lab_instruments  # noqa: PLC0415  (loads all rooms)

    return lab_instruments(desk.root, day)


def _as_decided(standing: RollStanding) -> bool:
    return bool(standing.verdict) and standing.state != "changed" and not standing.trouble


def _kept(desk: Desk, roll: str, shown: dict[str, Any]) -> StripsShown | None:
    parts = _by_key(shown["blocks"])
    document = shown_page(desk, roll, f"{_PAGE}-data")
    if "strips-known" not in parts or document is None:
        return None
    read_outs = {
        one["number"]: shown_page(desk, roll, f"{_PAGE}-read-out-{one['number']}") or {}
        for one in parts["strips-known"]["setting"]
        if one["drawn"]
    }
    return StripsShown(
        parts=parts,
        texts=_texts(shown["blocks"]),
        pictures=f"/rolls/{quote(roll)}/shown",
        tables=f"/rolls/{quote(roll)}/tables/{_PAGE}",
        document=document,
        read_outs=read_outs,
        decided=True,
    )


def _now(roll: str, made: "ShownPage") -> StripsShown:
    documents = {name: json.loads(data) for name, data in made.pictures.items() if name.endswith(".json")}
    parts = _by_key(made.blocks)
    return StripsShown(
        parts=parts,
        texts=_texts(made.blocks),
        pictures=f"/rolls/{quote(roll)}/strips/now",
        tables=f"/rolls/{quote(roll)}/strips/now",
        document=documents[f"{_PAGE}-data.json"],
        read_outs={
            one["number"]: documents[f"{_PAGE}-read-out-{one['number']}.json"]
            for one in parts["strips-known"]["setting"]
            if one["drawn"]
        },
        decided=False,
    )


def _by_key(blocks: list[dict[str, Any]]) -> dict[str, Any]:
    return {one["key"]: one for one in blocks if "key" in one}


def _texts(blocks: list[dict[str, Any]]) -> tuple[str, ...]:
    return tuple(one["text"] for one in blocks if "text" in one)


def _ask_for_now(desk: Desk, roll: str) -> Job:
    def make(job: Job) -> None:
        from wideroll.acts.showing_strips import strips_now  # noqa: PLC0415  (loads all rooms)
        from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

        stamp = _stamp(desk.root, roll)
        with listening(Listener(tell=job.tell, progress=lambda: job)):
            made = strips_now(desk.root, roll)
        kept: dict[str, tuple[str, ShownPage]] = desk.parts["strips now"]
        kept.pop(roll, None)
        while len(kept) >= _KEPT:
            kept.pop(next(iter(kept)), None)
        kept[roll] = (stamp, made)

    jobs, key = jobs_of(desk), f"strips {roll} {_stamp(desk.root, roll)}"
    known = jobs.get(key)
    if known is not None and known.state == "failed":
        return known
    return jobs.begin(key, f"fitting the strips of roll {roll}", make)


def _stamp(root: Path, roll: str) -> str:
    """Another one whenever a file changes that strips depend on."""
    found = ((str(path), path.stat()) for path in sorted(_files(root, roll)) if path.is_file())
    return str(hash(tuple((name, stat.st_mtime_ns, stat.st_size) for name, stat in found)))


def _files(root: Path, roll: str) -> Iterator[Path]:
    yield from (root / name for name in ("plant.toml", "instruments.toml", "processors.toml"))
    yield root / "rolls" / roll / "roll.toml"
    for folder in (root / "rolls" / roll / "strips", root / "products", root / "processors"):
        if folder.is_dir():
            yield from folder.iterdir()
