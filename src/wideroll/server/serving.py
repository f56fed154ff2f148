"""Starting the desk: what ``wideroll desk`` does."""

import gc
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
from wideroll.people import DeskFile, desk_database, people_there, read_desk_file
from wideroll.server.desk import LOOPBACK, DeskSettings

__all__ = ["desk", "main"]

_PORT: Final = 8642
_USAGE: Final = 2
_LEAVE_S: Final = 5


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

    Ctrl-C ends it. It answers to this machine only, unless desk.toml in the plant's folder says otherwise. Where
    `wideroll people` has added somebody, everybody logs in.
    """
    _check_there(plant)
    gc.disable()  # what is loaded stays: looking through it for waste takes a fifth of the start
    import uvicorn  # noqa: PLC0415  (only once it is known that there is something to serve)

    from wideroll.server.app import create_app  # noqa: PLC0415
    from wideroll.server.live.hub import hub_of  # noqa: PLC0415
    from wideroll.server.live.serving import desk_server  # noqa: PLC0415

    rules = read_desk_file(plant)
    _check_people(plant, rules)
    settings = DeskSettings(root=plant, who=who or getpass.getuser(), rules=rules)
    with _listening(rules.listen, port) as listener:
        address = f"{'https' if rules.https else 'http'}://{_shown(rules)}:{listener.getsockname()[1]}/"
        app = create_app(settings)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,  # anybody could say anything by them
            ssl_certfile=plant / rules.certificate if rules.certificate else None,
            ssl_keyfile=plant / rules.key if rules.key else None,
            timeout_graceful_shutdown=_LEAVE_S,
        )
        gc.freeze()
        gc.enable()
        sys.stdout.write(f"The desk of {plant} stands at {address} (Ctrl-C ends it)\n")
        sys.stdout.flush()
        desk_server(config, hub_of(app.state.desk)).run(sockets=[listener])


def _check_there(plant: Path) -> None:
    """Refuse what is no plant, and to begin without what serves."""
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


def _check_people(plant: Path, rules: DeskFile) -> None:
    """Refuse to let a network in where nobody would have to say who they are, or could be overheard saying it."""
    if rules.loopback:
        return
    database = desk_database(plant)
    there = database is not None and people_there(database)
    if database is not None:
        database.close()
    if not there and rules.provider is None:
        raise InputError(
            where="desk.toml: listen",
            rule="a desk that others can reach needs people, so that everybody says who they are",
            value=rules.listen,
            mend="Add an administrator first, with wideroll people add.",
        )
    if not rules.https:
        raise InputError(
            where="desk.toml: listen",
            rule="a desk that others can reach needs https, so that nobody overhears passwords",
            value=rules.listen,
            mend="Name a certificate and its key, or say behind_https = true where a program before it speaks https.",
        )


def _shown(rules: DeskFile) -> str:
    return LOOPBACK[0] if rules.loopback else next(iter(rules.hosts), rules.listen)


def _listening(address: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
        listener.listen()
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
