"""People, tokens and the log as plain rows, for pages, CSV and the API."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from wideroll.people import DeskDatabase, Kind, Logged, PersonCard, TokenCard, list_people, list_tokens, read_log

__all__ = ["KINDS", "comma_lines", "log_rows", "moment", "people_rows", "person_row", "token_rows"]

KINDS: Final[tuple[Kind, ...]] = ("change", "login", "refused")
_STEERS_SHEETS: Final = ("=", "+", "-", "@")


def moment(seconds: int | None) -> str:
    """A moment in words, UTC; empty for none.

    Example:
        >>> moment(1_790_000_000)
        '2026-09-21 14:13:20 UTC'
    """
    return "" if seconds is None else datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def people_rows(database: DeskDatabase | None) -> list[dict[str, Any]]:
    """All people, by name."""
    return [] if database is None else [person_row(one) for one in list_people(database)]


def person_row(one: PersonCard) -> dict[str, Any]:
    """A person."""
    return {
        "name": one.name,
        "shown": one.shown,
        "roles": list(one.roles),
        "disabled": one.disabled,
        "password": one.has_password,
        "provider": bool(one.provided),
        "added": moment(one.made_s),
    }


def token_rows(database: DeskDatabase | None, *, now_s: int, person: str | None = None) -> list[dict[str, Any]]:
    """All tokens by name, or those of one person."""
    if database is None:
        return []
    return [_token_row(one, now_s) for one in list_tokens(database) if person in {None, one.person}]


def log_rows(
    database: DeskDatabase | None, *, kind: Kind | None, before: int | None, most: int
) -> list[dict[str, Any]]:
    """Lines of the log, the newest first."""
    return (
        [] if database is None else [_log_row(one) for one in read_log(database, kind=kind, before=before, most=most)]
    )


def comma_lines(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """Rows as CSV; a text that a spreadsheet would take for a formula begins with an apostrophe."""
    import csv  # noqa: PLC0415
    from io import StringIO  # noqa: PLC0415

    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([_cell(row[name]) for name in columns] for row in rows)
    return out.getvalue()


def _cell(value: Any) -> str:
    text = ", ".join(value) if isinstance(value, list) else str(value)
    return f"'{text}" if text.startswith(_STEERS_SHEETS) else text


def _token_row(one: TokenCard, now_s: int) -> dict[str, Any]:
    state = "revoked" if one.revoked_s is not None else "good" if one.good(now_s) else "ended"
    return {
        "name": one.name,
        "person": one.person,
        "scopes": list(one.scopes),
        "state": state,
        "made": moment(one.made_s),
        "made_by": one.made_by,
        "ends": moment(one.ends_s),
        "revoked": moment(one.revoked_s),
    }


def _log_row(one: Logged) -> dict[str, Any]:
    return {
        "number": one.number,
        "when": moment(one.when_s),
        "kind": one.kind,
        "who": one.who,
        "what": one.what,
        "about": one.about,
        "address": one.address,
    }
