"""What the commands of complaints share: a step taken, the pages beside the sheets written anew, the case shown."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll import __version__
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.sealing import now_utc, open_record, record_held
from wideroll.cli.whoever import who_acts
from wideroll.readers.complaint_photographs import read_complaint_photograph
from wideroll.record import Json
from wideroll.report import rich_table
from wideroll.report.complaint_grids import photographs_grid, samples_grid, steps_grid
from wideroll.report.complaint_page import roll_complaints_page
from wideroll.report.complaint_text import case_facts, finding_facts, origin_facts
from wideroll.report.complaint_trace import known_grid
from wideroll.report.complaint_words import next_words, recall_command
from wideroll.report.machine import plain
from wideroll.store import (
    NewPhotograph,
    RecordStore,
    add_complaint_step,
    kept_complaints,
    one_at_a_time,
    write_whole,
)
from wideroll.workflow.complaint_model import Complaint, Finding
from wideroll.workflow.complaint_steps import case_number
from wideroll.workflow.complaints import case_of, missing_next, of_roll

__all__ = [
    "ROLL_PAGE",
    "CaseArg",
    "Photos",
    "Saw",
    "WhoComplains",
    "answer",
    "case_document",
    "case_fields",
    "complaints_of",
    "finished_of",
    "show_case",
    "take_step",
]

ROLL_PAGE: Final = "complaints.html"
"""Beside a roll's sheet; no part of its decision, which it may come years after."""

CaseArg = Annotated[str, typer.Argument(metavar="CASE", help="Number of the case, such as C-0003.")]
Saw = Annotated[str, typer.Option("--saw", metavar="TEXT", help="What was seen, in words.")]
Photos = Annotated[
    list[Path] | None,
    typer.Option("--photo", metavar="FILE", help="A photograph, PNG, JPEG or TIFF; may be repeated."),
]
WhoComplains = Annotated[
    str | None, typer.Option("--who", help="Who does it, for the record; by default the name you log in with.")
]


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


def answer(case: Complaint, *, as_json: bool) -> None:
    """After a step: the case's number, how it stands, and what is next."""
    if as_json:
        print_json(case_document(case))
        return
    say(f"{case.name}: {case.state}", style="bold")
    words = next_words(case)
    if words:
        say(f"next: {words}")
    offer_recall(case)


def offer_recall(case: Complaint) -> None:
    """How to reach the sister rolls, where the fault is ours and nobody did."""
    if case.finding is Finding.OURS and not (case.closed or case.recalls):
        tell(f"Sister rolls may have it too: {recall_command(case)}")


def show_case(case: Complaint) -> None:
    """The case in full, on a terminal."""
    say(f"{case.name}: {case.state}", style="bold")
    for name, value in (*case_facts(case), *origin_facts(case), *finding_facts(case)):
        say(f"{name:18}{value}")
    known = [known_grid(case.trace)] if case.trace else []
    for grid in (*known, photographs_grid(case), samples_grid(case), steps_grid(case)):
        if grid.rows:
            print_table(rich_table(grid))
        else:
            say(f"{grid.caption}: {grid.empty}")
    words = next_words(case)
    if words:
        say(f"next: {words}")
    offer_recall(case)


def case_document(case: Complaint) -> dict[str, Any]:
    """The case for machines."""
    return {"schema": "wideroll/complaint/1", **case_fields(case)}


def case_fields(case: Complaint) -> dict[str, Any]:
    """The case as one of many."""
    fields = {name: value for name, value in plain(case).items() if name != "number"}
    return {
        **fields,
        "case": case.name,
        "state": case.state.value,
        "rolls": list(case.rolls),
        "batches": list(case.batches),
        "next": list(missing_next(case)),
    }
