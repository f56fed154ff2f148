"""One value, one sequence of bytes: JSON in the canonical form of RFC 8785, and its SHA-256."""

import hashlib
import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from json import encoder
from typing import Final

import rfc8785

from wideroll.errors import ArgumentError
from wideroll.record.model import Json

__all__ = ["canonical_bytes", "digest", "is_canonical"]

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


def is_canonical(text: str) -> bool:
    """Whether a text is the canonical JSON of a mapping, so that the value it is read as would be written just so.

    Example:
        >>> is_canonical('{"a":1,"b":0.5}'), is_canonical('{"a": 1}'), is_canonical('{"a":1.0}'), is_canonical("[]")
        (True, False, False, False)
    """
    try:
        return _surely_canonical(text) or _written_again(text)
    except (ValueError, RecursionError):
        return False


def digest(data: bytes) -> str:
    """SHA-256 (FIPS 180-4) as 64 hexadecimal digits.

    Example:
        >>> digest(b"abc")[:16]
        'ba7816bf8f01cfea'
    """
    return hashlib.sha256(data).hexdigest()


class _DoubtError(Exception):
    """A number that Python's own writer of JSON and RFC 8785 may write each in its way."""


def _integer(text: str) -> int:
    if len(text) > _SURE_DIGITS:
        raise _DoubtError
    return int(text)


def _decimal(text: str) -> float:
    if "e" in text or "E" in text or text.endswith(".0"):
        raise _DoubtError
    return float(text)


def _constant(_: str) -> None:
    raise _DoubtError


_SURE_DIGITS: Final = 15
_REMEMBERED: Final = 4096
# The same numbers come again and again, and a call from the reader into Python takes longer than the reading.
_READER: Final = json.JSONDecoder(
    parse_int=lru_cache(_REMEMBERED)(_integer),
    parse_float=lru_cache(_REMEMBERED)(_decimal),
    parse_constant=_constant,
)
_PLAIN_WRITER: Final = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))
_make: Final = getattr(encoder, "c_make_encoder", None)
_SORTED_STRICT: Final = (True, False, False)
# One writer made beforehand: json makes a new one for each call, which takes longer than the writing.
_pieces: Final[Callable[[object, int], tuple[str, ...]]] = (
    _make(None, _PLAIN_WRITER.default, encoder.encode_basestring, None, ":", ",", *_SORTED_STRICT)
    if _make
    else lambda value, _: (_PLAIN_WRITER.encode(value),)
)


def _surely_canonical(text: str) -> bool:
    """Whether the quick writer of Python writes the same, and nothing is in it that RFC 8785 writes otherwise.

    That is: exponents, 1.0, long integers, what is no number, and keys beyond the Basic Multilingual Plane.
    """
    try:
        value, end = _READER.raw_decode(text)
    except _DoubtError:
        return False
    return (
        type(value) is dict
        and end == len(text)
        and (text.isascii() or max(text) < "\U00010000")
        and "".join(_pieces(value, 0)) == text
    )


def _written_again(text: str) -> bool:
    value = json.loads(text)
    return isinstance(value, dict) and _write(value) == text.encode()


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
