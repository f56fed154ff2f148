"""What the commands of complaints share: their options, and a case as it is shown."""

from pathlib import Path
from typing import Annotated

import typer

from wideroll.acts.complaint_desk import case_document
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.report import rich_table
from wideroll.report.complaint_grids import photographs_grid, samples_grid, steps_grid
from wideroll.report.complaint_text import case_facts, finding_facts, origin_facts
from wideroll.report.complaint_trace import known_grid
from wideroll.report.complaint_words import next_words, recall_command
from wideroll.workflow.complaint_model import Complaint, Finding

__all__ = ["CaseArg", "Photos", "Saw", "WhoComplains", "answer", "show_case"]

CaseArg = Annotated[str, typer.Argument(metavar="CASE", help="Number of the case, such as C-0003.")]
Saw = Annotated[str, typer.Option("--saw", metavar="TEXT", help="What was seen, in words.")]
Photos = Annotated[
    list[Path] | None,
    typer.Option("--photo", metavar="FILE", help="A photograph, PNG, JPEG or TIFF; may be repeated."),
]
WhoComplains = Annotated[
    str | None, typer.Option("--who", help="Who does it, for the record; by default the name you log in with.")
]


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
