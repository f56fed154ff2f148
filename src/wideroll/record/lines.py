"""An event as one line of text, which any program that reads JSON can check."""

import json
from json.encoder import encode_basestring as quoted
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.record.model import Written

__all__ = ["event_line", "read_line"]

_FIELDS: Final = frozenset(Written._fields)


def event_line(row: Written) -> str:
    """The canonical JSON of an event with its digest, without an end of line.

    Without ``digest`` its canonical JSON is what was hashed.

    Example:
        >>> from wideroll.record import append_event, written
        >>> act = {"act": "seal", "who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> event_line(written(append_event(None, **act, body={"verdict": "hold"})))[:45]
        '{"act":"seal","body":{"verdict":"hold"},"dige'
    """
    before, after = _around(row)
    return f"{before}{row.body}{after}"


def read_line(line: str) -> Written:
    """The event of a line; whether it is what was written is for ``prove_record`` to say.

    Raises:
        ArgumentError: when the line isn't an event as ``event_line`` writes it.

    Example:
        >>> from wideroll.record import append_event, written
        >>> act = {"act": "seal", "who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> row = written(append_event(None, **act, body={"verdict": "hold"}))
        >>> read_line(event_line(row)) == row
        True
    """
    try:
        found = json.loads(line)
        if isinstance(found, dict) and found.keys() == _FIELDS and type(found["number"]) is int:
            row = Written(**found)
            before, after = _around(row)
            if line.startswith(before) and line.endswith(after):
                return row._replace(body=line[len(before) : len(line) - len(after)])
    except (ValueError, TypeError, RecursionError) as error:
        raise _no_line(line) from error
    raise _no_line(line)


def _around(row: Written) -> tuple[str, str]:
    """The line before and after the body."""
    after = (
        f',"digest":{quoted(row.digest)},"number":{row.number},"previous":{quoted(row.previous)},'
        f'"version":{quoted(row.version)},"when_utc":{quoted(row.when_utc)},"who":{quoted(row.who)}}}'
    )
    return f'{{"act":{quoted(row.act)},"body":', after


def _no_line(line: str) -> ArgumentError:
    return ArgumentError(
        where="line of a bundle",
        rule="must be an event in canonical JSON",
        value=line,
        mend="Export the bundle again, or copy it again from where it came.",
    )
