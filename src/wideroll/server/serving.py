"""Starting the desk: what ``wideroll desk`` does."""

import getpass
import socket
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Final

import typer
from typer.exceptions import TyperException

from wideroll.errors import InputError, WiderollError
from wideroll.server.desk import LOOPBACK, DeskSettings

__all__ = ["desk", "main"]

_PORT: Final = 8642
_USAGE: Final = 2


def desk(
    plant: Annotated[Path, typer.Argument(metavar="PLANT", help="Folder of the plant.")],
    *,
    port: Annotated[int, typer.Option(metavar="N", min=0, max=65535, help="Port; 0 takes any free one.")] = _PORT,
    who: Annotated[
        str | None, typer.Option(help="Who acts where no login is needed; by default the name you log in with.")
    ] = None,
) -> None:
    """The whole job in a browser, on this machine; prints the address.

    \b
    Examples:
      wideroll desk demo
      wideroll desk demo --port 0 --who "release engineer"

    Ctrl-C ends it. It answers to this machine only.
    """
    if not (plant / "plant.toml").is_file():
        raise InputError(
            where=str(plant),
            rule="a plant's folder holds a plant.toml",
            mend="Give the plant's folder; `wideroll demo DIR` makes an invented one to look at.",
        )
    if find_spec("uvicorn") is None or find_spec("fastapi") is None:
        raise InputError(
            where="wideroll desk",
            rule="the desk needs the extra web",
            value="not installed",
            mend="Install it with: pip install 'wideroll[web]'",
        )
    import uvicorn  # noqa: PLC0415  (only once it is known that there is something to serve)

    from wideroll.server.app import create_app  # noqa: PLC0415

    settings = DeskSettings(root=plant, who=who or getpass.getuser())
    with _listening(port) as listener:
        address = f"http://{LOOPBACK[0]}:{listener.getsockname()[1]}/"
        config = uvicorn.Config(create_app(settings), log_level="warning", access_log=False, server_header=False)
        sys.stdout.write(f"The desk of {plant} stands at {address} (Ctrl-C ends it)\n")
        sys.stdout.flush()
        uvicorn.Server(config).run(sockets=[listener])


def _listening(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((LOOPBACK[0], port))
    except OSError as error:
        listener.close()
        raise InputError(
            where="--port",
            rule="must be a port that nobody listens at",
            value=port,
            mend="Give another one, or 0 for any that is free.",
        ) from error
    return listener


def main(argv: Sequence[str]) -> int:
    """``wideroll desk`` alone, without loading the other commands; returns its exit code.

    Args:
        argv: what stands after ``desk``.
    """
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    app.command(context_settings={"help_option_names": ["-h", "--help"]})(desk)
    try:
        return int(app(args=list(argv), prog_name="wideroll desk", standalone_mode=False) or 0)
    except WiderollError as error:
        sys.stderr.write(f"Error: {error}\n")
        return error.exit_code
    except TyperException as error:
        getattr(error, "show", lambda: None)()
        return _USAGE
    except (KeyboardInterrupt, typer.Abort):
        return 0
