"""Complaints in the record: a step is added to what there is, its photographs kept before the event names them."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll.errors import RecordError
from wideroll.record import Event, Json, Written, digest
from wideroll.store.evidence import Lookup
from wideroll.store.files import write_whole
from wideroll.store.record_db import RecordStore
from wideroll.workflow.complaint_fold import fold_complaints
from wideroll.workflow.complaint_model import COMPLAINT, RECALL, Complaint, case_name
from wideroll.workflow.complaint_steps import case_number, with_photographs
from wideroll.workflow.complaints import case_of, next_number, next_step

__all__ = ["COMPLAINTS", "NewPhotograph", "add_complaint_step", "kept_complaints"]

COMPLAINTS: Final = "complaints"
"""Folder in the plant with one folder a case."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPhotograph:
    """A photograph to keep: the name it came with, the ending of its kind, its bytes."""

    name: str
    ending: str
    data: bytes


def kept_complaints(store: RecordStore) -> tuple[Complaint, ...]:
    """All complaints as they stand.

    Raises:
        RecordError: at an event that can't be read.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder, RecordStore(f"sqlite:///{folder}/wideroll.db") as store:
        ...     kept_complaints(store)
        ()
    """
    return _folded(store.naming)


def add_complaint_step(
    store: RecordStore,
    root: Path,
    case: int | None,
    body: Mapping[str, Json],
    *,
    photographs: Sequence[NewPhotograph] = (),
    who: str,
    when_utc: str,
    version: str,
) -> Complaint:
    """Add a step to a case, or open one under the next number; nobody else's step comes between.

    The photographs reach the disk first, so that no event names one that isn't there.

    Args:
        store: the record, held to be sound.
        root: the plant's folder.
        case: its number; None opens a new one.
        body: what is said (``complaint_steps``).
        photographs: to keep with it.
        who: does it.
        when_utc: as of ``append_event``.
        version: of the software.

    Returns:
        The case as it stands then.

    Raises:
        InputError: when there is no such case, the step may not follow, or the disk refuses; nothing is added, and no
            photograph is left behind.
        RecordError: when the record can't be read.
    """
    added = store.append_made(
        lambda lookup: [(COMPLAINT, _made(_folded(lookup), root, case, body, photographs))], who, when_utc, version
    )
    number = case_number(str(added[0].body["case"]))
    return case_of(kept_complaints(store), number)


def _folded(lookup: Lookup) -> tuple[Complaint, ...]:
    return fold_complaints(_event(row) for row in lookup((COMPLAINT, RECALL), ()))


def _event(row: Written) -> Event:
    try:
        return Event(**row._asdict() | {"body": json.loads(row.body)})
    except (ValueError, RecursionError) as error:
        raise RecordError(
            where=f"event {row.number}",
            rule="its body must be JSON",
            value=str(error),
            mend="Stop, keep the database as it is and investigate.",
        ) from error


def _made(
    cases: Sequence[Complaint],
    root: Path,
    case: int | None,
    body: Mapping[str, Json],
    photographs: Sequence[NewPhotograph],
) -> dict[str, Json]:
    number = next_number(cases) if case is None else case
    places = {_place(number, photo): photo for photo in photographs}
    named = {place: (photo.name, digest(photo.data)) for place, photo in places.items()}
    whole = next_step(cases, case, with_photographs(body, named))
    new: list[Path] = []
    try:
        for place, photo in places.items():
            path = root / place
            new.extend([] if path.exists() else [path])
            write_whole(path, photo.data)
    except BaseException:
        # Only here: once all are kept, an event may name them, even where its end can't be seen from here.
        for path in new:
            path.unlink(missing_ok=True)
        raise
    return whole


def _place(number: int, photo: NewPhotograph) -> str:
    return f"{COMPLAINTS}/{case_name(number)}/{digest(photo.data)}{photo.ending}"
