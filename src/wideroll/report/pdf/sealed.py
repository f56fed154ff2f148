"""What the record says of a decision, as it stands on each sheet that is printed of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.record import Checkpoint, Event, digest, event_line, written
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.pdf.parts import Part, pairs, table, words
from wideroll.report.pdf.typesetting import AttachedFile

__all__ = ["Sealed", "clock_words", "record_parts"]

_DOCUMENT: Final = "decision.json"
_EVENT: Final = "digest of the event"
_FILE: Final = f"digest of {_DOCUMENT}"
_INPUTS: Final = "fingerprint of the inputs"
_CUT: Final = "digest of that event"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A decision that stands and that the record holds: its event and document, and who signed the record since.

    ``cut`` is the event of a cut recorded after it, ``signatures`` are the checkpoints under the decision's event.
    """

    decision: Event
    document: bytes
    cut: Event | None = None
    signatures: tuple[Checkpoint, ...] = ()

    @property
    def last(self) -> Event:
        """The newest event that a sheet of it tells of."""
        return self.cut or self.decision

    @property
    def when_utc(self) -> str:
        """Time of the newest act that a sheet of it tells of, a signature among them."""
        return max([self.last.when_utc, *(one.when_utc for one in self.signatures)])

    def files(self) -> tuple[AttachedFile, ...]:
        """The decision's document and its event, to be checked by whoever gets the sheet."""
        number = self.decision.number
        return (
            AttachedFile(
                name=_DOCUMENT, data=self.document, about="The decision with everything it rests on, as it was sealed."
            ),
            AttachedFile(
                name=f"event-{number}.json",
                data=event_line(written(self.decision)).encode(),
                about=f"Event {number} of the record, which names the digest of {_DOCUMENT}, in canonical JSON.",
                relationship="data",
            ),
        )


def clock_words(when_utc: str) -> str:
    """A time of the record as people read it.

    Example:
        >>> clock_words("2026-03-01T08:00:07+00:00"), clock_words("2026-03-01T08:00:07Z")
        ('2026-03-01 08:00 UTC', '2026-03-01 08:00 UTC')
    """
    return f"{when_utc[:10]} {when_utc[11:16]} UTC"


def record_parts(sealed: Sealed) -> Iterator[Part]:
    """Who decided and when, by which event, and who signed."""
    yield pairs(_facts(sealed), mono=(_EVENT, _FILE, _INPUTS, _CUT))
    if sealed.signatures:
        yield table(_signatures_grid(sealed.signatures, sealed.decision.number))
        return
    yield words(
        f"Not signed: nobody has signed the record since event {sealed.decision.number} was added. The digests above "
        "show that nothing was changed since they were printed, not who printed them.",
        strong=True,
    )


def _facts(sealed: Sealed) -> list[tuple[str, str]]:
    event, body = sealed.decision, sealed.decision.body
    facts = [
        ("decided by", f"{event.who}, {clock_words(event.when_utc)}"),
        ("in the record", f"event {event.number}, {event.act}"),
        (_EVENT, event.digest),
        (_FILE, digest(sealed.document)),
        (_INPUTS, str(body.get("inputs", ""))),
        ("software", f"wideroll {event.version}"),
    ]
    if isinstance(before := body.get("supersedes"), int):
        facts.append(("supersedes", f"event {before}{_because(body.get('because'))}"))
    if sealed.cut is not None:
        by = f"{sealed.cut.who}, {clock_words(sealed.cut.when_utc)}, event {sealed.cut.number}"
        facts += [("cut recorded by", by), (_CUT, sealed.cut.digest)]
    return facts


def _because(reasons: object) -> str:
    return f": {'; '.join(map(str, reasons))}" if isinstance(reasons, list) and reasons else ""


def _signatures_grid(signatures: Sequence[Checkpoint], number: int) -> Grid:
    return Grid(
        caption=f"Signed: the events from the first to the one named, event {number} among them",
        columns=(
            Column(head="who", keep=True),
            Column(head="when", keep=True),
            Column(head="to event", number=True),
            Column(head="public key (Ed25519), and what is signed to"),
        ),
        rows=tuple(
            (
                Cell(text=one.who, tone="strong"),
                Cell(text=clock_words(one.when_utc)),
                Cell(text=str(one.events)),
                Cell(text=one.key, note=_says(one, number)),
            )
            for one in signatures
        ),
    )


def _says(one: Checkpoint, number: int) -> str:
    """What was signed to; a sign-off of another event isn't one of this."""
    if one.event is None:
        of = "the record as a whole"
    else:
        of = f"signs off event {one.event}" + ("" if one.event == number else ", not this decision")
    return ": ".join(filter(None, (of, one.says)))
