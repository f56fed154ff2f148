"""The command that judges lots of finished rolls."""

from typing import Annotated, Final

import typer

from wideroll.acts.plants import plant_files
from wideroll.cli.app import app
from wideroll.cli.console import decimal, print_json, print_table, say
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.readers.lot_files import read_lots
from wideroll.report import rich_table
from wideroll.report.machine import plain
from wideroll.report.sampling_grids import lots_grid, next_plan_words
from wideroll.sampling import AcceptancePlan, Severity, acceptance_plan, judge_lots, quality_at

__all__ = ["lots"]

_NO_LIMIT: Final = "is needed, as no lot says it yet"


@app.command()
def lots(
    plant: PlantArg,
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.")],
    *,
    size: Annotated[int | None, typer.Option(min=2, help="Rolls in the next lot: shows its plan.")] = None,
    aql: Annotated[float | None, typer.Option(parser=decimal, help="Limit in %; else as the last lot.")] = None,
    level: Annotated[str | None, typer.Option(help="Inspection level; else as the last lot, or II.")] = None,
    as_json: Json = False,
) -> None:
    """Judge the lots of finished rolls by ISO 2859-1, and give the plan of the next.

    \b
    Examples:
      wideroll lots demo negative-100
      wideroll lots demo negative-100 --size 800 --aql 2.5
    """
    plant_files(plant).product(product)
    history = read_lots(plant, product)
    results, state = judge_lots(history)
    last = history[-1] if history else None
    aql = last.aql if aql is None and last else aql
    level = level or (last.level if last else "II")
    if size is not None and aql is None:
        raise misused(_NO_LIMIT, "--aql")
    stopped = state.severity is Severity.DISCONTINUED
    plan = None
    if size is not None and aql is not None and not stopped:
        plan = acceptance_plan(size, aql, level=level, severity=state.severity)
    if as_json:
        document = {"lots": results, "next": state, "plan": plan}
        print_json({"schema": "wideroll/lots/1", "product": product, **{k: plain(v) for k, v in document.items()}})
        return
    print_table(rich_table(lots_grid(results, product=product)))
    say(next_plan_words(state))
    if plan is not None:
        _show_plan(plan)


def _show_plan(plan: AcceptancePlan) -> None:
    all_of = " (all of it)" if plan.whole_lot else ""
    good, bad = (f"{100.0 * quality_at(plan, chance):.2g} %" for chance in (0.95, 0.1))
    say(
        f"Of {plan.lot_size} inspect {plan.sample_size}{all_of}; accept with {plan.accept} or fewer nonconforming, "
        f"refuse with {plan.reject}."
    )
    say(f"Lots with {good} nonconforming pass with 95 % probability, those with {bad} with 10 %.")
    if not plan.seen:
        say("This plan is from memory: check it against your own copy of ISO 2859-1.")
