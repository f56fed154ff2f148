"""Roles, and what each may do."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

from wideroll.errors import InputError

__all__ = [
    "ACTS",
    "ACT_WORDS",
    "ROLES",
    "Act",
    "Hand",
    "PersonCard",
    "acts_of",
    "check_acts",
    "check_name",
    "check_roles",
    "check_shown",
]

Act: TypeAlias = Literal["read", "examine", "measure", "decide", "act", "complain", "administer"]
"""What somebody may do: read; enter sightings; enter readings; decide and cut; take and close action cards; work on
complaints; change people and the plant."""
ACTS: Final[tuple[Act, ...]] = get_args(Act)
ACT_WORDS: Final[Mapping[Act, str]] = {
    "read": "read all pages",
    "examine": "enter sightings",
    "measure": "enter readings",
    "decide": "decide and cut",
    "act": "take and close action cards",
    "complain": "work on complaints",
    "administer": "change people and the plant",
}
"""What each act means, after "may"."""

ROLES: Final[Mapping[str, frozenset[Act]]] = {
    "reader": frozenset({"read"}),
    "examiner": frozenset({"read", "examine"}),
    "technician": frozenset({"read", "measure"}),
    "control room": frozenset({"read", "act"}),
    "engineer": frozenset({"read", "examine", "measure", "decide", "act", "complain"}),
    "administrator": frozenset({"read", "administer"}),
}
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")
_TAKEN: Final = frozenset({"log", "tokens"})
"""Pages beside those of people."""
_LONGEST_SHOWN: Final = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonCard:
    """Somebody with a name at the desk.

    Args:
        name: what they log in with.
        shown: who they are in the record.
        roles: in the order of ``ROLES``.
        disabled: they may no longer come in; what they did stays theirs.
        has_password: without one they come in by the provider, or only by token.
        provided: who they are to the provider of names, its address and their subject there; empty for others.
        made_s: when they were added, in seconds since 1970 (UTC).
    """

    name: str
    shown: str
    roles: tuple[str, ...]
    disabled: bool
    has_password: bool
    provided: str
    made_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """Who makes a change, from where (an address, or ``command``), and when in seconds since 1970."""

    who: str
    address: str
    now_s: int


def acts_of(roles: Iterable[str]) -> frozenset[Act]:
    """All that somebody with these roles may do; a role that isn't known allows nothing.

    Example:
        >>> sorted(acts_of(["examiner", "technician"]))
        ['examine', 'measure', 'read']
    """
    return frozenset[Act]().union(*(ROLES.get(role, frozenset()) for role in roles))


def check_roles(roles: Iterable[str]) -> tuple[str, ...]:
    """The roles, each once and in the order of ``ROLES``.

    Raises:
        InputError: when there is none, or one that isn't known.

    Example:
        >>> check_roles(["engineer", "examiner", "engineer"])
        ('examiner', 'engineer')
    """
    given = set(roles)
    wrong = sorted(given - set(ROLES))
    if wrong or not given:
        raise InputError(
            where="roles",
            rule=f"must be at least one of: {', '.join(ROLES)}",
            value=", ".join(wrong) or "none",
            mend="Take roles from this list.",
        )
    return tuple(role for role in ROLES if role in given)


def check_acts(acts: Iterable[str]) -> tuple[Act, ...]:
    """The acts, each once and in the order of ``ACTS``; a token can't administer.

    Raises:
        InputError: when there is none, or one that a token can't have.

    Example:
        >>> check_acts(["examine", "read"])
        ('read', 'examine')
    """
    given = set(acts)
    allowed = tuple(act for act in ACTS if act != "administer")
    wrong = sorted(given - set(allowed))
    if wrong or not given:
        raise InputError(
            where="scopes",
            rule=f"must be at least one of: {', '.join(allowed)}",
            value=", ".join(wrong) or "none",
            mend="Take scopes from this list; people are changed by people, not by tokens.",
        )
    return tuple(act for act in allowed if act in given)


def check_name(name: str, *, where: str = "name") -> str:
    """What somebody logs in with, or what a token is called, in small letters.

    Raises:
        InputError: when it isn't letters a to z, digits, points, dashes and underscores.

    Example:
        >>> check_name(" M.Alder ")
        'm.alder'
    """
    small = name.strip().lower()
    if _NAME.fullmatch(small) is None or small in _TAKEN:
        raise InputError(
            where=where,
            rule="must be 1 to 64 letters a to z, digits, points, dashes and underscores, a letter or digit first, "
            "and not log or tokens",
            value=name,
            mend="Write it like m.alder.",
        )
    return small


def check_shown(shown: str) -> str:
    """Who somebody is in the record, on one line.

    Raises:
        InputError: when it is empty, too long, or can't be printed.
    """
    text = " ".join(shown.split())
    if not text or len(text) > _LONGEST_SHOWN or not text.isprintable():
        raise InputError(
            where="shown",
            rule=f"must have 1 to {_LONGEST_SHOWN} letters that can be printed",
            value=shown,
            mend="Write the name as it should stand in the record, such as M. Alder.",
        )
    return text
