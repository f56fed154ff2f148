"""The command line: one Typer app, and the one place where an error becomes a message and an exit code."""

import os
import sys
import traceback
from collections.abc import Callable, Sequence
from functools import cache
from typing import Annotated, Any, Final

import typer
from rich.text import Text
from typer.exceptions import TyperException

from wideroll import __version__
from wideroll.acts.telling import Listener, listen
from wideroll.cli.commands import InOrder, load_command
from wideroll.cli.console import Bar, message_console, tell
from wideroll.errors import WiderollError

__all__ = ["EXIT_BUG", "EXIT_HOLD", "EXIT_INPUT", "EXIT_REJECT", "EXIT_USAGE", "app", "debugging", "main"]

EXIT_USAGE: Final = 2
EXIT_INPUT: Final = 3
EXIT_HOLD: Final = 10
EXIT_REJECT: Final = 11
EXIT_BUG: Final = 70
EXIT_INTERRUPTED: Final = 130
_DEBUG: Final = "WIDEROLL_DEBUG"

app = typer.Typer(
    name="wideroll",
    cls=InOrder,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def debugging() -> bool:
    """Whether ``--debug`` was given."""
    return _DEBUG in os.environ


def _show_version(value: bool) -> None:  # noqa: FBT001  (called by Typer)
    if value:
        typer.echo(f"wideroll {__version__}")
        raise typer.Exit


@app.callback()
def root(
    *,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """From a coated roll's evidence to a release decision and a cut list.

    \b
    Examples:
      wideroll demo demo                    an invented plant, and the whole job on it
      wideroll decide demo W-2042           what may be released of one roll, and why

    Exit codes: 0 done or released, 10 hold, 11 reject, 2 wrong usage, 3 input can't be used, 4 the record doesn't hold,
    70 our bug, 130 stopped with Ctrl-C.
    """
    del version
    listen(Listener(tell=tell, progress=Bar))
    if debug:
        os.environ[_DEBUG] = "1"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    os.environ.pop(_DEBUG, None)
    try:
        arguments = list(sys.argv[1:] if argv is None else argv)
        command = _command(next((word for word in arguments if not word.startswith("-")), None))
        code = int(command(args=arguments, prog_name="wideroll", standalone_mode=False) or 0)
    except WiderollError as error:
        return _complain(f"Error: {error}", error.exit_code)
    except TyperException as error:
        return _refuse(error)
    except (KeyboardInterrupt, typer.Abort):
        code = EXIT_INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # noqa: BLE001  (whatever else happens ends as a message too)
        return _unforeseen(error)
    # Ctrl-C comes here as an error or, with newer versions of Typer, as this code.
    return _complain("Stopped. The same command goes on from here.", code) if code == EXIT_INTERRUPTED else code


@cache
def _command(name: str | None) -> Callable[..., Any]:
    """The app with at least the command of this name."""
    load_command(name)
    return typer.main.get_command(app)


def _unforeseen(error: Exception) -> int:
    """A path out of reach is the input's fault; all else is our bug, and is said so."""
    if isinstance(error, OSError) and error.filename is not None:
        where, why = error.filename, error.strerror
        return _complain(
            f"Error: {where}: must be within reach, got {why!r}. Check the path and its rights.", EXIT_INPUT
        )
    return _complain(f"Bug in wideroll: {type(error).__name__}: {error}. Run again with --debug.", EXIT_BUG)


def _complain(message: str, code: int) -> int:
    if debugging() and sys.exc_info()[0] is not None:
        traceback.print_exc()
    message_console().print(Text(message), soft_wrap=True)
    return code


def _refuse(error: TyperException) -> int:
    show = getattr(error, "show", None)
    if show is None:
        return _complain(f"Error: {error.format_message()}", EXIT_USAGE)
    show()
    return EXIT_USAGE
