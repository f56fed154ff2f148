"""The commands of sampling: which sheets to take, and how often marks lie on a roll."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.rolls import take_in_hand
from wideroll.acts.sampling import USUAL_MM, draw_sheets, rate_marks
from wideroll.cli.app import app
from wideroll.cli.console import decimal, print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, asked, misused
from wideroll.errors import InputError
from wideroll.report import rich_table
from wideroll.report.machine import plain
from wideroll.report.sampling_grids import (
    classes_grid,
    combined_words,
    dispersion_words,
    regions_grid,
    sheets_grid,
)
from wideroll.report.sheet_list import render_sheet_list, sheet_plan_caption
from wideroll.roll import parse_length
from wideroll.sampling import SheetSize
from wideroll.store.files import write_whole
from wideroll.workflow.roll_rates import RollRates

__all__ = ["Seed", "Size", "millimetres", "rates", "sheets"]

_HOW_TAKEN: Final = (
    "In sheets.csv, column taken: drawn for those drawn at random, chosen for those beside a border or splice. A sheet "
    "narrower than the web has across_from and across_to."
)
_SIZE_TOO: Final = "needs --size, and is above 0"


def millimetres(text: str) -> float:
    """A length of an option, with its unit.

    Raises:
        ValueError: when it is none; Typer says so with the option's name.
    """
    try:
        return float(parse_length(str(text)).mm)
    except InputError as error:
        raise ValueError(str(error)) from error


_Length = Annotated[
    float | None,
    typer.Option(parser=millimetres, metavar="LENGTH", help="Length of a sheet along, with its unit; else 300 mm."),
]
_Width = Annotated[
    float | None,
    typer.Option(parser=millimetres, metavar="LENGTH", help="Width of a sheet; without it, as wide as the web."),
]
Seed = Annotated[int | None, typer.Option(min=0, help="Of the draw; by default made from the roll's name.")]
Size = Annotated[
    float | None, typer.Option("--size", parser=millimetres, metavar="LENGTH", help="Only marks of this size or more.")
]


@app.command()
def sheets(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    roll: RollArg,
    *,
    count: Annotated[int | None, typer.Option(min=1, help="Sheets to draw; by default what a proof needs.")] = None,
    proves: Annotated[
        float | None,
        typer.Option(parser=decimal, metavar="RATE", help="Marks per m² that no mark on the sheets must prove."),
    ] = None,
    length: _Length = None,
    width: _Width = None,
    seed: Seed = None,
    html: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Write the list as a page to print.")] = None,
    as_json: Json = False,
) -> None:
    """Say which sheets to take from a roll, and how many a proof needs.

    \b
    Examples:
      wideroll sheets demo W-2042                                 as many as the strictest criterion needs
      wideroll sheets demo W-2042 --count 12 --html list.html     twelve, as a page to print
    """
    size = SheetSize(length_m=(length or USUAL_MM) / 1000.0, width_mm=width)
    with asked():
        drawn = draw_sheets(plant, roll, size, count=count, proves=proves, seed=seed)
    plan, why = drawn.plan, drawn.head.why
    if html is not None:
        write_whole(html, render_sheet_list(plan, drawn.head).encode())
        tell(f"list: {html}")
    if as_json:
        print_json({"schema": "wideroll/sheets/1", "roll": roll, "why": why, **plain(plan)})
        return
    say(why)
    say(sheet_plan_caption(plan))
    print_table(rich_table(sheets_grid(plan)))
    say(_HOW_TAKEN)


@app.command()
def rates(
    plant: PlantArg,
    roll: RollArg,
    *,
    size: Size = None,
    contrast: Annotated[
        float | None,
        typer.Option(parser=decimal, help="Faintest contrast that counts; with --size it corrects the scan's count."),
    ] = None,
    lane: Annotated[
        float | None,
        typer.Option(parser=millimetres, metavar="LENGTH", help="Width of a lane; else the product's first width."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show how often marks lie on a roll, by kind, size, lane and region, with limits.

    \b
    Examples:
      wideroll rates demo W-2042
      wideroll rates demo W-2042 --size "0.3 mm" --contrast 0.1
    """
    size = size or 0.0
    if contrast is not None and not (size > 0.0 and contrast > 0.0):
        raise misused(_SIZE_TOO, "--contrast")
    hand = take_in_hand(plant, roll)
    with asked():
        found = rate_marks(hand, size_mm=size, contrast=contrast, lane_mm=lane)
    if as_json:
        print_json({"schema": "wideroll/rates/1", "roll": roll, **plain(found)})
        return
    _show_rates(found)


def _show_rates(found: RollRates) -> None:
    for source, classes, spread, parts in (
        ("scan", found.scan, (found.scan_dispersion, found.scan_clustered), "stretches"),
        ("sheets", found.sheets, (found.sheets_dispersion, found.sheets_clustered), "sheets"),
    ):
        print_table(rich_table(classes_grid(classes, source)))
        if classes:
            say(dispersion_words(*spread, parts))
    say(combined_words(found.combined, found.least_size_mm))
    for note in found.notes:
        say(f"Note: {note}.")
    print_table(rich_table(regions_grid(found.regions)))
