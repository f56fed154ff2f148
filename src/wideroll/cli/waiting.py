"""Saying on a terminal what goes on, when it takes longer than a second."""

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from wideroll.cli.console import message_console, tell

__all__ = ["waiting"]

_AFTER_S: Final = 1.0


@contextmanager
def waiting(what: str, *, alone: bool = True) -> Iterator[None]:
    """After a second, tell on standard error what goes on, where that is a terminal.

    Args:
        what: goes on.
        alone: nothing inside shows progress of its own, so that the time it takes can be shown all along.
    """
    if not sys.stderr.isatty() or "NO_PROGRESS" in os.environ:
        yield
        return
    shown: list[Progress] = []

    def begin() -> None:
        if alone:
            bar = Progress(
                SpinnerColumn(),
                TextColumn("{task.description}"),
                TimeElapsedColumn(),
                console=message_console(),
                transient=True,
            )
            bar.add_task(what)
            shown.append(bar)
            bar.start()
        else:
            tell(f"{what} …")

    timer = threading.Timer(_AFTER_S, begin)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        for bar in shown:
            bar.stop()
