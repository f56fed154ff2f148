"""What a command prints: data on standard output, all else on standard error."""

import json
import os
import sys
from typing import Any, Final

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

__all__ = ["Bar", "data_console", "decimal", "message_console", "print_json", "print_table", "say", "tell"]

_WIDTH_WITHOUT_TERMINAL: Final = 110


class _DataConsole(Console):
    """Standard output, whose reader may leave early."""

    def on_broken_pipe(self) -> None:
        """Leave the exit code to ``main`` instead of ending here with 1."""
        raise BrokenPipeError


def data_console() -> Console:
    """Standard output."""
    return _DataConsole(
        width=None if sys.stdout.isatty() else _WIDTH_WITHOUT_TERMINAL, highlight=False, soft_wrap=False
    )


def message_console() -> Console:
    """Standard error."""
    return Console(stderr=True, width=None if sys.stderr.isatty() else _WIDTH_WITHOUT_TERMINAL, highlight=False)


def decimal(text: str) -> float:
    """A number of an option, with decimal point or comma.

    Raises:
        ValueError: when it is none; Typer says so with the option's name.
    """
    return float(str(text).replace(",", "."))


def say(text: str, *, style: str = "") -> None:
    """A line of data for people, as it stands."""
    data_console().print(Text(text, style=style), soft_wrap=True)


def tell(text: str) -> None:
    """A line of message, as it stands: brackets in a path are no markup, and a long path isn't broken."""
    message_console().print(Text(text), soft_wrap=True)


def print_table(table: Table) -> None:
    """A table for people."""
    data_console().print(table)


def print_json(value: dict[str, Any]) -> None:
    """One document for machines: keys in order, numbers as they are, no NaN."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False, indent=2, sort_keys=True, allow_nan=False) + "\n")


class Bar:
    """Progress on standard error: a bar on a terminal, one line at the end elsewhere."""

    def __init__(self) -> None:
        """Nothing is shown until work starts."""
        self._bar: Progress | None = None
        self._task: Any = None
        self._what = ""
        self._left = 0

    def start(self, what: str, total: int, unit: str) -> None:
        """Show the bar."""
        self._what = f"{what} {total:,} {unit}"
        self._left = total
        if sys.stderr.isatty() and "NO_PROGRESS" not in os.environ:
            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
                console=message_console(),
                transient=True,
            )
            self._task = self._bar.add_task(f"{what} ({unit})", total=total)
            self._bar.start()

    def advance(self, amount: int) -> None:
        """Move the bar."""
        self._left -= amount
        if self._bar is not None:
            self._bar.advance(self._task, amount)

    def finish(self) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar.stop()
            self._bar = None
        message_console().print(Text(f"{self._what}: {'stopped' if self._left > 0 else 'done'}"))

    def note(self, message: str) -> None:
        """A line of its own."""
        tell(message)
