"""The command that says how alike examiners and scanner see."""

from typing import Annotated

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say
from wideroll.cli.options import Json, PlantArg
from wideroll.cli.other_rolls import scan_fingerprint
from wideroll.cli.rolls import take_in_hand, tell_damage
from wideroll.cli.sampling import plant_files
from wideroll.readers import PlantFolder
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
from wideroll.report.machine import plain
from wideroll.scan import ScanResult
from wideroll.store import ResultsFolder
from wideroll.workflow import whole_web
from wideroll.workflow.agreement import agree
from wideroll.workflow.agreement_model import PlantAgreement, RollSeen
from wideroll.workflow.roll_rates import size_borders

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
    files = plant_files(plant)
    notes: list[str] = []
    if roll is None:
        rolls = [_seen(files, name, _kept_scan(files, name, notes)) for name in files.rolls()]
    else:
        hand = take_in_hand(plant, roll)
        _seen(files, roll, None)  # a fault in the sheets shows before the long scan
        rolls = [_seen(files, roll, hand.desk.scan())]
        tell_damage(hand)
    found = agree(rolls, notes=notes)
    if as_json:
        print_json({"schema": "wideroll/agreement/1", **plain(found), "examiners_toml": examiner_lines(found)})
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


def _seen(files: PlantFolder, roll: str, scan: ScanResult | None) -> RollSeen:
    card = files.card(roll)
    product = files.product(card.product)
    sheets = files.sheets(roll, whole_web(card.length_m, files.plant().web_width_mm))
    return RollSeen(
        roll=roll,
        sheets=sheets,
        looks=files.looks(roll, sheets),
        sightings=files.sightings(roll, sheets),
        scan=scan,
        scale=product.grades.grades if product.grades else (),
        borders_mm=size_borders(product.criteria),
    )


def _kept_scan(files: PlantFolder, roll: str, notes: list[str]) -> ScanResult | None:
    """The scan as it was kept, unless it is stale; none is started."""
    results = ResultsFolder(files.root / "results" / roll)
    kept = None
    if (results.path / "state" / "scan.json").is_file():
        kept = results.load_scan(scan_fingerprint(files, roll))
    if kept is None:
        notes.append(f"No scan of {roll} is kept, or it is stale: wideroll scan makes it.")
    return kept
