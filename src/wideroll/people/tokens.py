"""Tokens for programs: each acts for a person, within its scopes and what the person may, until its end."""

import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.people.database import DeskDatabase
from wideroll.people.listing import COLUMNS, WIDTH, card_of
from wideroll.people.log import Logged, write_log
from wideroll.people.model import Act, Hand, PersonCard, acts_of, check_acts, check_name
from wideroll.people.persons import known
from wideroll.people.sessions import digest_of

__all__ = ["TokenCard", "list_tokens", "make_token", "revoke_token", "token_of"]

_SIGN: Final = "wideroll_"
"""Before each, so that one left in a file is seen for what it is."""
_MOST_DAYS: Final = 366
_DAY_S: Final = 86400
_LONGEST_SECRET: Final = 100
_COLUMNS: Final = "t.name, t.person, t.scopes, t.made_s, t.made_by, t.ends_s, t.revoked_s"


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenCard:
    """A token: its name, whom it acts for, what it may, who made it and when, its end, and since when it is revoked."""

    name: str
    person: str
    scopes: tuple[Act, ...]
    made_s: int
    made_by: str
    ends_s: int
    revoked_s: int | None

    def good(self, now_s: int) -> bool:
        """Whether it may still be used."""
        return self.revoked_s is None and now_s < self.ends_s


def make_token(database: DeskDatabase, hand: Hand, *, name: str, person: str, scopes: Iterable[str], days: int) -> str:
    """Make a token.

    Args:
        database: of the desk.
        hand: who makes it.
        name: which no other token has or had.
        person: whom it acts for.
        scopes: what it may; nothing that the person mayn't.
        days: until it ends, at most 366.

    Returns:
        The token, told this once; only a hash of it is kept.

    Raises:
        InputError: when a part can't be taken, or there is such a token.
    """
    small, given = check_name(name, where="token"), check_acts(scopes)
    if not 1 <= days <= _MOST_DAYS:
        raise InputError(where="days", rule=f"must be 1 to {_MOST_DAYS}", value=days, mend="Make a new one in time.")
    secret = _SIGN + secrets.token_urlsafe(32)
    with database.writing():
        whom = known(database, person)
        _check_within(whom, given)
        if database.rows("SELECT 1 FROM tokens WHERE name = ?", small):
            raise InputError(
                where="token",
                rule="no other token may have or have had its name",
                value=small,
                mend="Take another one.",
            )
        database.change(
            "INSERT INTO tokens (name, digest, person, scopes, made_s, made_by, ends_s) VALUES (?, ?, ?, ?, ?, ?, ?)",
            *(small, digest_of(secret), whom.name, ",".join(given), hand.now_s, hand.who, hand.now_s + days * _DAY_S),
        )
        what = f"token {small} for {', '.join(given)}, {days} days"
        write_log(
            database,
            Logged(kind="change", who=hand.who, what=what, about=whom.name, address=hand.address),
            now_s=hand.now_s,
        )
    return secret


def revoke_token(database: DeskDatabase, hand: Hand, name: str) -> None:
    """Let a token be used no longer; one that is revoked already stays so.

    Raises:
        InputError: when there is no such token.
    """
    small = name.strip().lower()
    with database.writing():
        rows = database.rows("SELECT person, revoked_s FROM tokens WHERE name = ?", small)
        if not rows:
            there = ", ".join(one.name for one in list_tokens(database)) or "none yet"
            raise InputError(where="token", rule=f"must be one of: {there}", value=name, mend="Correct the name.")
        person, revoked_s = rows[0]
        if revoked_s is None:
            database.change("UPDATE tokens SET revoked_s = ? WHERE name = ?", hand.now_s, small)
            line = Logged(
                kind="change", who=hand.who, what=f"token {small} revoked", about=person, address=hand.address
            )
            write_log(database, line, now_s=hand.now_s)


def list_tokens(database: DeskDatabase) -> tuple[TokenCard, ...]:
    """All, by name."""
    return tuple(_card(row) for row in database.rows(f"SELECT {_COLUMNS} FROM tokens t ORDER BY t.name"))  # noqa: S608


def token_of(database: DeskDatabase, secret: str, *, now_s: int) -> tuple[TokenCard, PersonCard] | None:
    """The token of a secret and whom it acts for; None when there is none, it ended, or the person is disabled."""
    if len(secret) > _LONGEST_SECRET:
        return None
    rows = database.rows(
        f"SELECT {COLUMNS}, {_COLUMNS} FROM tokens t JOIN people p ON p.name = t.person WHERE t.digest = ?",  # noqa: S608
        digest_of(secret),
    )
    if not rows:
        return None
    person, token = card_of(rows[0]), _card(rows[0][WIDTH:])
    return None if person.disabled or not token.good(now_s) else (token, person)


def _card(row: tuple[Any, ...]) -> TokenCard:
    name, person, scopes, made_s, made_by, ends_s, revoked_s = row
    return TokenCard(
        name=name,
        person=person,
        scopes=tuple(scopes.split(",")),
        made_s=made_s,
        made_by=made_by,
        ends_s=ends_s,
        revoked_s=revoked_s,
    )


def _check_within(person: PersonCard, scopes: Iterable[Act]) -> None:
    beyond = [act for act in scopes if act not in acts_of(person.roles)]
    if beyond:
        raise InputError(
            where="scopes",
            rule=f"must be within what {person.name} may ({', '.join(sorted(acts_of(person.roles)))})",
            value=", ".join(beyond),
            mend="Give fewer scopes, or the person another role first.",
        )
