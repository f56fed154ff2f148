"""The command that shows the whole job on an invented plant."""

import shlex
import sys
from contextlib import nullcontext, redirect_stdout
from pathlib import Path
from typing import Annotated

import polars as pl
import typer

from wideroll.cli.app import EXIT_HOLD, EXIT_REJECT, app, debugging, main
from wideroll.cli.console import Bar, print_json, say, tell
from wideroll.roll import Extent, Place
from wideroll.store import demo_rolls, read_json, write_demo_plant

__all__ = ["demo"]

_DECIDED = {0, EXIT_HOLD, EXIT_REJECT}


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder, or an earlier demo.")],
    *,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON document; all else goes to standard error.")
    ] = False,
    small: Annotated[bool, typer.Option("--small", help="Rolls half as long, at a coarser pitch.")] = False,
) -> None:
    """Write an invented plant with three rolls and run the whole job on it.

    \b
    Examples:
      wideroll demo demo
      wideroll demo /tmp/look --small
    """
    bar = _PlantBar()
    try:
        written = write_demo_plant(folder, small=small, advance=bar.advance)
    finally:
        bar.finish()
    tell(f"invented plant: {folder}" + ("" if written else " (there already)"))
    with redirect_stdout(sys.stderr) if as_json else nullcontext():
        _run_all(folder)
    decisions = {roll: read_json(folder / "results" / roll / "decision.json") for roll in demo_rolls()}
    sheets = {roll: str(folder / "results" / roll / "sheet.html") for roll in decisions}
    if as_json:
        rolls = [
            {"roll": r, "verdict": d["verdict"], "why": d["why"], "sheet": sheets[r]} for r, d in decisions.items()
        ]
        print_json({"schema": "wideroll/demo/1", "plant": str(folder), "rolls": rolls})
        return
    say("")
    for roll, decision in decisions.items():
        say(f"{roll}: {decision['verdict']:<8} {sheets[roll]}")


def _run_all(folder: Path) -> None:
    rolls = demo_rolls()
    for roll in rolls:
        _run("decide", str(folder), roll)
    for command in ("scan", "strips", "examine", "repeats", "cut"):
        _run(command, str(folder), rolls[1])
    _run("cases", str(folder))
    sold = _sold_mark(folder / "results" / rolls[1])
    if sold is not None:
        _run("trace", str(folder), sold[0], "--at", f"{sold[1]:.2f} m from outer end")
    _run("control", str(folder))


def _sold_mark(folder: Path) -> tuple[str, float] | None:
    """The finished roll that holds the clearest mark in film that was sold, and where from its outer end; None if none.

    It is what a customer might complain of.
    """
    pieces = [piece for piece in read_json(folder / "cut.json")["pieces"] if piece["parts"] == 1]
    marks = pl.read_parquet(folder / "marks.parquet").sort("snr", "id", descending=True)
    for mark in marks.iter_rows(named=True):
        place = Place(along_m=mark["along_m"], across_mm=mark["across_mm"])
        for piece in pieces:
            extent = Extent(**piece["extent"])
            if extent.contains(place):
                return piece["label"], extent.along_to_m - place.along_m
    return None


class _PlantBar:
    """Progress over the rolls as they are written, one bar a roll."""

    def __init__(self) -> None:
        self._bar = Bar()
        self._roll = ""

    def advance(self, roll: str, lines: int, total: int) -> None:
        if roll != self._roll:
            self.finish()
            self._roll = roll
            self._bar.start(f"write {roll}", total, "lines")
        self._bar.advance(lines)

    def finish(self) -> None:
        if self._roll:
            self._bar.finish()


def _run(*words: str) -> None:
    """The command as a user would give it, shown and run."""
    say("")
    say(f"$ wideroll {shlex.join(words)}", style="bold")
    code = main(["--debug", *words] if debugging() else words)
    if code not in _DECIDED:
        raise typer.Exit(code)
