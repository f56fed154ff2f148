"""Bodies of requests: never more than allowed, and the front read for the token that a form must carry."""

import re
from collections.abc import Awaitable, Callable
from typing import Final
from urllib.parse import parse_qs

from fastapi import HTTPException
from starlette.requests import HTTPConnection
from starlette.types import Message, Receive

from wideroll.server.csrf import CSRF_FIELD, CSRF_HEADER

__all__ = ["most_bytes", "said_bytes", "token_in_body", "with_limit"]

_FRONT_BYTES: Final = 4096
_MOST_FIELDS: Final = 1000
_FORM: Final = "application/x-www-form-urlencoded"
_FILES: Final = "multipart/form-data"
_PART: Final = re.compile(
    rb'\A--[^\r\n]{1,200}\r\ncontent-disposition: *form-data; *name="' + CSRF_FIELD.encode() + rb'"\r\n'
    rb"(?:content-type: *text/plain[^\r\n]*\r\n)?\r\n([0-9a-f]{1,128})\r\n",
    re.IGNORECASE,
)


def most_bytes(request: HTTPConnection, *, form: int, upload: int) -> int:
    """How much a body may hold: more where files come with it."""
    return upload if _kind(request) == _FILES else form


def said_bytes(request: HTTPConnection) -> int | None:
    """How much it says that it holds; None where it doesn't say.

    Raises:
        HTTPException: 400 when what it says is no number.
    """
    said = request.headers.get("content-length")
    if said is None:
        return None
    if not (said.isascii() and said.isdigit()):
        raise HTTPException(400, "the length of what was sent must be a number")
    return int(said)


def with_limit(receive: Receive, most: int) -> Receive:
    """The body, broken off where it is longer than it may be."""
    read = 0

    async def limited() -> Message:
        nonlocal read
        message = await receive()
        read += len(message.get("body", b""))
        if read > most:
            raise HTTPException(413, f"what is sent must have at most {most} bytes")
        return message

    return limited


async def token_in_body(request: HTTPConnection, receive: Receive) -> tuple[str, Receive]:
    """The token of a form, from its header or from the front of its body, and the body as if it was unread."""
    sent = request.headers.get(CSRF_HEADER)
    kind = _kind(request)
    if sent is not None or kind not in {_FORM, _FILES}:
        return sent or "", receive
    messages, body, more = [], b"", True
    while more and (kind == _FORM or len(body) < _FRONT_BYTES):
        message = await receive()
        messages.append(message)
        body += message.get("body", b"")
        more = message["type"] == "http.request" and bool(message.get("more_body", False))
    return _in_form(body) if kind == _FORM else _in_first_part(body), _again(messages, receive)


def _in_form(body: bytes) -> str:
    try:
        fields = parse_qs(body.decode("utf-8", "replace"), max_num_fields=_MOST_FIELDS)
    except ValueError:
        return ""
    return fields.get(CSRF_FIELD, [""])[0]


def _in_first_part(body: bytes) -> str:
    part = _PART.match(body)
    return part[1].decode() if part else ""


def _again(messages: list[Message], receive: Receive) -> Callable[[], Awaitable[Message]]:
    left = list(messages)

    async def replayed() -> Message:
        return left.pop(0) if left else await receive()

    return replayed


def _kind(request: HTTPConnection) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()
