"""The command that shows the lab's instruments and their calibrations."""

from typing import Annotated

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.errors import ArgumentError, InputError
from wideroll.readers import PlantFolder
from wideroll.readers.days import iso_day
from wideroll.report import rich_table
from wideroll.report.instrument_grids import calibration_json, calibrations_grid, gauge_json, gauges_grid
from wideroll.sensitometry import Densitometer, Sensitometer

__all__ = ["instruments"]


@app.command()
def instruments(
    plant: PlantArg,
    *,
    on: Annotated[
        str, typer.Option(metavar="DAY", help="Say which calibrations hold on this day, such as 2026-11-20.")
    ] = "",
    as_json: Json = False,
) -> None:
    """Show the calibrations of the lab's sensitometers, densitometers and gauges.

    \b
    Examples:
      wideroll instruments demo                    offset and gain of each, with intervals
      wideroll instruments demo --on 2026-11-20    and which of them hold on a day
    """
    try:
        day = iso_day(on) if on else ""
    except ArgumentError as error:
        raise misused(error.rule, "--on") from error
    found = PlantFolder(plant).instruments()
    if found is None:
        raise InputError(
            where=str(plant / "instruments.toml"),
            rule="the file must be there",
            mend="Give the plant's folder, or add the file; docs/reference/files.md shows an example.",
        )
    every: tuple[Sensitometer | Densitometer, ...] = (*found.sensitometers.values(), *found.densitometers.values())
    if as_json:
        documents = [
            {"name": one.name, "calibrations": [calibration_json(c, one.calibrations, day) for c in one.calibrations]}
            for one in every
        ]
        gauges = [gauge_json(gauge, day) for gauge in found.gauges.values()]
        print_json({"schema": "wideroll/instruments/1", "on": day or None, "instruments": documents, "gauges": gauges})
        return
    if every or not found.gauges:
        print_table(rich_table(calibrations_grid([one.calibrations for one in every], day)))
    if found.gauges:
        print_table(rich_table(gauges_grid(list(found.gauges.values()), day)))
