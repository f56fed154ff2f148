"""Arguments and options that several commands share: the same word means the same everywhere."""

from pathlib import Path
from typing import Annotated, Final

import typer

__all__ = ["CAUTION", "Json", "PlantArg", "RollArg", "Who"]

Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output instead of tables.")]
PlantArg = Annotated[Path, typer.Argument(metavar="PLANT", help="Folder of the plant.")]
RollArg = Annotated[str, typer.Argument(metavar="ROLL", help="Name of the roll.")]
Who = Annotated[str | None, typer.Option(help="Who decides, for the record; by default the name you log in with.")]
CAUTION: Final = (
    "Caution: nip points and moving web. Lock out before touching a roller; site procedure, local code and licensed "
    "practice rule."
)
