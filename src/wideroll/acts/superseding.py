"""Why a decision supersedes the one before: what of all that it rests on isn't the same any more."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from wideroll import __version__
from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import Sealed
from wideroll.record import Event, digest
from wideroll.report.history_words import because_words
from wideroll.store import CUT, DECISION, RecordStore, folded, read_bytes, read_json

__all__ = ["reasons", "superseding_words"]

_DOCUMENT: Final = "decision.json"


def reasons(hand: RollInHand, store: RecordStore, document: Mapping[str, Any], *, why: str) -> tuple[str, ...]:
    """In words what changed since the roll's decision before, and the engineer's own; nothing of a first decision.

    Args:
        hand: the roll; the decision before still stands in its results.
        store: the record.
        document: the new decision.
        why: the engineer's words, or empty.
    """
    roll = hand.desk.card.name
    before, cut = store.last(DECISION, roll), store.last(CUT, roll)
    own = (why.strip(),) if why.strip() else ()
    if before is None:
        return own
    found = list(_found(hand, before, document))
    if cut is not None and cut.number > before.number:
        found.append(f"the cut for the order book (event {cut.number}) no longer stands")
    return (*(found or ["made again from the same files"]), *own)


def superseding_words(sealed: Sealed) -> str:
    """What a decision just recorded superseded, in one sentence; empty where there is nothing to say.

    Args:
        sealed: of ``record_decision``.
    """
    before, added = sealed.superseded, sealed.added
    if before is None or added is None:
        return ""
    day = before.when_utc[:10]
    return f"event {added.number}, supersedes event {before.number} of {day}: {because_words(added.body)}"


def _found(hand: RollInHand, before: Event, document: Mapping[str, Any]) -> Iterator[str]:
    if before.version != __version__:
        yield f"version {__version__} of the software, {before.version} before"
    kept = _kept(hand, before)
    if kept is None:
        yield "what it was made from before isn't known: its decision.json isn't the one that was sealed"
        return
    own = f"rolls/{hand.desk.card.name}/"
    for name, what in _unlike(folded(kept.get("inputs", {})), folded(document["inputs"])):
        yield f"{name.removeprefix(own)} {what}"
    for roll, what in _unlike(kept.get("compared_with", {}), document["compared_with"]):
        yield f"the scan of {roll} that it is compared with {what}"
    for roller, what in _unlike(kept.get("cleaned_before", {}), document["cleaned_before"]):
        yield f"the last cleaning of {roller} {what}"
    if kept.get("detected") != document["detected"]:
        yield "the probability of detection changed"


def _kept(hand: RollInHand, before: Event) -> dict[str, Any] | None:
    """What the decision before says of itself, if it still is what was sealed."""
    path, outputs = hand.results.path / _DOCUMENT, before.body.get("outputs")
    if not path.is_file() or not isinstance(outputs, dict) or digest(read_bytes(path)) != outputs.get(_DOCUMENT):
        return None
    kept: dict[str, Any] = read_json(path)
    return kept


def _unlike(before: Mapping[str, str], now: Mapping[str, str]) -> Iterable[tuple[str, str]]:
    for name in sorted(before.keys() | now.keys()):
        if name not in before:
            yield name, "came"
        elif name not in now:
            yield name, "went"
        elif before[name] != now[name]:
            yield name, "changed"
