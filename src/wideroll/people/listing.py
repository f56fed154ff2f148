"""Reading who there is."""

from typing import Any, Final

from wideroll.people.database import DeskDatabase
from wideroll.people.model import PersonCard

__all__ = ["COLUMNS", "card_of", "find_person", "find_provided", "list_people", "people_there"]

COLUMNS: Final = "p.name, p.shown, p.roles, p.disabled, p.hash IS NOT NULL, coalesce(p.provided, ''), p.made_s"
WIDTH: Final = 7


def card_of(row: tuple[Any, ...]) -> PersonCard:
    """A person from a row that begins with ``COLUMNS``."""
    name, shown, roles, disabled, has_password, provided, made_s = row[:WIDTH]
    return PersonCard(
        name=name,
        shown=shown,
        roles=tuple(roles.split(",")) if roles else (),
        disabled=bool(disabled),
        has_password=bool(has_password),
        provided=provided,
        made_s=made_s,
    )


def people_there(database: DeskDatabase) -> bool:
    """Whether anybody was ever added, disabled or not: from then on everybody must say who they are."""
    return bool(database.rows("SELECT 1 FROM people LIMIT 1"))


def list_people(database: DeskDatabase) -> tuple[PersonCard, ...]:
    """All, by name."""
    return tuple(card_of(row) for row in database.rows(f"SELECT {COLUMNS} FROM people p ORDER BY p.name"))  # noqa: S608


def find_person(database: DeskDatabase, name: str) -> PersonCard | None:
    """The person of a name, or None."""
    rows = database.rows(f"SELECT {COLUMNS} FROM people p WHERE p.name = ?", name)  # noqa: S608
    return card_of(rows[0]) if rows else None


def find_provided(database: DeskDatabase, provided: str) -> PersonCard | None:
    """The person whom the provider of names knows so, or None."""
    rows = database.rows(f"SELECT {COLUMNS} FROM people p WHERE p.provided = ?", provided)  # noqa: S608
    return card_of(rows[0]) if rows else None
