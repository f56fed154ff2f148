"""Chips of marks as grey pictures that lose nothing, and the list that says which mark each shows."""

import re
from collections.abc import Mapping, Sequence
from math import isfinite
from pathlib import Path
from typing import Any, Final

import imagecodecs
import polars as pl

from wideroll.errors import ArgumentError, InputError
from wideroll.scan import Chip
from wideroll.store.files import json_bytes, read_bytes, read_json
from wideroll.store.folders import write_folder

__all__ = ["CHIPS_LIST", "CHIPS_VERSION", "pack_chips", "read_chips", "write_chips"]

CHIPS_LIST: Final = "chips.json"
CHIPS_VERSION: Final = 1
_ID: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*")
_PNG_LEVEL: Final = 6


def pack_chips(chips: Sequence[Chip], marks: pl.DataFrame, pitch_mm: tuple[float, float]) -> dict[str, bytes]:
    """Content of each file of a folder of chips, by name; the same chips give the same bytes.

    Args:
        chips: of marks, in the order they are to come back.
        marks: the table they are named in; a chip of a mark it doesn't hold has no kind and snr.
        pitch_mm: distance of lines and of pixels across.

    Raises:
        ArgumentError: when a mark's name can't be a file's, or has two chips.

    Example:
        >>> import numpy as np
        >>> from wideroll.roll import empty_marks
        >>> chip = Chip(mark="28282b663903", pixels=np.zeros((9, 9), np.uint8), first_line=120, first_column=3)
        >>> list(pack_chips([chip], empty_marks(), (0.1, 0.1)))
        ['28282b663903.png', 'chips.json']
    """
    known = {row["id"]: row for row in marks.select("id", pl.col("kind").cast(pl.String), "snr").iter_rows(named=True)}
    files: dict[str, bytes] = {}
    entries: list[dict[str, Any]] = []
    for chip in chips:
        name = f"{chip.mark}.png"
        if not _ID.fullmatch(chip.mark) or name in files:
            raise ArgumentError(
                where="chip",
                rule="each is of another mark, whose name is letters, digits, - and _",
                value=chip.mark,
                mend="Name marks with mark_id, and give each one chip.",
            )
        files[name] = bytes(imagecodecs.png_encode(chip.pixels, level=_PNG_LEVEL))
        entries.append(_entry(chip, name, known.get(chip.mark)))
    said = {"version": CHIPS_VERSION, "pitch_mm": list(pitch_mm), "chips": entries}
    return {**files, CHIPS_LIST: json_bytes(said, sort_keys=False)}


def write_chips(folder: Path, chips: Sequence[Chip], marks: pl.DataFrame, pitch_mm: tuple[float, float]) -> None:
    """Write a folder of chips; one that holds chips is replaced.

    Raises:
        InputError: when the folder holds anything else, or the disk refuses.
    """
    if folder.exists() and not (folder / CHIPS_LIST).is_file() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            where=str(folder),
            rule="a folder for chips must be new, empty or hold chips",
            value="something else",
            mend="Name another folder.",
        )
    write_folder(folder, pack_chips(chips, marks, pitch_mm))


def read_chips(folder: Path) -> tuple[Chip, ...]:
    """The chips that a folder holds, as they were packed.

    Raises:
        InputError: when a file is missing or isn't what its list says.
    """
    said = read_json(folder / CHIPS_LIST)
    try:
        if said["version"] != CHIPS_VERSION:
            raise _damaged(folder, f"version {said['version']}")
        return tuple(_read_chip(folder, entry) for entry in said["chips"])
    except (KeyError, TypeError, ValueError, imagecodecs.PngError) as error:
        raise _damaged(folder, f"{type(error).__name__}: {error}") from error


def _entry(chip: Chip, name: str, row: Mapping[str, Any] | None) -> dict[str, Any]:
    snr = row["snr"] if row else None
    return {
        "id": chip.mark,
        "file": name,
        "first_line": int(chip.first_line),
        "first_column": int(chip.first_column),
        "lines": chip.pixels.shape[0],
        "columns": chip.pixels.shape[1],
        "kind": row["kind"] if row else None,
        "snr": snr if snr is not None and isfinite(snr) else None,
    }


def _read_chip(folder: Path, entry: Mapping[str, Any]) -> Chip:
    pixels = imagecodecs.png_decode(read_bytes(folder / Path(entry["file"]).name))
    if pixels.shape != (entry["lines"], entry["columns"]):
        raise _damaged(folder, f"{entry['file']} is {pixels.shape[0]} × {pixels.shape[1]}")
    return Chip(mark=entry["id"], pixels=pixels, first_line=entry["first_line"], first_column=entry["first_column"])


def _damaged(folder: Path, what: str) -> InputError:
    return InputError(
        where=str(folder),
        rule="must be chips and their list, as wideroll scan writes them",
        value=what,
        mend="Remove the folder and scan the roll again.",
    )
