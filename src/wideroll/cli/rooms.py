"""The commands that work in one room on what people and machines noted: examine, repeats."""

from pathlib import Path
from typing import Annotated

import typer

from wideroll.acts.rolls import take_in_hand, tell_damage
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg
from wideroll.cli.repeat_figures import write_figures
from wideroll.report import matching_text, series_table, sightings_table
from wideroll.report.machine import examination_json, repeats_json
from wideroll.report.repeat_grids import looked_words
from wideroll.report.sighting_words import taken_back_grid
from wideroll.report.tables import rich_table

__all__ = ["examine", "repeats"]


@app.command()
def examine(
    plant: PlantArg,
    roll: RollArg,
    *,
    history: Annotated[bool, typer.Option("--history", help="Also show the lines that were taken back.")] = False,
    as_json: Json = False,
) -> None:
    """Show what examiners saw: layer, origin and grade, and how sheets and scan agree.

    \b
    Examples:
      wideroll examine demo W-2042
      wideroll examine demo W-2042 --history
    """
    hand = take_in_hand(plant, roll)
    seen, log = hand.desk.sheets(), hand.desk.sighting_log()
    found = hand.desk.examination(seen, hand.desk.scan())
    tell_damage(hand)
    if as_json:
        print_json(examination_json(found, log))
        return
    back = f", lines taken back: {len(log.taken_back)}" if log.taken_back else ""
    say(f"{len(found.sheets)} sheets, {len(found.examined)} sightings{back}")
    print_table(sightings_table(found.examined))
    if history:
        print_table(rich_table(taken_back_grid(log)))
    if found.matching is not None:
        say(matching_text(found.matching))


@app.command()
def repeats(
    plant: PlantArg,
    roll: RollArg,
    *,
    figures: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write fold and evidence of each series, and the map, as SVG."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Find marks that return every turn and name the roller that made them.

    \b
    Examples:
      wideroll repeats demo W-2042
      wideroll repeats demo W-2042 --figures pictures
    """
    hand = take_in_hand(plant, roll)
    seen, scan = hand.desk.sheets(), hand.desk.scan()
    search = hand.desk.named_repeats(scan, hand.desk.examination(seen, scan))
    tell_damage(hand)
    if figures is not None and scan is not None:
        write_figures(figures, hand, scan, search)
    if as_json:
        print_json(repeats_json(search))
        return
    if scan is None:
        say(f"Nothing was looked at: roll {roll} has no scan. Whether something turns and marks it isn't known.")
        return
    if search.series:
        print_table(series_table(search))
    else:
        say(f"No series: {search.marks} marks, none of which return clearly enough.")
    say(looked_words(search, hand.desk.card.length_m))
    if search.series:
        say(CAUTION)
