"""The commands for the people of the desk: who may come in, as what, and tokens for programs."""

import getpass
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Final

import typer
from rich.table import Table

from wideroll.acts.whoever import who_acts
from wideroll.cli.app import app
from wideroll.cli.commands import InFull
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, misused
from wideroll.errors import InputError
from wideroll.people import (
    DeskDatabase,
    Hand,
    PersonCard,
    TokenCard,
    add_person,
    change_person,
    desk_database,
    list_people,
    list_tokens,
    make_token,
    read_desk_file,
    read_log,
    revoke_token,
    set_password,
)
from wideroll.people import Kind as LineKind

__all__ = ["people"]

people = typer.Typer(cls=InFull, no_args_is_help=True, help="Say who may use the desk, as what, and by which tokens.")
app.add_typer(people, name="people")

_STANDARD_INPUT: Final = Path("-")
_FOR: Final = "a new token needs --for, one that is revoked doesn't"
_KIND: Final = "must be one of: change, login, refused"
PersonArg = Annotated[str, typer.Argument(metavar="NAME", help="What they log in with, such as m.alder.")]
Roles = Annotated[
    list[str],
    typer.Option(
        "--role",
        metavar="ROLE",
        help="reader, examiner, technician, control room, engineer or administrator; may be repeated.",
    ),
]
PasswordFile = Annotated[
    Path | None,
    typer.Option(
        "--password", metavar="FILE", help="Its first line is the password; - reads standard input. Never an argument."
    ),
]
WhoChanges = Annotated[
    str | None, typer.Option("--who", help="Who changes it, for the log; by default the name you log in with.")
]


@people.command(name="list")
def show(plant: PlantArg, *, as_json: Json = False) -> None:
    """Show who may use the desk, and the tokens of programs.

    \b
    Examples:
      wideroll people list demo
      wideroll people list demo --json
    """
    with _there(plant) as database:
        cards = () if database is None else list_people(database)
        tokens = () if database is None else list_tokens(database)
    now_s = int(time.time())
    if as_json:
        print_json(_document(cards, tokens, now_s))
        return
    if not cards:
        say("Nobody yet: one person works at this machine, without a login.")
        return
    table = Table("name", "in the record", "roles", "comes in", title="People")
    for one in cards:
        table.add_row(one.name, one.shown, ", ".join(one.roles), _way(one))
    print_table(table)
    if tokens:
        table = Table("token", "acts for", "scopes", "state", "ends", title="Tokens")
        for token in tokens:
            table.add_row(token.name, token.person, ", ".join(token.scopes), _state(token, now_s), _day(token.ends_s))
        print_table(table)


@people.command()
def add(
    plant: PlantArg,
    name: PersonArg,
    *,
    role: Roles,
    shown: Annotated[
        str | None, typer.Option("--as", metavar="TEXT", help="Who they are in the record, such as 'M. Alder'.")
    ] = None,
    password: PasswordFile = None,
    who: WhoChanges = None,
) -> None:
    """Add somebody; from the first on, everybody at the desk logs in.

    \b
    Examples:
      wideroll people add demo m.alder --as "M. Alder" --role administrator --role engineer --password first.txt
      wideroll people add demo k.birch --as "K. Birch" --role examiner --password - < first.txt

    Without a password they come in by the provider of names, or not at all but by token.
    """
    given, cost = _password(password), read_desk_file(plant).cost
    with _opened(plant) as database:
        made = add_person(database, _hand(who), name=name, shown=shown or name, roles=role, password=given, cost=cost)
    tell(f"{made.shown} is added: {', '.join(made.roles)}.")


@people.command()
def roles(plant: PlantArg, name: PersonArg, *, role: Roles, who: WhoChanges = None) -> None:
    """Give somebody other roles than they had; those count at once.

    \b
    Examples:
      wideroll people roles demo k.birch --role examiner --role technician
      wideroll people roles demo m.alder --role engineer
    """
    with _opened(plant) as database:
        made = change_person(database, _hand(who), name, roles=role)
    tell(f"{made.shown}: {', '.join(made.roles)}.")


@people.command()
def password(
    plant: PlantArg,
    name: PersonArg,
    *,
    file: Annotated[
        Path, typer.Option("--password", metavar="FILE", help="Its first line is the password; - reads standard input.")
    ] = _STANDARD_INPUT,
    who: WhoChanges = None,
) -> None:
    """Give somebody another password, from standard input or a file; all their sessions end.

    \b
    Examples:
      wideroll people password demo k.birch
      wideroll people password demo k.birch --password new.txt
    """
    given, cost = _password(file), read_desk_file(plant).cost
    with _opened(plant) as database:
        set_password(database, _hand(who), name, given or "", cost=cost)
    tell(f"{name} has another password; all their sessions are ended.")


@people.command()
def disable(
    plant: PlantArg,
    name: PersonArg,
    *,
    undo: Annotated[bool, typer.Option("--undo", help="Let them in again.")] = False,
    who: WhoChanges = None,
) -> None:
    """Let somebody in no longer: sessions end, tokens stop; what they did stays theirs.

    \b
    Examples:
      wideroll people disable demo k.birch
      wideroll people disable demo k.birch --undo
    """
    with _opened(plant) as database:
        made = change_person(database, _hand(who), name, disabled=not undo)
    tell(f"{made.shown} can come in {'no longer' if made.disabled else 'again'}.")


