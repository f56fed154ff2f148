"""Frozen results to what JSON can hold, and back to the same results."""

import math
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from wideroll.errors import ArgumentError, InputError

__all__ = ["from_plain", "to_plain"]

Result = TypeVar("Result")


def to_plain(result: object) -> Any:
    """A result as mappings, lists, text, numbers, true, false and null, made sure to be the same when read back.

    Mappings keep their order. JSON has no NaN and no infinity: they become words, which number fields read as numbers.

    Args:
        result: a frozen dataclass of numbers, text, enums, tuples, mappings and other such dataclasses.

    Raises:
        ArgumentError: when it isn't made of these, or would not be the same when read back.

    Example:
        >>> from wideroll.sampling.model import RateLimits
        >>> limits = RateLimits(count=0, extent=0.0, confidence=0.95, rate=math.nan, low=0.0, high=math.inf)
        >>> to_plain(limits)["high"]
        'Infinity'
    """
    adapter: TypeAdapter[Any] = TypeAdapter(type(result))
    try:
        value = _words(adapter.dump_python(result, mode="json", warnings="error"))
        again = _words(adapter.dump_python(adapter.validate_python(value), mode="json"))
    except (PydanticSerializationError, ValidationError) as error:
        raise _not_plain(result, str(error)) from error
    if again != value:
        raise _not_plain(result, "another value when read back")
    # A whole number in a field of decimals comes back as a decimal: what is written is what will be written next time.
    return again


def from_plain(value: object, kind: type[Result]) -> Result:
    """The result that ``to_plain`` was given.

    Raises:
        InputError: when the value doesn't have the fields of ``kind``.
    """
    try:
        return TypeAdapter(kind).validate_python(value)
    except ValidationError as error:
        raise InputError(
            where="result",
            rule=f"must have the fields of {kind.__name__}",
            value=f"{error.error_count()} that don't fit",
            mend="Run the command that writes it again.",
        ) from error


def _words(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"
    if isinstance(value, dict):
        return {key: _words(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_words(item) for item in value]
    return value


def _not_plain(result: object, what: str) -> ArgumentError:
    return ArgumentError(
        where=f"result {type(result).__name__}",
        rule="each field must hold plain values of the type it names",
        value=what,
        mend="Convert arrays and their numbers to plain Python first.",
    )
