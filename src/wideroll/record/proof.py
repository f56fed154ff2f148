"""Walking a record once: chain, signatures in it, and checkpoints kept elsewhere."""

import json
from collections.abc import Collection, Iterable
from typing import Final

from wideroll.record.chain import broken_rule
from wideroll.record.checkpoints import checkpoint_of, signature_holds
from wideroll.record.model import GENESIS, Checkpoint, RecordReport, Written

__all__ = ["CHECKPOINT", "prove_record"]

CHECKPOINT: Final = "checkpoint"
"""Act of the events that hold one."""


def prove_record(
    rows: Iterable[Written], *, kept: Collection[Checkpoint] = (), trusted: Collection[str] = ()
) -> RecordReport:
    """Whether the events are one unbroken chain and every signature is good; if not, the first event that fails.

    Args:
        rows: the events as they are kept, in order; they are taken one at a time and only up to the first that fails.
        kept: checkpoints from outside the record, which show events cut off at its end.
        trusted: public keys (hexadecimal); those of checkpoints in the record that aren't among them are told but don't
            count as signed. Where none are given every good signature counts.

    Example:
        >>> from wideroll.record import append_event, sign_checkpoint, written
        >>> by = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
        >>> first = append_event(None, act="decide", **by, body={"verdict": "hold"})
        >>> second = append_event(first, act="decide", **by, body={"verdict": "release"})
        >>> mine = sign_checkpoint(bytes(32), 2, second.digest, **by, says="")
        >>> prove_record([written(first), written(second)], kept=[mine]).intact
        True
        >>> report = prove_record([written(first)], kept=[mine])
        >>> report.first_bad, report.why
        (2, 'tail: R. Engineer signed 2 events, the record ends after 1')
    """
    wanted: dict[int, list[Checkpoint]] = {}
    for one in kept:
        wanted.setdefault(one.events, []).append(one)
    found: list[Checkpoint] = []
    number, link = 0, GENESIS
    for row in rows:
        why = broken_rule(row, number + 1, link)
        if not why and row[1] == CHECKPOINT:
            why = _take(row, found)
        if why:
            return _report(number + 1, link, found, trusted, bad=row[0], why=why)
        number, link = number + 1, row[7]
        if wanted and number in wanted and (why := _against(wanted.pop(number), link)):
            return _report(number, link, found, trusted, bad=number, why=why)
    if wanted:
        last = wanted[max(wanted)][0]
        why = f"tail: {last.who} signed {last.events} events, the record ends after {number}"
        why = why if signature_holds(last) else _BAD
        return _report(number, link, found, trusted, bad=number + 1, why=why)
    return _report(number, link, found, trusted)


_BAD: Final = "signature: a checkpoint isn't signed with the key it names"


def _take(row: Written, found: list[Checkpoint]) -> str:
    """Keep the checkpoint that an event holds; what is wrong with it, in words."""
    one = checkpoint_of(json.loads(row[5]))
    if one is None:
        return "signature: the event must hold a checkpoint"
    if not signature_holds(one):
        return _BAD
    if (one.events, one.head, one.who, one.when_utc, one.version) != (row[0] - 1, row[6], row[2], row[3], row[4]):
        return "signature: what was signed isn't the record up to here"
    found.append(one)
    return ""


def _against(kept: Iterable[Checkpoint], head: str) -> str:
    for one in kept:
        if not signature_holds(one):
            return _BAD
        if one.head != head:
            return f"signature: {one.who} signed another event of this number"
    return ""


def _report(
    events: int, head: str, found: list[Checkpoint], trusted: Collection[str], *, bad: int | None = None, why: str = ""
) -> RecordReport:
    # An event that holds a good checkpoint is told by it to the last field, so it counts as signed too.
    signed = max((one.events + 1 for one in found if not trusted or one.key in trusted), default=0)
    return RecordReport(
        events=events,
        intact=not why,
        first_bad=bad,
        why=why,
        head=head,
        checkpoints=tuple(found),
        signed=signed,
    )
