"""One value, one sequence of bytes: JSON in the canonical form of RFC 8785, and its SHA-256."""

import hashlib
from collections.abc import Mapping
from typing import Final

import rfc8785

from wideroll.errors import ArgumentError
from wideroll.record.model import Json

__all__ = ["canonical_bytes", "digest"]

_SAFE: Final = 2**53 - 1
_ALWAYS_EXPONENT: Final = 10**21


def canonical_bytes(body: "Json | Mapping[str, Json]") -> bytes:
    """A JSON value as the bytes that every program writes for it: RFC 8785 (JSON Canonicalization Scheme).

    Keys are sorted by their UTF-16 code units, numbers written as ECMAScript does, nothing is added for the eye.
    Reading the bytes as JSON and writing them again gives the same bytes.

    Args:
        body: null, booleans, numbers, text, lists and mappings with text as keys, nested.

    Raises:
        ArgumentError: for NaN, infinity, an integer that a double can't hold, text that isn't Unicode, a key that isn't
            text, and any other type.

    Example:
        >>> canonical_bytes({"b": [1.0, 0.1, True], "a": "€"}).decode()
        '{"a":"€","b":[1,0.1,true]}'
    """
    try:
        return _write(dict(body) if isinstance(body, Mapping) else body)
    except (ValueError, RecursionError) as error:
        raise _no_form(error, body) from error


def digest(data: bytes) -> str:
    """SHA-256 (FIPS 180-4) as 64 hexadecimal digits.

    Example:
        >>> digest(b"abc")[:16]
        'ba7816bf8f01cfea'
    """
    return hashlib.sha256(data).hexdigest()


def _write(value: Json) -> bytes:
    try:
        return rfc8785.dumps(value)
    except rfc8785.IntegerDomainError:
        # A double beyond 2⁵³ is written without a point and comes back as an integer; it must be writable again.
        return rfc8785.dumps(_doubles(value))


def _doubles(value: Json) -> Json:
    """The value with each integer that is the canonical text of a double turned into that double."""
    if isinstance(value, Mapping):
        return {key: _doubles(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_doubles(inner) for inner in value]
    if (
        isinstance(value, int)
        and _SAFE < abs(value) < _ALWAYS_EXPONENT
        and rfc8785.dumps(float(value)) == str(value).encode()
    ):
        return float(value)
    return value


def _no_form(error: Exception, body: object) -> ArgumentError:
    return ArgumentError(
        where="body of an event",
        rule=f"must have a canonical form as JSON ({error})",
        value=None if isinstance(error, RecursionError) else body,  # too deep to be shown
        mend="Use text, finite numbers, booleans, lists and mappings with text as keys; write long integers as text.",
    )
