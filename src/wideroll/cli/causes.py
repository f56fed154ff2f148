"""The commands on gauges and on causes: gauge, pareto."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.causes import closed_causes, cut_out_causes
from wideroll.acts.rolls_history import open_history
from wideroll.cli.app import app
from wideroll.cli.console import decimal, print_json, print_table, say
from wideroll.cli.history_options import FirstDay, LastDay, Line, ProductName
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.control import gauge_by_anova, gauge_by_ranges
from wideroll.readers.gauge_study_file import read_gauge_study
from wideroll.report import rich_table
from wideroll.report.gauge_grids import causes_grid, causes_json, gauge_grid, gauge_json, gauge_words

__all__ = ["gauge", "pareto_command"]

_ABOVE_NOUGHT: Final = "must be greater than 0"


@app.command()
def gauge(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Readings: a table of operator, part and value.")],
    *,
    tolerance: Annotated[
        float | None,
        typer.Option(
            parser=decimal, metavar="WIDTH", help="Width between the product's limits, in the readings' unit."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say how much of what is read comes from the gauge and from who reads, by both usual methods.

    \b
    Examples:
      wideroll gauge demo/gauge-studies/densitometer.csv                     a densitometer and three people
      wideroll gauge demo/gauge-studies/densitometer.csv --tolerance 0.12    also against the product's limits
    """
    if tolerance is not None and not tolerance > 0.0:
        raise misused(_ABOVE_NOUGHT, "--tolerance")
    readings = read_gauge_study(file)
    studies = (gauge_by_anova(readings, tolerance=tolerance), gauge_by_ranges(readings, tolerance=tolerance))
    if as_json:
        print_json(gauge_json(studies))
        return
    for study in studies:
        print_table(rich_table(gauge_grid(study)))
    for sentence in dict.fromkeys(sentence for study in studies for sentence in gauge_words(study)):
        say(sentence)


@app.command(name="pareto")
def pareto_command(
    plant: PlantArg,
    *,
    product: ProductName = None,
    line: Line = None,
    first_day: FirstDay = None,
    last_day: LastDay = None,
    as_json: Json = False,
) -> None:
    """Sort causes by what they cost: what was cut out by which criterion, and what closed action cards put it down to.

    \b
    Examples:
      wideroll pareto demo
      wideroll pareto demo --from 2026-10-01
    """
    hand = open_history(plant)
    rolls = hand.rolls(product, line, first_day, last_day)
    cut = cut_out_causes(rolls)
    closed = closed_causes(plant, set(rolls.select("roll").unique().collect()["roll"]))
    if as_json:
        print_json(causes_json({"cut_out_m2": cut, "closed_cards": closed}))
        return
    print_table(rich_table(causes_grid(cut, "What was cut out, by criterion", "m²")))
    print_table(rich_table(causes_grid(closed, "What closed action cards were put down to", "cases")))
