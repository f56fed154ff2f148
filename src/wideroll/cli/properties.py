"""The command that shows what was measured of a roll's properties."""

from wideroll.acts.rolls import take_in_hand
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say
from wideroll.cli.options import Json, PlantArg, RollArg
from wideroll.report import rich_table
from wideroll.report.property_grids import no_evidence_grid, properties_grid, properties_json
from wideroll.workflow import batch_extents, gather_properties

__all__ = ["properties"]


@app.command()
def properties(plant: PlantArg, roll: RollArg, *, as_json: Json = False) -> None:
    """Show the measured properties of a roll, batch by batch, and which values are no evidence.

    \b
    Examples:
      wideroll properties demo W-2042           mean, scatter and interval of each property
      wideroll properties demo W-2042 --json    the same for machines, with each value
    """
    desk = take_in_hand(plant, roll).desk
    measurements, batches = desk.properties(), batch_extents(desk.card, desk.whole)
    evidence = gather_properties(measurements, desk.product.properties, batches)
    if as_json:
        print_json(properties_json(desk.card.name, evidence, measurements))
        return
    print_table(rich_table(properties_grid(evidence.summaries)))
    if evidence.missing:
        print_table(rich_table(no_evidence_grid(measurements)))
    unclaimed = [m for m in measurements if not any(extent.contains(m.place) for _, extent in batches)]
    if unclaimed:
        lines = ", ".join(str(m.line) for m in unclaimed)
        say(f"Not counted, because they lie in no batch of roll.toml: the values of lines {lines}.")
