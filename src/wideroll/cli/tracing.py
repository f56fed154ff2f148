"""The command that leads from a place on a finished roll back to where it was coated."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.recalling import check_recall, write_recall
from wideroll.acts.tracing import open_trace_desk, trace_document
from wideroll.acts.whoever import who_acts
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.report import rich_table
from wideroll.report.sister_words import sister_sentences, sisters_grid
from wideroll.report.trace_words import TraceHead, trace_facts, trace_grids
from wideroll.store import write_whole
from wideroll.workflow.sisters_model import SisterList
from wideroll.workflow.tracing_model import Trace

__all__ = ["trace"]

At = Annotated[
    str | None,
    typer.Option(metavar="PLACE", help="Like '14 ft 3 in from outer end' or '4.3 m from core'; else the whole roll."),
]
Within = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="Half the interval along, like 0.3m, in place of the rule's.")
]


_RECALL: Final = "Also write a recall list of all rolls at risk, and record that it was written."


@app.command()
def trace(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    finished: Annotated[str, typer.Argument(metavar="FINISHED", help="Number of the finished roll, as on its label.")],
    *,
    at: At = None,
    within: Within = None,
    sisters: Annotated[bool, typer.Option("--sisters", help="Also other finished rolls at risk, ranked.")] = False,
    recall: Annotated[Path | None, typer.Option(metavar="FILE.csv", help=_RECALL)] = None,
    page: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Also write the trace as a page.")] = None,
    who: Annotated[str | None, typer.Option(help="Who recalls, for the record; else your login's name.")] = None,
    as_json: Json = False,
) -> None:
    """Lead from a place on a finished roll back to where it was coated, and out again to rolls at risk.

    \b
    Examples:
      wideroll trace demo W-2042/001-05 --at '14 ft 3 in from outer end'
      wideroll trace demo W-2042/001-05 --at '1.2 m from core' --within 0.3m --sisters --recall recall.csv
    """
    if recall is not None:
        check_recall(recall)
    desk = open_trace_desk(plant)
    found = desk.trace(finished, at, within)
    others = desk.sisters(found) if sisters or recall is not None else None
    if page is not None:
        write_whole(page, desk.page(found, others).encode())
        tell(f"page: {page}")
    if recall is not None and others is not None:
        event = write_recall(plant, recall, found, others, who=who_acts(who))
        listed = len(others.at_risk)
        tell(f"recall list: {recall}, {listed + 1} finished rolls, event {event} of the record")
        if listed < len(others.sisters):
            tell(f"left out of it: {len(others.sisters) - listed} finished rolls in which the scan looked and saw none")
    if as_json:
        print_json(trace_document(found, others))
    else:
        _show(found, others, desk.head)


def _show(found: Trace, others: SisterList | None, head: TraceHead) -> None:
    for name, words in trace_facts(found, head):
        say(f"{name}: {words}")
    for grid in trace_grids(found, head):
        print_table(rich_table(grid))
    for note in dict.fromkeys(note for one in found.stretches for note in one.notes):
        say(note)
    if others is not None:
        print_table(rich_table(sisters_grid(others, head)))
        for sentence in sister_sentences(others):
            say(sentence)
    for caution in found.cautions:
        say(f"Caution: {caution}")
