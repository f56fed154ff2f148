"""The command that says how alike examiners and scanner see."""

from typing import Annotated

import typer

from wideroll.acts.agreement import agree_plant, agreement_document
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say
from wideroll.cli.options import Json, PlantArg
from wideroll.report import rich_table
from wideroll.report.agreement_grids import (
    agreement_words,
    answers_grid,
    examiner_lines,
    hits_grid,
    judged_grid,
    looks_grid,
    scanner_grid,
)
from wideroll.workflow.agreement_model import PlantAgreement

__all__ = ["agreement"]

_Roll = Annotated[str | None, typer.Argument(metavar="ROLL", help="One roll; without it, all rolls of the plant.")]


@app.command()
def agreement(plant: PlantArg, roll: _Roll = None, *, as_json: Json = False) -> None:
    """Say how alike examiners and scanner see, and how much nobody saw.

    \b
    Examples:
      wideroll agreement demo               all rolls, with the scans that are kept
      wideroll agreement demo W-2042        one roll, scanned first where it wasn't
    """
    found = agree_plant(plant, roll)
    if as_json:
        print_json(agreement_document(found))
        return
    _show(found)


def _show(found: PlantAgreement) -> None:
    for sentence in agreement_words(found):
        say(sentence)
    for grid in (
        looks_grid(found.pairs),
        judged_grid(found),
        scanner_grid(found.scanner, found.borders_mm),
        hits_grid(found.hits),
        answers_grid(found),
    ):
        print_table(rich_table(grid))
    lines = examiner_lines(found)
    if lines:
        say("To reckon with these shares, put them into examiners.toml:")
        say(lines)
