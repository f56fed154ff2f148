"""The commands that work in one room on what people and instruments noted: strips, examine, repeats."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Final

import numpy as np
import typer

from wideroll.cli.app import app
from wideroll.cli.console import decimal, print_json, print_table, say, tell
from wideroll.cli.options import CAUTION, NAME_A_ROLL, Json, OptionalRoll, PlantArg, RollArg, misused
from wideroll.cli.rolls import take_in_hand, tell_damage
from wideroll.readers import read_bare_strips
from wideroll.report import (
    matching_text,
    process_runs_table,
    rich_table,
    series_table,
    sightings_table,
    strips_table,
)
from wideroll.report.evidence_grids import measures_grid
from wideroll.report.machine import examination_json, repeats_json, strips_json
from wideroll.sensitometry import FilmType, Record, Strip, StripResult, log_exposure, measure_strip, step_tablet
from wideroll.workflow import StripRoom, examine_sheets

__all__ = ["examine", "repeats", "strips"]

_GIVE_AN_EXPOSURE: Final = "must be greater than 0"


@app.command()
def strips(
    target: Annotated[Path, typer.Argument(metavar="PATH", help="A plant's folder, or a CSV of readings of your own.")],
    roll: OptionalRoll = None,
    *,
    exposure_lxs: Annotated[
        float | None,
        typer.Option(
            parser=decimal,
            metavar="LXS",
            help="Illuminance × time on a bare file's tablet, in lx·s; without it, speeds are relative.",
        ),
    ] = None,
    steps: Annotated[int, typer.Option(min=5, max=200, help="Steps of a bare file's tablet.")] = 21,
    increment: Annotated[float, typer.Option(min=0.001, max=1.0, help="Density between its steps.")] = 0.15,
    film_type: Annotated[
        FilmType | None, typer.Option(help="Film of a bare file; by default told from its records and their direction.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Fit characteristic curves to step-tablet readings and measure them.

    \b
    Examples:
      wideroll strips demo W-2043                            the strips of a roll, run by run
      wideroll strips readings.csv --exposure-lxs 2.0        readings of your own: step, red, green, blue
    """
    if roll is not None:
        room = take_in_hand(target, roll).desk.strips()
    else:
        if target.is_dir():
            raise misused(NAME_A_ROLL, "ROLL")
        if exposure_lxs is not None and not 0 < exposure_lxs < math.inf:
            raise misused(_GIVE_AN_EXPOSURE, "--exposure-lxs")
        room = _bare_strips(target, film_type, exposure_lxs=exposure_lxs, steps=steps, increment=increment)
        _tell_assumed(room, film_type, exposure_lxs)
    if as_json:
        print_json(strips_json(room))
        return
    if roll is None:
        for result in room.results:
            say(f"strip {result.strip.name}" + (f": {result.why}" if result.why else ""))
            print_table(rich_table(measures_grid(result)))
        return
    print_table(process_runs_table(room.runs))
    print_table(strips_table(room.results))


@app.command()
def examine(plant: PlantArg, roll: RollArg, *, as_json: Json = False) -> None:
    """Show what examiners saw: layer, origin, and how sheets and scan agree.

    \b
    Examples:
      wideroll examine demo W-2042
      wideroll examine demo W-2042 --json
    """
    hand = take_in_hand(plant, roll)
    sheets, sightings = hand.desk.sheets()
    found = examine_sheets(sheets, sightings, hand.desk.scan())
    tell_damage(hand)
    if as_json:
        print_json(examination_json(found))
        return
    say(f"{len(found.sheets)} sheets, {len(found.examined)} sightings")
    print_table(sightings_table(found.examined))
    if found.matching is not None:
        say(matching_text(found.matching))


@app.command()
def repeats(plant: PlantArg, roll: RollArg, *, as_json: Json = False) -> None:
    """Find marks that return every turn and name the roller that made them.

    \b
    Examples:
      wideroll repeats demo W-2042
      wideroll repeats demo W-2042 --json
    """
    hand = take_in_hand(plant, roll)
    search = hand.desk.repeats(hand.desk.scan())
    tell_damage(hand)
    if as_json:
        print_json(repeats_json(search))
        return
    if not search.series:
        say(f"no repeating marks among {search.marks} marks in {search.lanes} lanes")
        return
    print_table(series_table(search))
    say(CAUTION)


def _bare_strips(
    path: Path, film_type: FilmType | None, *, exposure_lxs: float | None, steps: int, increment: float
) -> StripRoom:
    log_h = log_exposure(1.0 if exposure_lxs is None else exposure_lxs, 1.0, step_tablet(steps, increment))
    read = read_bare_strips(path, log_h_of_step=log_h)
    results = tuple(measure_strip(strip, None, film_type=film_type or _likely_film(strip)) for strip in read)
    if exposure_lxs is None:
        results = tuple(_without_iso_speed(result) for result in results)
    return StripRoom(strips=read, results=results)


def _tell_assumed(room: StripRoom, film_type: FilmType | None, exposure_lxs: float | None) -> None:
    """Say what was taken for granted because no option said it."""
    if exposure_lxs is None:
        tell("No --exposure-lxs given: log H is relative to the light on the tablet, so speeds aren't ISO speeds.")
    if film_type is None:
        films = ", ".join(dict.fromkeys(_likely_film(strip).value for strip in room.strips))
        tell(f"No --film-type given: taken as {films}, from the records read and the way density runs.")


def _without_iso_speed(result: StripResult) -> StripResult:
    """ISO speeds need exposures in lx·s; relative ones would give a number that means nothing."""
    return replace(result, measures=tuple(measure for measure in result.measures if measure.unit != "ISO"))


def _likely_film(strip: Strip) -> FilmType:
    """Told from what was read: one visual record is black-and-white, falling density is reversal film."""
    if set(strip.density) == {Record.VISUAL}:
        return FilmType.BLACK_AND_WHITE
    ends = [(read[0], read[-1]) for d in strip.density.values() if len(read := d[np.isfinite(d)])]
    falling = bool(ends) and all(first > last for first, last in ends)
    return FilmType.COLOUR_REVERSAL if falling else FilmType.COLOUR_NEGATIVE
