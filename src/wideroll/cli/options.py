"""Arguments and options that several commands share: the same word means the same everywhere."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.asking import AskedError
from wideroll.workflow import CAUTION

__all__ = ["CAUTION", "NAME_A_ROLL", "Json", "OptionalRoll", "PlantArg", "RollArg", "Who", "asked", "misused"]

Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output instead of tables.")]
PlantArg = Annotated[Path, typer.Argument(metavar="PLANT", help="Folder of the plant.")]
RollArg = Annotated[str, typer.Argument(metavar="ROLL", help="Name of the roll.")]
OptionalRoll = Annotated[str | None, typer.Argument(metavar="ROLL", help="Name of the roll, when PATH is a plant.")]
NAME_A_ROLL: Final = "a plant's folder needs the name of a roll after it"
Who = Annotated[str | None, typer.Option(help="Who acts, for the record; by default the name you log in with.")]


def misused(message: str, argument: str) -> typer.BadParameter:
    """The error for an argument or option that doesn't go with the others."""
    return typer.BadParameter(message, param_hint=argument)


@contextmanager
def asked() -> Iterator[None]:
    """What an act says of an option that doesn't fit, as the error for that option."""
    try:
        yield
    except AskedError as error:
        raise misused(error.rule, error.where) from error
