"""The commands that show complaints: one case, or many."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from wideroll.acts.complaint_desk import case_document, case_fields, case_pictures, complaints_of
from wideroll.cli.app import app
from wideroll.cli.complaining import complaint
from wideroll.cli.complaint_desk import CaseArg, show_case
from wideroll.cli.console import print_json, print_table, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.report import rich_table
from wideroll.report.complaint_grids import complaints_grid
from wideroll.report.complaint_page import complaint_page
from wideroll.store import write_whole
from wideroll.workflow.complaint_model import Complaint
from wideroll.workflow.complaint_steps import case_number
from wideroll.workflow.complaints import case_of, of_batches, of_roll, still_open

__all__ = ["complaints", "show"]


@complaint.command()
def show(
    plant: PlantArg,
    case: CaseArg,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Also write it here, to print for the customer's file.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show a case: what was seen, where it comes from, what was looked at, found and done.

    \b
    Examples:
      wideroll complaint show demo C-0003
      wideroll complaint show demo 3 --page C-0003.html
    """
    found = case_of(complaints_of(plant), case_number(case))
    if page is not None:
        write_whole(page, complaint_page(found, case_pictures(plant, found)).encode())
        tell(f"page: {page}")
    if as_json:
        print_json(case_document(found))
    else:
        show_case(found)


@app.command()
def complaints(
    plant: PlantArg,
    *,
    only_open: Annotated[bool, typer.Option("--open", help="Only those that aren't closed.")] = False,
    roll: Annotated[str | None, typer.Option(metavar="ROLL", help="Only those that touch the wide roll.")] = None,
    batch: Annotated[str | None, typer.Option(metavar="BATCH", help="Only those that touch the batch.")] = None,
    as_json: Json = False,
) -> None:
    """List complaints: how each stands, what it touches, and what is next.

    \b
    Examples:
      wideroll complaints demo --open
      wideroll complaints demo --batch E-519
    """
    found: Sequence[Complaint] = complaints_of(plant)
    found = still_open(found) if only_open else found
    found = found if roll is None else of_roll(found, roll)
    found = found if batch is None else of_batches(found, (batch,))
    if as_json:
        print_json({"schema": "wideroll/complaints/1", "complaints": [case_fields(one) for one in found]})
        return
    print_table(rich_table(complaints_grid(found)))
