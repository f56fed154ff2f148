"""The plant's table of finished rolls: kept, and made anew for the rolls that the record or a file moved on from."""

import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import polars as pl

from wideroll.acts.standing_acts import StandingActs
from wideroll.errors import ArgumentError, InputError, RecordError
from wideroll.readers import PlantFolder
from wideroll.readers.handling_file import HANDLING, read_handling
from wideroll.readers.toml_files import placed
from wideroll.record import digest
from wideroll.roll import Genealogy
from wideroll.store import json_bytes, load_finished, read_bytes, save_finished, sealed_bytes, slit_rolls, windings_of
from wideroll.workflow.finished_index import FinishedIndex, WideRoll
from wideroll.workflow.finished_rolls import FINISHED_SCHEMA, finished_rows
from wideroll.workflow.handled import HandledRoll, handle_roll

__all__ = ["finished_table", "sealed_file"]

_CUT = "cut.json"
_REVISION = 1
"""Counts up when the same cut list gives other rows."""


def finished_table(root: Path, standing: Mapping[str, StandingActs]) -> FinishedIndex:
    """The finished rolls of all rolls whose cut list stands; what was kept and still holds isn't made again.

    Args:
        root: the plant's folder.
        standing: what stands, by the record.

    Raises:
        InputError: when a file of a roll has a fault, or the disk refuses.
        RecordError: when a cut list isn't the one that the record names.
    """
    files, kept = PlantFolder(root), load_finished(root)
    handled = _handled_key(root)
    keys = {roll: _key(root, roll, acts, handled) for roll, acts in sorted(standing.items()) if _CUT in acts.outputs}
    same = {roll for roll, key in keys.items() if roll in kept.rolls and kept.rolls[roll].key == key}
    if same == keys.keys() == kept.rolls.keys():
        return kept
    tables, rolls = [kept.rows.filter(pl.col("roll").is_in(same))], {roll: kept.rolls[roll] for roll in same}
    width_mm = files.plant().web_width_mm
    for roll, key in keys.items():
        if roll not in same:
            rows, rolls[roll] = _made(files, roll, standing[roll], key, width_mm)
            tables.append(rows)
    rows = pl.concat(tables) if tables else FINISHED_SCHEMA.to_frame()
    index = FinishedIndex(rows=rows.sort("roll", maintain_order=True), rolls=dict(sorted(rolls.items())))
    save_finished(root, index)
    return index


def sealed_file(path: Path, acts: StandingActs, name: str) -> bytes:
    """What stands for a file or folder of a roll's results, held to be the one that the record names.

    Args:
        path: the roll's results.
        acts: what stands on the roll.
        name: of the file or folder in its results.

    Raises:
        InputError: when it isn't there.
        RecordError: when it isn't the one that was sealed.
    """
    found = path / name
    data = sealed_bytes(found) if found.is_dir() else read_bytes(found)
    if digest(data) != acts.outputs.get(name):
        raise RecordError(
            where=str(found),
            rule=f"must be the file that event {acts.number} of the record names",
            value="another",
            mend="Restore it from the last good copy; `wideroll record verify` says what else was changed.",
        )
    return data


def _key(root: Path, roll: str, acts: StandingActs, handled: str) -> str:
    card = root / "rolls" / roll / "roll.toml"
    named = {
        "event": acts.number,
        "cut": acts.outputs[_CUT],
        "card": digest(card.read_bytes()) if card.is_file() else "",
        "handled": handled,
        "revision": _REVISION,
    }
    return digest(json_bytes(named))


def _handled_key(root: Path) -> str:
    """Of all that was done to rolls before they were slit, and the web's width: seldom anything."""
    found = sorted((root / "rolls").glob(f"*/{HANDLING}"))
    return digest(json_bytes({path.parent.name: digest(path.read_bytes()) for path in found}))


def _made(
    files: PlantFolder, roll: str, acts: StandingActs, key: str, width_mm: float
) -> tuple[pl.DataFrame, WideRoll]:
    folder = files.root / "results" / roll
    cut: dict[str, Any] = json.loads(sealed_file(folder, acts, _CUT))
    handled, card = _handled(files, roll, width_mm), files.card(roll)
    try:
        rows = finished_rows(
            slit_rolls(cut),
            roll=roll,
            slit=handled.name,
            length_m=handled.length_m,
            family=Genealogy.of(handled.steps) if handled.steps else None,
        )
    except ArgumentError as error:
        raise InputError(
            where=str(files.root / "rolls" / roll / HANDLING),
            rule=f"the roll as handled ({float(handled.length_m):g} m) must hold every piece of its cut list",
            value=error.value,
            mend="Correct the steps, or the length in roll.toml.",
        ) from error
    return rows, WideRoll(
        name=roll,
        product=card.product,
        status=str(cut["status"]),
        length_m=float(handled.length_m),
        key=key,
        coated=card.coated,
        batches=card.batches,
        windings=windings_of(cut),
    )


def _handled(files: PlantFolder, roll: str, width_mm: float, above: tuple[str, ...] = ()) -> HandledRoll:
    """What came onto the slitter under a roll's name."""
    card, path = files.card(roll), files.root / "rolls" / roll / HANDLING
    if roll in above:
        raise InputError(
            where=str(path), rule="no roll is joined with itself", value=" with ".join((*above, roll)), mend="Mend it."
        )
    exact_m, exact_mm = (Fraction(round(value * 10**6), 10**6) for value in (card.length_m, width_mm))
    with placed(path):
        return handle_roll(
            roll,
            exact_m,
            exact_mm,
            read_handling(path.parent),
            lambda other: _handled(files, other, width_mm, (*above, roll)),
        )
