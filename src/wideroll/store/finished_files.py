"""results/finished.parquet: the plant's finished rolls and their coated places, and how it is made from cut lists."""

import json
from collections import defaultdict
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import polars as pl

from wideroll.errors import InputError
from wideroll.store.files import read_bytes, write_whole
from wideroll.store.plain import from_plain, to_plain
from wideroll.workflow.finished_index import FinishedIndex, WideRoll
from wideroll.workflow.finished_rolls import FINISHED_SCHEMA, SlitPart, SlitRoll

__all__ = ["FINISHED", "load_finished", "save_finished", "slit_rolls", "windings_of"]

FINISHED: Final = "finished.parquet"
"""In the plant's results folder."""
_HEAD: Final = "wideroll/finished/1"


def load_finished(root: Path) -> FinishedIndex:
    """The kept table; empty where there is none or it isn't one of today's.

    Args:
        root: the plant's folder.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     load_finished(Path(folder)).count
        0
    """
    path = root / "results" / FINISHED
    if not path.is_file():
        return FinishedIndex(rows=FINISHED_SCHEMA.to_frame(), rolls={})
    try:
        data = read_bytes(path)
        head = pl.read_parquet_metadata(BytesIO(data)).get(_HEAD, "")
        rolls = from_plain(json.loads(head), dict[str, WideRoll])
        rows = pl.read_parquet(BytesIO(data))
    except (InputError, ValueError, pl.exceptions.PolarsError, OSError):
        return FinishedIndex(rows=FINISHED_SCHEMA.to_frame(), rolls={})
    sound = rows.schema == FINISHED_SCHEMA
    return FinishedIndex(rows=rows if sound else FINISHED_SCHEMA.to_frame(), rolls=rolls if sound else {})


def save_finished(root: Path, index: FinishedIndex) -> None:
    """Replace the kept table in one step; the same table gives the same bytes.

    Raises:
        InputError: when the disk refuses.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     save_finished(Path(folder), FinishedIndex(rows=FINISHED_SCHEMA.to_frame(), rolls={}))
        ...     (Path(folder) / "results" / "finished.parquet").is_file()
        True
    """
    head = {name: to_plain(roll) for name, roll in sorted(index.rolls.items())}
    buffer = BytesIO()
    text = json.dumps(head, ensure_ascii=False, sort_keys=True)
    index.rows.write_parquet(buffer, compression="zstd", metadata={_HEAD: text})
    write_whole(root / "results" / FINISHED, buffer.getvalue())


def windings_of(cut: Mapping[str, Any]) -> dict[str, int]:
    """How often film of each width is wound over, by a cut list; once where an older one doesn't say.

    Example:
        >>> windings_of({"widths": [{"name": "35 mm", "windings": 2}, {"name": "16 mm"}]})
        {'35 mm': 2, '16 mm': 1}
    """
    return {one["name"]: int(one.get("windings", 1)) for one in cut.get("widths", ())}


def slit_rolls(cut: Mapping[str, Any]) -> tuple[SlitRoll, ...]:
    """The finished rolls of a cut list (``wideroll/cut/2``), in its order.

    Raises:
        InputError: when it isn't one.

    Example:
        >>> slit_rolls({"schema": "wideroll/cut/2", "status": "rejected", "pieces": [], "rolls": []})
        ()
    """
    windings = windings_of(cut)
    pieces: dict[str, list[dict[str, Any]]] = defaultdict(list)
    try:
        for piece in cut["pieces"]:
            pieces[piece["roll"]].append(piece)
        return tuple(
            SlitRoll(
                number=one["label"],
                width=one["width"],
                quality=one["quality"],
                order=one["order"] or "",
                windings=windings.get(one["width"], 1),
                parts=tuple(_part(piece) for piece in sorted(pieces[one["number"]], key=lambda piece: piece["part"])),
            )
            for one in cut["rolls"]
        )
    except (KeyError, TypeError) as error:
        raise InputError(
            where="cut.json",
            rule="must be a cut list, wideroll/cut/2",
            value=str(cut.get("schema")),
            mend="Decide the roll anew with this version.",
        ) from error


def _part(piece: Mapping[str, Any]) -> SlitPart:
    return SlitPart(
        slitter_from_m=piece["slitter_from_m"],
        slitter_to_m=piece["slitter_to_m"],
        across_from_mm=piece["extent"]["across_from_mm"],
        across_to_mm=piece["extent"]["across_to_mm"],
    )