@people.command()
def token(
    plant: PlantArg,
    name: Annotated[str, typer.Argument(metavar="TOKEN", help="Name of the token, such as line-display.")],
    *,
    person: Annotated[str | None, typer.Option("--for", metavar="NAME", help="Whom it acts for.")] = None,
    scope: Annotated[
        list[str] | None,
        typer.Option(metavar="SCOPE", help="read, examine, measure, decide, act or complain; may be repeated."),
    ] = None,
    days: Annotated[int, typer.Option(metavar="N", help="Until it ends, at most 366.")] = 90,
    revoke: Annotated[bool, typer.Option("--revoke", help="Let it be used no longer.")] = False,
    who: WhoChanges = None,
) -> None:
    """Make a token by which a program acts for somebody; it is printed this once. Or revoke one.

    \b
    Examples:
      wideroll people token demo line-display --for k.birch --scope read > display.token
      wideroll people token demo line-display --revoke
    """
    if revoke != (person is None):
        raise misused(_FOR, "--for")
    with _opened(plant) as database:
        if person is None:
            revoke_token(database, _hand(who), name)
            tell(f"The token {name} is revoked.")
            return
        secret = make_token(database, _hand(who), name=name, person=person, scopes=scope or ["read"], days=days)
    tell("The token; it isn't shown again:")
    say(secret)


@people.command()
def log(
    plant: PlantArg,
    *,
    kind: Annotated[str | None, typer.Option(metavar="KIND", help="Only these: change, login or refused.")] = None,
    most: Annotated[int, typer.Option(metavar="N", min=1, max=10_000, help="So many lines at most.")] = 50,
    as_json: Json = False,
) -> None:
    """Show who came in, what was changed about people, and what was refused; the newest first.

    \b
    Examples:
      wideroll people log demo --kind refused
      wideroll people log demo --most 500 --json
    """
    kinds: dict[str, LineKind] = {"change": "change", "login": "login", "refused": "refused"}
    if kind is not None and kind not in kinds:
        raise misused(_KIND, "--kind")
    with _there(plant) as database:
        lines = () if database is None else read_log(database, kind=kinds.get(kind or ""), most=most)
    if as_json:
        rows = [
            {"number": one.number, "when": _moment(one.when_s), "kind": one.kind, "who": one.who}
            | {"what": one.what, "about": one.about, "address": one.address}
            for one in lines
        ]
        print_json({"schema": "wideroll/people-log/1", "log": rows})
        return
    table = Table("when", "kind", "who", "what", "about", "from", title="Log of the desk")
    for one in lines:
        table.add_row(_moment(one.when_s), one.kind, one.who, one.what, one.about, one.address)
    print_table(table)


@contextmanager
def _there(plant: Path) -> Iterator[DeskDatabase | None]:
    _check_plant(plant)
    database = desk_database(plant)
    try:
        yield database
    finally:
        if database is not None:
            database.close()


@contextmanager
def _opened(plant: Path) -> Iterator[DeskDatabase]:
    _check_plant(plant)
    database = desk_database(plant, make=True)
    assert database is not None  # noqa: S101  (it was just made)
    try:
        yield database
    finally:
        database.close()


def _check_plant(plant: Path) -> None:
    if not (plant / "plant.toml").is_file():
        raise InputError(where=str(plant), rule="a plant's folder holds a plant.toml", mend="Give the plant's folder.")


def _hand(who: str | None) -> Hand:
    return Hand(who=who_acts(who), address="command", now_s=int(time.time()))


def _password(path: Path | None) -> str | None:
    """The first line of a file or of standard input; typed unseen at a terminal."""
    if path is None:
        return None
    if path != _STANDARD_INPUT:
        try:
            return (path.read_text(encoding="utf-8-sig").splitlines() or [""])[0]
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(
                where=str(path), rule="the file with the password must be readable", value=str(error), mend="Check it."
            ) from error
    if sys.stdin.isatty():
        return getpass.getpass("Password (not shown): ")
    return sys.stdin.readline().rstrip("\r\n")


def _document(cards: Sequence[PersonCard], tokens: Sequence[TokenCard], now_s: int) -> dict[str, Any]:
    return {
        "schema": "wideroll/people/1",
        "people": [
            {"name": one.name, "shown": one.shown, "roles": list(one.roles), "disabled": one.disabled}
            | {"password": one.has_password, "provider": bool(one.provided), "added": _moment(one.made_s)}
            for one in cards
        ],
        "tokens": [
            {"name": one.name, "person": one.person, "scopes": list(one.scopes), "state": _state(one, now_s)}
            | {"made": _moment(one.made_s), "made_by": one.made_by, "ends": _moment(one.ends_s)}
            for one in tokens
        ],
    }


def _way(one: PersonCard) -> str:
    if one.disabled:
        return "no longer"
    return "by the provider" if one.provided else "by password" if one.has_password else "by token only"


def _state(token: TokenCard, now_s: int) -> str:
    return "revoked" if token.revoked_s is not None else "good" if token.good(now_s) else "ended"


def _moment(seconds: int) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="seconds")


def _day(seconds: int) -> str:
    return _moment(seconds)[: len("2026-11-20")]
