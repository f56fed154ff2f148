"""The command that sets sheets as PDF."""

from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.printing import Kind, printed_sheet
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, misused
from wideroll.record import digest
from wideroll.store import write_whole

__all__ = ["print_sheet"]

_ENDING: Final = ".pdf"
_MUST_END: Final = f"its name must end in {_ENDING}"
_OF_A_CARD: Final = "goes with the kind card"


@app.command(name="print")
def print_sheet(
    plant: PlantArg,
    roll: RollArg,
    kind: Annotated[Kind, typer.Argument(metavar="KIND", help="certificate, decision, cut or card.")],
    file: Annotated[Path, typer.Argument(metavar="FILE.pdf", help="Where the sheet goes.")],
    *,
    card: Annotated[int | None, typer.Option(metavar="N", min=0, help="Number of one card; else all.")] = None,
    as_json: Json = False,
) -> None:
    """Print a sheet as PDF: the same bytes each time, with the records it was made from attached.

    \b
    Examples:
      wideroll print demo W-2041 certificate W-2041.pdf    for whoever gets the film; only of a roll that is released
      wideroll print demo W-2042 decision decision.pdf     all that was decided, and why

    Only what the record holds is printed; to print decides nothing and adds nothing to the record.
    """
    if file.suffix.lower() != _ENDING:
        raise misused(_MUST_END, "FILE.pdf")
    if card is not None and kind is not Kind.CARD:
        raise misused(_OF_A_CARD, "--card")
    data = printed_sheet(plant, roll, kind, card)
    write_whole(file, data)
    if as_json:
        print_json(
            {"schema": "wideroll/print/1", "roll": roll, "kind": kind, "file": str(file), "sha256": digest(data)}
        )
        return
    say(f"{kind}: {file}")
    tell("Nothing was added to the record.")
