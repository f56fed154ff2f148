"""The few errors a caller can react to differently.

Each carries four parts, so that the person reading it knows what to do next: *where* it is (file, line, field or
argument), the *rule* that was broken, the *value* that broke it, and the *mend*.
"""

from typing import Final

__all__ = ["ArgumentError", "InputError", "RecordError", "WiderollError"]

_ABSENT: Final = object()
_LONGEST_VALUE: Final = 120


class WiderollError(Exception):
    """Base of all errors raised on purpose."""

    exit_code = 3

    def __init__(self, *, where: str, rule: str, mend: str, value: object = _ABSENT) -> None:
        """Keep the four parts and compose the one message."""
        self.where = where
        self.rule = rule
        self.mend = mend
        self.value = None if value is _ABSENT else value
        shown = "" if value is _ABSENT else f", got {_short(value)}"
        super().__init__(f"{where}: {rule}{shown}. {mend}")

    def at(self, where: str) -> "WiderollError":
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
    text = repr(value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 1] + "…"
