"""Adding people and changing them; each change stands in the log, with who made it."""

from collections.abc import Iterable

from wideroll.errors import InputError
from wideroll.people.database import DeskDatabase
from wideroll.people.listing import find_person, list_people, people_there
from wideroll.people.log import Logged, write_log
from wideroll.people.model import Hand, PersonCard, check_name, check_roles, check_shown
from wideroll.people.passwords import Cost, check_new_password, hash_password

__all__ = ["add_person", "change_person", "known", "set_password"]


def add_person(
    database: DeskDatabase,
    hand: Hand,
    *,
    name: str,
    shown: str,
    roles: Iterable[str],
    password: str | None = None,
    provided: str = "",
    cost: Cost,
) -> PersonCard:
    """Add somebody.

    Args:
        database: of the desk.
        hand: who adds them.
        name: what they log in with.
        shown: who they are in the record; nobody else may be called so.
        roles: at least one.
        password: none for somebody who comes in by the provider, or by token alone.
        provided: who they are to the provider of names.
        cost: of the password.

    Raises:
        InputError: when a part can't be taken, somebody has the name already, or the first person isn't one who may
            add others.
    """
    small, called, given = check_name(name), check_shown(shown), check_roles(roles)
    kept = None if password is None else hash_password(check_new_password(password, name=small, shown=called), cost)
    with database.writing():
        if not provided:
            _check_first(database, given, comes_in=kept is not None)
        _check_free(database, small, called)
        database.change(
            "INSERT INTO people (name, shown, roles, hash, provided, made_s) VALUES (?, ?, ?, ?, ?, ?)",
            *(small, called, ",".join(given), kept, provided or None, hand.now_s),
        )
        way = "with a password" if kept else "without a password"
        _log(database, hand, f"added {called} as {', '.join(given)}, {way}", small)
        return known(database, small)


def change_person(
    database: DeskDatabase, hand: Hand, name: str, *, roles: Iterable[str] | None = None, disabled: bool | None = None
) -> PersonCard:
    """Give somebody other roles, or let them in no longer, or again; their sessions end when they are disabled.

    Raises:
        InputError: when there is no such person, a role isn't known, or nobody would be left who may administer.
    """
    given = None if roles is None else check_roles(roles)
    with database.writing():
        before = known(database, name)
        after_roles = before.roles if given is None else given
        shut = before.disabled if disabled is None else disabled
        _check_somebody_administers(database, before, after_roles, shut=shut)
        database.change(
            "UPDATE people SET roles = ?, disabled = ? WHERE name = ?", ",".join(after_roles), int(shut), before.name
        )
        if after_roles != before.roles:
            _log(database, hand, f"roles: {', '.join(after_roles)} (were {', '.join(before.roles)})", before.name)
        if shut != before.disabled:
            _log(database, hand, "disabled" if shut else "let in again", before.name)
        if shut:
            database.change("DELETE FROM sessions WHERE person = ?", before.name)
        return known(database, before.name)


def set_password(database: DeskDatabase, hand: Hand, name: str, password: str, *, cost: Cost) -> None:
    """Give somebody another password; all their sessions end.

    Raises:
        InputError: when there is no such person, or the password can't be taken.
    """
    person = known(database, name)
    kept = hash_password(check_new_password(password, name=person.name, shown=person.shown), cost)
    with database.writing():
        database.change("UPDATE people SET hash = ? WHERE name = ?", kept, person.name)
        database.change("DELETE FROM sessions WHERE person = ?", person.name)
        _log(database, hand, "another password", person.name)


def known(database: DeskDatabase, name: str) -> PersonCard:
    """The person of a name.

    Raises:
        InputError: when there is none.
    """
    person = find_person(database, name.strip().lower())
    if person is None:
        there = ", ".join(one.name for one in list_people(database)) or "nobody yet"
        raise InputError(where="name", rule=f"must be somebody here: {there}", value=name, mend="Correct the name.")
    return person


def _check_first(database: DeskDatabase, roles: Iterable[str], *, comes_in: bool) -> None:
    if not people_there(database) and not ("administrator" in roles and comes_in):
        raise InputError(
            where="roles",
            rule="the first person must be an administrator with a password, as from then on everybody logs in",
            mend="Give the role administrator, besides others, and a password.",
        )


def _check_free(database: DeskDatabase, name: str, shown: str) -> None:
    for one in list_people(database):
        if name == one.name or shown.casefold() in {one.shown.casefold(), one.name}:
            raise InputError(
                where="name" if name == one.name else "shown",
                rule="nobody else may have the name, so that the record says who it was",
                value=name if name == one.name else shown,
                mend="Take another one; somebody who left keeps theirs.",
            )


def _check_somebody_administers(
    database: DeskDatabase, before: PersonCard, roles: Iterable[str], *, shut: bool
) -> None:
    if "administrator" not in before.roles or before.disabled or ("administrator" in roles and not shut):
        return
    others = (one for one in list_people(database) if one.name != before.name and not one.disabled)
    if not any("administrator" in one.roles for one in others):
        raise InputError(
            where="roles",
            rule="somebody must be left who may administer",
            value=before.name,
            mend="Make somebody else an administrator first.",
        )


def _log(database: DeskDatabase, hand: Hand, what: str, about: str) -> None:
    line = Logged(kind="change", who=hand.who, what=what, about=about, address=hand.address)
    write_log(database, line, now_s=hand.now_s)
