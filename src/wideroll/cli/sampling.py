"""The commands of sampling: which sheets to take, and how often marks lie on a roll."""

import math
from hashlib import blake2b
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import decimal, print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, misused
from wideroll.cli.rolls import take_in_hand, tell_damage
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.report import rich_table
from wideroll.report.machine import plain
from wideroll.report.sampling_grids import (
    classes_grid,
    combined_words,
    dispersion_words,
    regions_grid,
    sheets_grid,
)
from wideroll.report.sheet_list import SheetListHead, render_sheet_list, sheet_plan_caption
from wideroll.roll import lanes_of, parse_length
from wideroll.sampling import (
    Detected,
    SheetSize,
    plan_sheets,
    sheets_needed,
)
from wideroll.scan.detection_limits import detection_probability
from wideroll.store.files import write_whole
from wideroll.workflow import Product, RollDesk, batch_extents, examine_sheets, telling_curves, whole_web
from wideroll.workflow.roll_rates import (
    RollRates,
    borders_of,
    rate_roll,
    size_borders,
    strictest_rate,
)

__all__ = ["Seed", "Size", "millimetres", "plant_files", "rates", "seed_of", "sheets"]


_USUAL_MM: Final = 300.0
_HOW_TAKEN: Final = (
    "In sheets.csv, column taken: drawn for those drawn at random, chosen for those beside a border or splice. A sheet "
    "narrower than the web has across_from and across_to."
)
_SIZE_TOO: Final = "needs --size, and is above 0"
_NO_LIMIT: Final = "or --proves is needed: the product has no criterion on marks per m²"
_NOT_MEASURED: Final = "needs a measured probability of detection: wideroll scan PLANT ROLL --pod"


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
    files = plant_files(plant)
    line, card = files.plant(), files.card(roll)
    product = files.product(card.product)
    whole, size = (
        whole_web(card.length_m, line.web_width_mm),
        SheetSize(length_m=(length or _USUAL_MM) / 1000.0, width_mm=width),
    )
    borders = borders_of(card)
    drawn, why = _how_many(product, size.area_m2(whole.width_mm), count, proves)
    drawn = max(drawn, 1 + len({border.along_m for border in borders}))
    plan = plan_sheets(whole, drawn, size, seed_of(roll) if seed is None else seed, borders)
    if html is not None:
        head = SheetListHead(roll=roll, product=product.name, plant=line.name, datum_edge=line.datum_edge, why=why)
        write_whole(html, render_sheet_list(plan, head).encode())
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
    desk = hand.desk
    listed, sightings = desk.sheets()
    scan = desk.scan()
    tell_damage(hand)
    found = rate_roll(
        desk.whole,
        scan,
        examine_sheets(listed, sightings, scan),
        lanes=lanes_of(desk.whole, desk.product.widths[0].width_mm if lane is None else lane),
        stretches=[extent for _, extent in batch_extents(desk.card, desk.whole)],
        borders_mm=[one for one in size_borders(desk.product.criteria) if one > size],
        least_size_mm=size,
        detected=_detected(desk, size, contrast) if scan is not None and contrast is not None else None,
    )
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


def plant_files(plant: Path) -> PlantFolder:
    """The files of a plant.

    Raises:
        InputError: when the folder isn't one.
    """
    if not (plant / "plant.toml").is_file():
        raise InputError(where=str(plant), rule="a plant's folder holds a plant.toml", mend="Give the plant's folder.")
    return PlantFolder(plant)


def seed_of(roll: str) -> int:
    """A seed of the roll's own that anybody can make again."""
    return int.from_bytes(blake2b(roll.encode(), digest_size=3).digest())


def _how_many(product: Product, sheet_m2: float, count: int | None, proves: float | None) -> tuple[int, str]:
    strictest = strictest_rate(product.criteria)
    if count is not None:
        return count, f"{count} sheets, as asked."
    if proves is None and strictest is None:
        raise misused(_NO_LIMIT, "--count")
    limit, sure, of = (
        (proves, 0.95, "")
        if proves is not None or strictest is None
        else (strictest.limit, strictest.confidence, f", the limit of {strictest.name}")
    )
    needed = sheets_needed(limit or 0.0, sheet_m2, sure)
    area = f"{needed * sheet_m2:.2f} m²"
    return needed, (
        f"{needed} drawn sheets ({area}) without a mark prove at most {limit:g} marks per m² at {100 * sure:g} %{of}."
    )


def _detected(desk: RollDesk, size_mm: float, contrast: float) -> Detected:
    curves = telling_curves(desk.detection())
    if not curves:
        raise misused(_NOT_MEASURED, "--contrast")
    found = min((detection_probability(one, size_mm, contrast) for one in curves), key=lambda one: one.low)
    if not found.tested and math.isnan(found.value):
        untested = f"and --size: {found.why}"
        raise misused(untested, "--contrast")
    return Detected(value=found.value, low=found.low, high=found.high, confidence=found.confidence)
