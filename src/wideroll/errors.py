"""The few errors a caller can react to differently.

Each carries four parts, so that the person reading it knows what to do next: *where* it is (file, line, field or
argument), the *rule* that was broken, the *value* that broke it, and the *mend*.
"""

from enum import Enum
from functools import partial
from numbers import Number
from typing import Final, Self

__all__ = ["ArgumentError", "InputError", "RecordError", "WiderollError"]

_LONGEST_VALUE: Final = 120


class WiderollError(Exception):
    """Base of all errors raised on purpose; a ``value`` of None is not shown.

    Example:
        >>> error = InputError(where="web_width", rule="must be greater than 0", value=0, mend="Measure it.")
        >>> str(error.at("plant.toml"))
        'plant.toml: web_width: must be greater than 0, got 0. Measure it.'
    """

    exit_code = 3

    def __init__(self, *, where: str, rule: str, mend: str, value: object = None) -> None:
        """Keep the four parts and compose the one message."""
        self.where = where
        self.rule = rule
        self.mend = mend
        self.value = value
        shown = "" if value is None else f", got {_short(value)}"
        super().__init__(f"{where}: {rule}{shown}. {mend}")

    def __reduce__(self) -> tuple[object, ...]:
        """Say how to make it again in another process: the parts are keywords, which the default can't pass."""
        make = partial(type(self), where=self.where, rule=self.rule, mend=self.mend, value=self.value)
        return make, (), self.__dict__

    def at(self, where: str) -> Self:
        """The same error, placed in an outer context such as the file that held the value."""
        return type(self)(where=f"{where}: {self.where}", rule=self.rule, mend=self.mend, value=self.value)


class InputError(WiderollError):
    """A file or a field that a person gave can't be used; mend the input."""


class ArgumentError(WiderollError, ValueError):
    """A call to a public function with an impossible argument; mend the call."""


class RecordError(WiderollError):
    """The record failed verification; stop and investigate."""

    exit_code = 4


def _short(value: object) -> str:
    """Numbers and words as people write them; anything else as Python does."""
    text = str(value) if isinstance(value, Number) else repr(value.value if isinstance(value, Enum) else value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 1] + "…"
