"""The commands that work in one room: scan, strips, examine, repeats."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Final

import numpy as np
import typer

from wideroll.cli.app import app
from wideroll.cli.console import Bar, decimal, print_json, print_table, say, tell
from wideroll.cli.options import CAUTION, Json, PlantArg, RollArg
from wideroll.cli.rolls import take_in_hand, tell_damage
from wideroll.errors import InputError
from wideroll.readers import open_segments, read_bare_strips
from wideroll.report import (
    marks_summary_table,
    matching_text,
    process_runs_table,
    rich_table,
    series_table,
    sightings_table,
    strips_table,
)
from wideroll.report.evidence_grids import measures_grid
from wideroll.report.machine import examination_json, repeats_json, scan_json, strips_json
from wideroll.roll import Extent
from wideroll.scan import ScanResult, ScanSettings
from wideroll.sensitometry import FilmType, Record, Strip, StripResult, log_exposure, measure_strip, step_tablet
from wideroll.store import write_marks_csv
from wideroll.workflow import StripRoom, examine_sheets, scan_web

__all__ = ["examine", "repeats", "scan", "strips"]

OptionalRoll = Annotated[str | None, typer.Argument(metavar="ROLL", help="Name of the roll, when PATH is a plant.")]
_NAME_A_ROLL: Final = "a plant's folder needs the name of a roll after it"
_HAS_A_PITCH: Final = "the scan of a roll has its pitch in scan.toml"
_GIVE_AN_EXPOSURE: Final = "must be greater than 0"
_GIVE_A_PITCH: Final = "a bare file needs the size of its pixels, like 0.1"


@app.command()
def scan(
    target: Annotated[Path, typer.Argument(metavar="PATH", help="A plant's folder, or a TIFF or PNG of your own.")],
    roll: OptionalRoll = None,
    *,
    pitch_mm: Annotated[
        float | None,
        typer.Option(parser=decimal, metavar="MM", help="Size of a pixel of a bare file, in mm."),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Also write the marks to this CSV file.")] = None,
    as_json: Json = False,
) -> None:
    """Find marks and streaks in a scanner's raster.

    \b
    Examples:
      wideroll scan demo W-2042                 the scan of a roll
      wideroll scan web.tif --pitch-mm 0.1      any grey TIFF or PNG, 8 or 16 bit
    """
    if roll is not None:
        if pitch_mm is not None:
            raise _misused(_HAS_A_PITCH, "--pitch-mm")
        hand = take_in_hand(target, roll)
        result, whole = hand.desk.scan(), hand.desk.whole
        tell_damage(hand)
        if result is None:
            raise InputError(
                where=str(target / "rolls" / roll / "scan"),
                rule="the roll has no scan",
                mend="Put the scanner's files there.",
            )
        _write_marks(out, result)
        _show_scan(result, whole, as_json=as_json, marks=False)
        return
    if target.is_dir():
        raise _misused(_NAME_A_ROLL, "ROLL")
    if pitch_mm is None or not 0 < pitch_mm < math.inf:
        raise _misused(_GIVE_A_PITCH, "--pitch-mm")
    raster = open_segments([target], pitch_mm=(pitch_mm, pitch_mm), source=target.stem)
    result = scan_web(raster, settings=ScanSettings(source=target.stem), progress=Bar())
    _write_marks(out, result)
    _show_scan(result, None, as_json=as_json, marks=True)


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
            raise _misused(_NAME_A_ROLL, "ROLL")
        if exposure_lxs is not None and not 0 < exposure_lxs < math.inf:
            raise _misused(_GIVE_AN_EXPOSURE, "--exposure-lxs")
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


def _write_marks(out: Path | None, result: ScanResult) -> None:
    if out is not None:
        write_marks_csv(out, result.marks)
        tell(f"marks: {out}")


def _show_scan(result: ScanResult, whole: Extent | None, *, as_json: bool, marks: bool) -> None:
    if as_json:
        print_json(scan_json(result, whole=whole, marks=marks))
        return
    area = result.lines * result.pitch_mm[0] * result.web_width_mm / 1e6
    say(
        f"{result.lines:,} lines × {result.columns:,} pixels at {result.pitch_mm[0]:g} × {result.pitch_mm[1]:g} mm, "
        f"web {result.web_width_mm:.1f} mm wide, {area:.2f} m², pixel noise {result.noise:.1%}"
    )
    print_table(marks_summary_table(result))
    if whole is not None:
        say(f"looked at {result.coverage.share(whole):.2%} of the roll")


def _misused(message: str, argument: str) -> typer.BadParameter:
    return typer.BadParameter(message, param_hint=argument)
