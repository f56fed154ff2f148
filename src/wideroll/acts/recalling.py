"""A recall list: written beside the record's word that it was."""

import re
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Final

from wideroll import __version__
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.record import Json, digest
from wideroll.report.sister_words import recall_csv
from wideroll.store import RECALL, RecordStore, write_whole
from wideroll.workflow.sisters_model import SisterList
from wideroll.workflow.tracing_model import Trace

__all__ = ["RECALLS", "check_recall", "recall_place", "write_recall"]

RECALLS: Final = "recalls"
"""Folder of a plant for the lists that nobody named a place for."""
_UNFIT: Final = re.compile(r"[^A-Za-z0-9._-]+")


def check_recall(path: Path) -> None:
    """Refuse a file that would replace another: a list that was sent stays as it was.

    Args:
        path: where the list is to go.

    Raises:
        InputError: when there is one already, or it isn't named as a table.
    """
    if path.suffix.lower() != ".csv":
        raise InputError(where="--recall", rule="the list is a .csv file", value=str(path), mend="Name it so.")
    if path.exists():
        raise InputError(
            where=str(path),
            rule="a recall list isn't written over another",
            mend="Give another name; the record names the one that is there.",
        )


def recall_place(plant: Path, finished: str) -> Path:
    """Where in the plant the next recall list about a finished roll goes.

    Args:
        plant: its folder.
        finished: number of the finished roll.
    """
    stem = f"recall-{_UNFIT.sub('-', finished)}-{datetime.now(UTC):%Y-%m-%d}"
    names = (f"{stem}.csv" if number == 1 else f"{stem}-{number}.csv" for number in count(1))
    return next(path for path in (plant / RECALLS / name for name in names) if not path.exists())


def write_recall(plant: Path, path: Path, trace: Trace, found: SisterList, *, who: str, case: str = "") -> int:
    """Write the list, then add to the record that it was written; the number of the event.

    Args:
        plant: its folder.
        path: of the list.
        trace: of the finished roll that was complained of.
        found: its sisters.
        who: asks for it.
        case: of the complaint, where there is one.

    Raises:
        InputError: when the disk refuses, or the database is held for too long.
        RecordError: when the last event doesn't hold what was written.
    """
    data = recall_csv(trace, found).encode()
    write_whole(path, data)
    about = {"case": case} if case else {"finished": trace.finished}
    said: dict[str, Json] = {
        **about,
        "rolls": [trace.finished, *(sister.finished for sister in found.at_risk)],
        "outputs": {path.name: digest(data)},
    }
    when = datetime.now(UTC).isoformat(timespec="seconds")
    try:
        with RecordStore(PlantFolder(plant).record_url()) as store:
            return store.append(RECALL, who, when, __version__, said).number
    except BaseException:
        path.unlink(missing_ok=True)
        raise
