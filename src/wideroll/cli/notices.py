"""The command that lists where action cards go, and tries it."""

import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from wideroll.cli.app import EXIT_INPUT, app
from wideroll.cli.console import print_json, say
from wideroll.cli.options import Json, PlantArg
from wideroll.errors import InputError
from wideroll.notices import open_sinks
from wideroll.readers import PlantFolder
from wideroll.workflow import ActionCard, Notice
from wideroll.workflow.card_json import trial_card
from wideroll.workflow.notice_model import notice_place

__all__ = ["notices"]


@app.command()
def notices(
    plant: PlantArg,
    *,
    test: Annotated[bool, typer.Option("--test", help="Send each a card that says it is a test.")] = False,
    as_json: Json = False,
) -> None:
    """Show where action cards go, and with --test whether they arrive.

    \b
    Examples:
      wideroll notices demo
      wideroll notices demo --test     sends each a test card and says which took it

    Exit code: 3 when a test card wasn't taken.
    """
    read = PlantFolder(plant).plant()
    rows = [_row(notice) for notice in read.notices]
    if test:
        # A roll that is no roll, and another one each time: receivers drop what they had before.
        trial = trial_card(read.name, f"test-{secrets.token_hex(3)}")
        for row, notice in zip(rows, read.notices, strict=True):
            row.update(_tried(notice, plant, trial))
    if as_json:
        print_json({"schema": "wideroll/notices/1", "notices": rows})
    else:
        _show(rows)
    if any(row.get("arrived") is False for row in rows):
        raise typer.Exit(EXIT_INPUT)


def _row(notice: Notice) -> dict[str, Any]:
    return {"name": notice.name, "place": notice_place(notice)}


def _tried(notice: Notice, plant: Path, trial: ActionCard) -> dict[str, Any]:
    try:
        (sink,) = open_sinks([notice], plant, trial.roll)
        sink.send(trial)
    except InputError as error:
        return {"arrived": False, "why": str(error)}
    return {"arrived": True, "why": ""}


def _show(rows: Sequence[dict[str, Any]]) -> None:
    for row in rows:
        outcome = {True: ": test card taken", False: ": TEST CARD NOT TAKEN", None: ""}[row.get("arrived")]
        say(f"{row['name']}: {row['place']}{outcome}")
        if row.get("why"):
            say(f"  {row['why']}")
    if not rows:
        say("Action cards go to the screen and the roll's results only: plant.toml has no [[notices]].")
