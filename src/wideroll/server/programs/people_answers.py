"""What the API answers about people, tokens and the log, field by field."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["Log", "OnePerson", "People", "Tokens"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who may use the desk."""

    name: str
    shown: str
    roles: list[str]
    disabled: bool
    password: bool
    provider: bool
    added: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Token:
    """A token, without its secret."""

    name: str
    person: str
    scopes: list[str]
    state: Literal["good", "ended", "revoked"]
    made: str
    made_by: str
    ends: str
    revoked: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePerson(Person):
    """A person, with the tokens that act for them."""

    tokens: list[Token]


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """All of them."""

    people: list[Person]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tokens:
    """All of them."""

    tokens: list[Token]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLine:
    """A line of the log."""

    number: int
    when: str
    kind: Literal["change", "login", "refused"]
    who: str
    what: str
    about: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """Lines, the newest first."""

    log: list[LogLine]
