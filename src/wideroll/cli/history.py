"""The command that tells who did what and when on a roll."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import shorten
from typing import Annotated, Final

import typer

from wideroll.acts.history import event_document, events_of
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say
from wideroll.cli.options import Json
from wideroll.record import Event
from wideroll.report.history_words import act_words, time_words

__all__ = ["history"]

_WIDEST: Final = 200
_Path = Annotated[Path, typer.Argument(metavar="PATH", help="Folder of a plant, or a bundle of its record.")]
_Roll = Annotated[str | None, typer.Argument(metavar="ROLL", help="One roll; without it, all of the record.")]


@app.command()
def history(path: _Path, roll: _Roll = None, *, as_json: Json = False) -> None:
    """Tell who did what and when, in the order it was recorded, one line for each act.

    \b
    Examples:
      wideroll history demo W-2042        one roll, from its take-in on
      wideroll history demo               all of the plant
      wideroll history bundle.zip W-2042  of a record that was exported, on any machine

    Exit code: 0, or 4 where the record doesn't hold; nothing is told then.
    """
    events = events_of(path, roll)
    if as_json:
        print_json({"schema": "wideroll/history/1", "roll": roll, "events": [event_document(one) for one in events]})
        return
    for line in _lines(events, with_roll=roll is None):
        say(line)
    if not events:
        say("Nothing is recorded" + (" of this plant." if roll is None else f" of roll {roll}."))


def _lines(events: Sequence[Event], *, with_roll: bool) -> Iterator[str]:
    digits = len(str(events[-1].number)) if events else 0
    who = max((len(event.who) for event in events), default=0)
    rolls = max((len(str(event.body.get("roll", "-"))) for event in events), default=0) if with_roll else 0
    for event in events:
        where = f"{event.body.get('roll', '-')!s:{rolls}}  " if with_roll else ""
        words = shorten(act_words(event.act, event.body), _WIDEST, placeholder=" …")
        yield f"{event.number:{digits}}  {time_words(event.when_utc)}  {event.who:{who}}  {where}{words}"
