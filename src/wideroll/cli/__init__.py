"""The same acts from a terminal: arguments in, tables or JSON out, the outcome as exit code.

No rule of the trade lives here; a command reads, calls a use case, writes and shows.
"""

from wideroll.cli.app import app, main

__all__ = ["app", "main"]
