"""Events in a chain: each names the digest of the one before, so none can be changed, moved or left out unseen.

What a chain alone can't show is that events are missing at its end: whoever relies on it keeps the digest of the last
event they know somewhere else.
"""

import json
import re
from collections.abc import Iterable, Mapping
from hashlib import sha256
from json.encoder import encode_basestring
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.record.canonical import canonical_bytes, digest, is_canonical
from wideroll.record.model import GENESIS, ChainReport, Event, Json, Written

__all__ = ["append_event", "broken_rule", "first_broken", "verify_chain", "written"]

_FIRST: Final = 1
_NO_FORM: Final = "digest: the event has no canonical form"
_UTC: Final = re.compile(
    r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?(Z|\+00:00)"
)


def append_event(
    previous: Event | None, *, act: str, who: str, when_utc: str, version: str, body: Mapping[str, Json]
) -> Event:
    """The event that follows ``previous``, numbered and linked; None begins a chain.

    The event's body is a copy in the types that reading its canonical JSON gives (1.0 becomes 1, a tuple a list), so
    that the event equals itself read back and doesn't change with the caller's mapping.

    Args:
        previous: the last event of the chain.
        act: what was done, one word or two.
        who: the person who did it.
        when_utc: ISO 8601 in UTC, such as ``2026-03-01T08:00:00Z``; it may lie before that of ``previous``, clocks do.
        version: of the software.
        body: what the act was about.

    Raises:
        ArgumentError: when a name is empty, the time isn't UTC, or the body has no canonical form.

    Example:
        >>> when = "2026-03-01T08:00:00Z"
        >>> first = append_event(
        ...     None, act="take in", who="R. Engineer", when_utc=when, version="0.1.0", body={"roll": "4711"}
        ... )
        >>> first.number, first.previous == GENESIS, len(first.digest)
        (1, True, 64)
    """
    for name, text in (("act", act), ("who", who), ("version", version)):
        if not text.strip():
            raise ArgumentError(where=name, rule="must not be empty", value=text, mend="Name it.")
        if "\0" in text:
            raise ArgumentError(where=name, rule="must not hold the sign NUL", value=text, mend="Leave it out.")
    if _UTC.fullmatch(when_utc) is None:
        raise ArgumentError(
            where="when_utc", rule="must be a time in UTC", value=when_utc, mend="Write it like 2026-03-01T08:00:00Z."
        )
    if not isinstance(body, Mapping):
        raise ArgumentError(where="body", rule="must be a mapping", value=body, mend="Name what the act was about.")
    text = canonical_bytes(body).decode()
    row = Written(
        number=_FIRST if previous is None else previous.number + 1,
        act=act,
        who=who,
        when_utc=when_utc,
        version=version,
        body=text,
        previous=GENESIS if previous is None else previous.digest,
        digest="",
    )
    try:
        sealed = digest(_whole(row))
    except UnicodeEncodeError as error:
        raise ArgumentError(
            where="act, who or version", rule="must be text in Unicode", value=who, mend="Write it anew."
        ) from error
    return Event(**row._asdict() | {"body": json.loads(text), "digest": sealed})


def written(event: Event) -> Written:
    """The event as it is kept.

    Raises:
        ArgumentError: when the body has no canonical form.

    Example:
        >>> act = {"act": "seal", "who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> written(append_event(None, **act, body={"verdict": "hold", "share": 1.0})).body
        '{"share":1,"verdict":"hold"}'
    """
    return Written(
        number=event.number,
        act=event.act,
        who=event.who,
        when_utc=event.when_utc,
        version=event.version,
        body=canonical_bytes(event.body).decode(),
        previous=event.previous,
        digest=event.digest,
    )


def verify_chain(events: Iterable[Event]) -> ChainReport:
    """Whether the events are one unbroken chain from its beginning; if not, the first that fails and by which rule.

    Args:
        events: in the order they were written; they are taken one at a time and only up to the first that fails.

    Returns:
        How many events were read, the failing one included. No events are an intact chain.

    Example:
        >>> from dataclasses import replace
        >>> act = {"act": "seal", "who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> first = append_event(None, **act, body={"verdict": "hold"})
        >>> second = append_event(first, **act, body={"verdict": "release"})
        >>> verify_chain([first, second]).intact
        True
        >>> report = verify_chain([replace(first, body={"verdict": "release"}), second])
        >>> report.first_bad, report.why
        (1, "digest: the event isn't what was written")
    """
    number, link, read = _FIRST, GENESIS, 0
    for event in events:
        read += 1
        try:
            why = broken_rule(written(event), number, link)
        except ArgumentError:
            why = first_broken(event.number, event.previous, number, link) or _NO_FORM
        if why:
            return ChainReport(events=read, intact=False, first_bad=event.number, why=why, head=link)
        number, link = event.number + 1, event.digest
    return ChainReport(events=read, intact=True, head=link)


def first_broken(number: int, previous: str, expected: int, link: str) -> str:
    """The rule of place that an event breaks, in words; empty when it stands where it should.

    Example:
        >>> first_broken(3, GENESIS, 2, GENESIS)
        'number: 2 should follow, this is 3'
    """
    if number != expected:
        return f"number: {expected} should follow, this is {number}"
    return "" if previous == link else "link: it doesn't name the digest of the event before"


def broken_rule(row: Written, expected: int, link: str) -> str:
    """The first rule an event as it is kept breaks, in words; empty when it holds.

    The body's canonical text is hashed as it stands. That proves the same as reading it and writing it again, since the
    text is held to be its value's canonical form.

    Args:
        row: the event as it is kept.
        expected: the number it should have.
        link: the digest of the event before.

    Example:
        >>> act = {"act": "seal", "who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> row = written(append_event(None, **act, body={"verdict": "hold"}))
        >>> broken_rule(row, 1, GENESIS), broken_rule(row._replace(who="Another"), 1, GENESIS)
        ('', "digest: the event isn't what was written")
    """
    try:
        if row[0] != expected or row[6] != link:
            return first_broken(row[0], row[6], expected, link)
        sealed = sha256(_whole(row)).hexdigest()
        if sealed != row[7]:
            return "digest: the event isn't what was written"
        return "" if is_canonical(row[5]) else "digest: its body isn't in canonical form"
    except TypeError:
        return "digest: its fields aren't of their types"
    except UnicodeEncodeError:
        return _NO_FORM


def _whole(row: Written) -> bytes:
    """The canonical JSON of everything but the digest; its keys are in order, and its body is canonical already."""
    number, act, who, when_utc, version, body, previous, _ = row
    quoted = encode_basestring
    return (
        f'{{"act":{quoted(act)},"body":{body},"number":{number},"previous":{quoted(previous)},'
        f'"version":{quoted(version)},"when_utc":{quoted(when_utc)},"who":{quoted(who)}}}'
    ).encode()
