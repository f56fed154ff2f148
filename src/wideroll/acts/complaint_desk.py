"""Complaints: a step taken and the pages beside the sheets written anew, and the cases as they stand."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from wideroll import __version__
from wideroll.acts.complaint_trace import trace_place
from wideroll.acts.sealing import now_utc, open_record, record_held
from wideroll.acts.telling import tell
from wideroll.acts.whoever import who_acts
from wideroll.errors import InputError
from wideroll.readers.complaint_photographs import read_complaint_photograph, small_jpeg
from wideroll.record import Json, digest
from wideroll.report.complaint_page import roll_complaints_page
from wideroll.report.machine import plain
from wideroll.store import (
    NewPhotograph,
    RecordStore,
    add_complaint_step,
    kept_complaints,
    one_at_a_time,
    read_bytes,
    write_whole,
)
from wideroll.workflow.complaint_model import Complaint
from wideroll.workflow.complaint_steps import case_number, opening, seeing, traced
from wideroll.workflow.complaints import case_of, missing_next, of_roll

__all__ = [
    "ROLL_PAGE",
    "add_to_complaint",
    "case_document",
    "case_fields",
    "case_pictures",
    "complaints_of",
    "finished_of",
    "open_complaint",
    "take_step",
]

ROLL_PAGE: Final = "complaints.html"
"""Beside a roll's sheet; no part of its decision, which it may come years after."""


def open_complaint(
    plant: Path,
    finished: str,
    *,
    saw: str,
    at: str | None = None,
    reference: str = "",
    untraced: bool = False,
    photos: Sequence[Path] = (),
    who: str | None,
) -> Complaint:
    """Open a case for a complaint about a finished roll, traced to the coated web at once.

    Args:
        plant: its folder.
        finished: number of the finished roll.
        saw: what was seen, in words.
        at: where on it; None for all of it.
        reference: the customer's own number for it.
        untraced: also where the finished roll isn't known here; then no place can be given.
        photos: files to keep with it.
        who: takes it; None takes the name logged in with.

    Raises:
        InputError: when anything that was given can't be used; nothing is added then.
        RecordError: when the record, or a file that it names, doesn't hold.
    """
    body = opening(finished=finished, saw=saw, reference=reference)
    if not untraced:
        found = trace_place(plant, finished, at)
        body |= {"finished": found.finished, **traced(at=at or "", trace=found.document, touched=found.touched)}
    return take_step(plant, None, body, photos=photos, who=who)


def add_to_complaint(
    plant: Path, case: str, *, saw: str = "", at: str | None = None, photos: Sequence[Path] = (), who: str | None
) -> Complaint:
    """Add what else the customer said, showed or measured; a new place is traced anew.

    Args:
        plant: its folder.
        case: as the user names it.
        saw: what else was seen.
        at: where on the finished roll, if that is new.
        photos: files to keep with it.
        who: adds it; None takes the name logged in with.

    Raises:
        InputError: when anything that was given can't be used; nothing is added then.
        RecordError: when the record, or a file that it names, doesn't hold.
    """
    body = seeing(saw=saw)
    if at is not None:
        found = trace_place(plant, finished_of(plant, case_number(case)), at)
        body |= traced(at=at, trace=found.document, touched=found.touched)
    return take_step(plant, case, body, photos=photos, who=who)


def take_step(
    plant: Path, case: str | None, body: Mapping[str, Json], *, photos: Sequence[Path] = (), who: str | None
) -> Complaint:
    """Add a step to the record, and write anew what stands beside the sheets of the rolls it touches.

    Args:
        plant: its folder.
        case: as the user names it; None opens a new one.
        body: what is said.
        photos: files to keep with it.
        who: as given.

    Raises:
        InputError: when anything that was given can't be used; nothing is added then.
        RecordError: when the record doesn't hold.
    """
    number = None if case is None else case_number(case)
    read = [read_complaint_photograph(path) for path in photos]
    new = [NewPhotograph(name=one.name, ending=one.ending, data=one.data) for one in read]
    who = who_acts(who)
    with record_held(plant, ()) as store:
        before = [one for one in kept_complaints(store) if one.number == number]
        done = add_complaint_step(
            store, plant, number, body, photographs=new, who=who, when_utc=now_utc(), version=__version__
        )
        for roll in dict.fromkeys(roll for one in (*before, done) for roll in one.rolls):
            _write_roll_page(plant, roll, store)
    return done


def complaints_of(plant: Path) -> tuple[Complaint, ...]:
    """All complaints of a plant, from a record that holds.

    Args:
        plant: its folder.

    Raises:
        InputError: when the folder isn't a plant.
        RecordError: when the record doesn't hold.
    """
    if open_record(plant) is None:
        return ()
    with record_held(plant, ()) as store:
        return kept_complaints(store)


def finished_of(plant: Path, number: int) -> str:
    """The finished roll that a case is about.

    Args:
        plant: its folder.
        number: of the case.

    Raises:
        InputError: when there is no such case.
    """
    return case_of(complaints_of(plant), number).finished


def _write_roll_page(plant: Path, roll: str, store: RecordStore) -> None:
    folder = plant / "results" / roll
    if not folder.is_dir():
        return
    # Read and written under one lock, or an older page could come after a newer.
    with one_at_a_time(folder):
        page = roll_complaints_page(roll, of_roll(kept_complaints(store), roll))
        write_whole(folder / ROLL_PAGE, page.encode())


def case_document(case: Complaint) -> dict[str, Any]:
    """The case for machines.

    Args:
        case: the complaint.
    """
    return {"schema": "wideroll/complaint/1", **case_fields(case)}


def case_fields(case: Complaint) -> dict[str, Any]:
    """The case as one of many.

    Args:
        case: the complaint.
    """
    fields = {name: value for name, value in plain(case).items() if name != "number"}
    return {
        **fields,
        "case": case.name,
        "state": case.state.value,
        "rolls": list(case.rolls),
        "batches": list(case.batches),
        "next": list(missing_next(case)),
    }


def case_pictures(plant: Path, case: Complaint) -> dict[str, bytes]:
    """Small copies of those photographs of a case that are what was sent, by their file.

    Args:
        plant: its folder.
        case: whose.
    """
    kept: dict[str, bytes] = {}
    for photo in case.photos:
        try:
            data = read_bytes(plant / photo.file)
            if digest(data) == photo.sha256:
                kept[photo.file] = small_jpeg(data)
                continue
        except InputError:
            pass
        tell(f"{photo.file} isn't the photograph that was sent; the page says so.")
    return kept
