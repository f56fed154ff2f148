"""The log of the desk: who came in, what was changed about people, and what was refused to whom."""

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from wideroll.people.database import DeskDatabase

__all__ = ["Kind", "Logged", "read_log", "write_log"]

Kind: TypeAlias = Literal["change", "login", "refused"]
"""A change stays for good; of logins and refusals the newest stay."""
_LONGEST: Final = 400
_KEPT: Final = 50_000
_NOW_AND_THEN: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """A line of the log; ``address`` is where on the network it came from, or ``command`` for the command line."""

    kind: Kind
    who: str
    what: str
    about: str
    address: str
    number: int = 0
    when_s: int = 0


def write_log(database: DeskDatabase, line: Logged, *, now_s: int) -> None:
    """Add a line; the oldest logins and refusals go when there are more than fifty thousand lines."""
    texts = (_on_one_line(text) for text in (line.who, line.what, line.about, line.address))
    database.change(
        "INSERT INTO log (when_s, kind, who, what, about, address) VALUES (?, ?, ?, ?, ?, ?)", now_s, line.kind, *texts
    )
    [(last,)] = database.rows("SELECT max(number) FROM log")
    if last % _NOW_AND_THEN == 0:
        database.change("DELETE FROM log WHERE kind != 'change' AND number <= ?", last - _KEPT)


def read_log(
    database: DeskDatabase, *, kind: Kind | None = None, before: int | None = None, most: int = 100
) -> tuple[Logged, ...]:
    """The newest lines first.

    Args:
        database: of the desk.
        kind: only lines of it.
        before: only lines with a smaller number.
        most: so many at most.
    """
    rows = database.rows(
        "SELECT number, when_s, kind, who, what, about, address FROM log"
        " WHERE (?1 IS NULL OR kind = ?1) AND (?2 IS NULL OR number < ?2) ORDER BY number DESC LIMIT ?3",
        kind,
        before,
        most,
    )
    names = ("number", "when_s", "kind", "who", "what", "about", "address")
    return tuple(Logged(**dict(zip(names, row, strict=True))) for row in rows)


def _on_one_line(text: str) -> str:
    """As it can be shown: a line end or a sign that steers a terminal is told, not sent."""
    shown = "".join(letter if letter.isprintable() else f"\\u{ord(letter):04x}" for letter in text[: _LONGEST + 1])
    return shown if len(shown) <= _LONGEST else shown[: _LONGEST - 1] + "…"
