"""The acts of a record in words, one line each, for people who ask what happened to a roll."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from wideroll.record import CHECKPOINT, Json

__all__ = ["ACTS", "act_words", "because_words", "time_words", "utc_day"]

_NAMED: Final = 3
"""Files that are named before the rest is counted."""
_STEPS: Final = {
    "opened": "opened",
    "seen": "more was seen of it",
    "asked": "retained samples asked for",
    "looked": "retained sample looked at",
    "found": "finding",
    "closed": "closed",
    "reopened": "reopened",
}


def act_words(act: str, body: Mapping[str, Json]) -> str:
    """What was done, in one line; the name of the act where nothing more is known of it.

    Example:
        >>> act_words("card closed", {"roll": "W-1", "card": 2, "cause": "dirt on R3", "done": "cleaned it"})
        'closed action card 2: cause: dirt on R3; done: cleaned it'
        >>> act_words("decision", {"verdict": "hold", "why": "No strips.", "supersedes": None, "because": []})
        'decided: hold. No strips.'
    """
    words = _WORDS.get(act)
    return act if words is None else words(body)


def because_words(body: Mapping[str, Json]) -> str:
    """Why a decision supersedes the one before; all in one line, the first few of many.

    Example:
        >>> because_words({"because": ["strips/readings.csv changed", "read again by hand"]})
        'strips/readings.csv changed; read again by hand'
    """
    words = _texts(body.get("because"))
    few = words[:_NAMED] if len(words) > _NAMED + 1 else words
    more = [f"and {len(words) - len(few)} more"] if len(few) < len(words) else []
    return "; ".join([*few, *more])


def time_words(when_utc: str) -> str:
    """A time of the record for people.

    Example:
        >>> time_words("2026-03-01T08:00:00+00:00")
        '2026-03-01 08:00:00 UTC'
    """
    return f"{when_utc[:10]} {when_utc[11:19]} UTC"


def utc_day(when_utc: str) -> str:
    """The day of a time of the record.

    Example:
        >>> utc_day("2026-03-01T08:00:00+00:00")
        '2026-03-01'
    """
    return when_utc[:10]


def _taken_in(what: str) -> Callable[[Mapping[str, Json]], str]:
    def words(body: Mapping[str, Json]) -> str:
        own = f"rolls/{body['roll']}/" if "roll" in body else ""
        files, gone = body.get("files"), _texts(body.get("gone"))
        parts = [f"took in {what}: {_files(list(files), own)}"] if isinstance(files, dict) and files else []
        return "; ".join([*parts, *([f"gone of {what}: {_files(gone, own)}"] if gone else [])])

    return words


def _files(names: Sequence[str], own: str) -> str:
    short = [name.removeprefix(own) for name in names]
    if len(short) <= _NAMED + 1:
        return ", ".join(short)
    return f"{', '.join(short[:_NAMED])} and {len(short) - _NAMED} more files"


def _decision(body: Mapping[str, Json]) -> str:
    words = f"decided: {body.get('verdict')}. {body.get('why', '')}".rstrip()
    if body.get("supersedes") is None:
        return words
    return f"{words} Supersedes event {body['supersedes']}: {because_words(body)}"


def _cut(body: Mapping[str, Json]) -> str:
    others = [name for name in _texts(body.get("rolls")) if name != body.get("roll")]
    together = f", planned together with {', '.join(others)}" if others else ""
    return f"recorded the cut for the order book{together}"


def _card(body: Mapping[str, Json]) -> str:
    return f"action card {body.get('card')} raised: {body.get('roller')}"


def _card_closed(body: Mapping[str, Json]) -> str:
    return f"closed action card {body.get('card')}: cause: {body.get('cause')}; done: {body.get('done')}"


def _card_taken(body: Mapping[str, Json]) -> str:
    return f"took action card {body.get('card')}"


def _card_given_back(body: Mapping[str, Json]) -> str:
    return f"gave action card {body.get('card')} back"


def _complaint(body: Mapping[str, Json]) -> str:
    step = str(body.get("step"))
    finding = f": {body['finding']}" if body.get("finding") else ""
    return f"complaint {body.get('case')}: {_STEPS.get(step, step)}{finding}"


def _recall(body: Mapping[str, Json]) -> str:
    rolls = body.get("rolls")
    count = len(rolls) if isinstance(rolls, list) else 0
    cause = f"complaint {body['case']}" if "case" in body else f"finished roll {body.get('finished')}"
    return f"wrote a recall list of {count} finished rolls for {cause}"


def _base_period(body: Mapping[str, Json]) -> str:
    return f"froze the limits of base period {body.get('base')}"


def _checkpoint(body: Mapping[str, Json]) -> str:
    event = body.get("event")
    what = f"events 1 to {body.get('events')}" if event is None else f"event {event}"
    says = f": {body['says']}" if body.get("says") else ""
    return f"signed {what}{says}"


def _texts(value: Json) -> list[str]:
    return [str(one) for one in value] if isinstance(value, list) else []


_WORDS: Final[Mapping[str, Callable[[Mapping[str, Json]], str]]] = {
    "take-in": _taken_in("the roll"),
    "reading": _taken_in("strips and measured properties"),
    "sighting": _taken_in("what examiners saw"),
    "calibration": _taken_in("calibrations of the plant"),
    "decision": _decision,
    "cut": _cut,
    "action card": _card,
    "card taken": _card_taken,
    "card given back": _card_given_back,
    "card closed": _card_closed,
    "complaint": _complaint,
    "recall": _recall,
    "base period": _base_period,
    CHECKPOINT: _checkpoint,
}

ACTS: Final = tuple(_WORDS)
"""The acts that there are words for."""
