"""That somebody is who they say, by their password: the same answer and the same work whoever is named."""

from wideroll.people.database import DeskDatabase
from wideroll.people.listing import COLUMNS, WIDTH, card_of
from wideroll.people.model import PersonCard
from wideroll.people.passwords import Cost, hash_password, is_stale, matches

__all__ = ["check_password"]


def check_password(database: DeskDatabase, name: str, password: str, *, cost: Cost) -> PersonCard | None:
    """The person, or None: nobody has the name, they are disabled, have no password, or it is another one.

    A password that was kept at another cost is kept anew at today's.
    """
    rows = database.rows(f"SELECT {COLUMNS}, p.hash FROM people p WHERE p.name = ?", name.strip().lower())  # noqa: S608
    kept: str | None = rows[0][WIDTH] if rows else None
    if not matches(kept, password, cost) or kept is None:
        return None
    person = card_of(rows[0])
    if person.disabled:
        return None
    if is_stale(kept, cost):
        database.change(
            "UPDATE people SET hash = ? WHERE name = ? AND hash = ?", hash_password(password, cost), person.name, kept
        )
    return person
