"""The command that shows how the lab's processors stand."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.report import rich_table
from wideroll.report.processor_grids import charted_grid, last_runs_grid, processors_grid, state_json
from wideroll.report.processor_picture import draw_processor, processor_caption
from wideroll.store.files import write_whole
from wideroll.workflow import ProcessorState, processor_state

__all__ = ["processors"]

_NAME_IT: Final = "needs the name of a processor before it"


@app.command()
def processors(
    plant: PlantArg,
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Name of one processor.")] = None,
    *,
    figure: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Also draw the named processor's charts here.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show how the lab's processors stand on their control charts.

    \b
    Examples:
      wideroll processors demo                               all of them, each at its last run
      wideroll processors demo tank-2 --figure tank-2.svg    one, with its last runs and a picture of its charts
    """
    if figure is not None and name is None:
        raise misused(_NAME_IT, "--figure")
    if not (plant / "plant.toml").is_file():
        raise InputError(where=str(plant), rule="a plant's folder holds a plant.toml", mend="Give the plant's folder.")
    histories = PlantFolder(plant).processors()
    states = [processor_state(history) for history in histories if name in {None, history.processor.name}]
    if name is not None and not states:
        raise InputError(
            where=str(plant / "processors.toml"),
            rule=f"the processor must be one of: {', '.join(one.processor.name for one in histories) or 'none'}",
            value=name,
            mend="Correct the name, or add the processor.",
        )
    if figure is not None:
        write_whole(figure, draw_processor(states[0]).encode())
        tell(f"charts: {figure}")
    if as_json:
        print_json({"schema": "wideroll/processors/1", "processors": [_document(state) for state in states]})
        return
    print_table(rich_table(processors_grid(states)))
    if name is not None:
        print_table(rich_table(charted_grid(states[0])))
        print_table(rich_table(last_runs_grid(states[0])))
        say(processor_caption(states[0]))


def _document(state: ProcessorState) -> dict[str, object]:
    runs = [
        {
            "run": run.run,
            "processed_on": run.processed_on,
            "adjusted": run.adjusted,
            "note": run.note,
            "values": [run.values[quantity] for quantity in state.quantities],
        }
        for run in state.runs
    ]
    return {**state_json(state), "runs": runs}
