"""Sessions: from a login until its end, known by a secret that only the browser keeps."""

import hashlib
import secrets
from dataclasses import dataclass
from typing import Final

from wideroll.people.database import DeskDatabase
from wideroll.people.listing import COLUMNS, WIDTH, card_of
from wideroll.people.model import PersonCard

__all__ = ["Lengths", "Session", "close_session", "digest_of", "open_session", "session_of"]

_TOUCH_S: Final = 60
_LONGEST_SECRET: Final = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengths:
    """How long a session may lie unused, and how long it lasts at most."""

    idle_s: int = 8 * 3600
    whole_s: int = 24 * 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """A session at work: whose it is, how they came in (``password`` or ``provider``), and when."""

    person: PersonCard
    how: str
    made_s: int


def open_session(database: DeskDatabase, person: str, *, how: str, lengths: Lengths, now_s: int) -> str:
    """Begin a session, and forget those that ended.

    Returns:
        Its secret; only a hash of it is kept.
    """
    secret = secrets.token_urlsafe(32)
    with database.writing():
        database.change(
            "DELETE FROM sessions WHERE seen_s < ? OR made_s < ?", now_s - lengths.idle_s, now_s - lengths.whole_s
        )
        database.change(
            "INSERT INTO sessions (digest, person, how, made_s, seen_s) VALUES (?, ?, ?, ?, ?)",
            *(digest_of(secret), person, how, now_s, now_s),
        )
    return secret


def session_of(
    database: DeskDatabase, secret: str, *, lengths: Lengths, now_s: int, touch: bool = True
) -> Session | None:
    """The session of a secret; None when there is none, it ended, or its person is disabled.

    Args:
        database: of people.
        secret: of the session.
        lengths: after which it ends.
        now_s: now.
        touch: somebody is there; False where a page only keeps itself up to date.
    """
    if len(secret) > _LONGEST_SECRET:
        return None
    digest = digest_of(secret)
    rows = database.rows(
        f"SELECT {COLUMNS}, s.how, s.made_s, s.seen_s FROM sessions s JOIN people p ON p.name = s.person"  # noqa: S608
        " WHERE s.digest = ?",
        digest,
    )
    if not rows:
        return None
    person, (how, made_s, seen_s) = card_of(rows[0]), rows[0][WIDTH:]
    if person.disabled or now_s - seen_s > lengths.idle_s or now_s - made_s > lengths.whole_s:
        database.change("DELETE FROM sessions WHERE digest = ?", digest)
        return None
    if touch and now_s - seen_s > _TOUCH_S:
        database.change("UPDATE sessions SET seen_s = ? WHERE digest = ?", now_s, digest)
    return Session(person=person, how=how, made_s=made_s)


def close_session(database: DeskDatabase, secret: str) -> None:
    """End a session; one that isn't there is ended already."""
    database.change("DELETE FROM sessions WHERE digest = ?", digest_of(secret))


def digest_of(secret: str) -> str:
    """What is kept of a secret. It is long and random, so that a plain hash is enough."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
