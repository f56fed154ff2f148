"""Action cards as PDF, one to a page: the caution first, then the roller and what to do, in large type."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.record import Event
from wideroll.report.card_words import CardWords, card_words
from wideroll.report.pdf.parts import Part, caution, do, heading, pairs, words
from wideroll.report.pdf.sealed import clock_words
from wideroll.report.pdf.typesetting import AttachedFile, PdfSheet, typeset
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import card_bytes

__all__ = ["PrintedCard", "cards_pdf"]

_ROLLER_PT: Final = 32.0
_LARGE_PT: Final = 19.0
_TEXT_PT: Final = 13.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedCard:
    """A card, and the events by which the record has it raised and closed, where it has."""

    card: ActionCard
    raised: Event | None = None
    closed: Event | None = None


def cards_pdf(cards: Sequence[PrintedCard]) -> bytes:
    """Cards of one roll; each is attached as the JSON it was delivered as.

    The file bears the date of the newest event it tells of, and none where the record has none.

    Args:
        cards: at least one.

    Raises:
        InputError: when typst isn't installed.
    """
    first = cards[0].card
    title = card_words(first).title if len(cards) == 1 else "Action cards"
    events = [event for one in cards for event in (one.raised, one.closed) if event is not None]
    newest = max(events, key=lambda event: event.number, default=None)
    return typeset(
        PdfSheet(
            title=f"{title} of roll {first.roll}",
            about="; ".join(one.card.action for one in cards),
            author=first.plant if newest is None else newest.who,
            when_utc="" if newest is None else newest.when_utc,
            foot=f"Roll {first.roll}: {title[:1].lower()}{title[1:]}",
            parts=[part for rank, one in enumerate(cards) for part in _parts(one, page=rank > 0)],
            files=[_file(one.card) for one in cards],
            text_pt=_TEXT_PT,
        )
    )


def _file(card: ActionCard) -> AttachedFile:
    return AttachedFile(
        name=f"card-{card.number:03d}.json", data=card_bytes(card), about="The card as it was delivered."
    )


def _parts(one: PrintedCard, *, page: bool) -> Iterator[Part]:
    card = card_words(one.card)
    yield heading(f"{card.title}, roll {card.roll}", page=page)
    yield words(card.plant, muted=True)
    if card.test:
        yield words(card.do.upper(), size=_ROLLER_PT, strong=True)
        return
    yield caution(card.caution)
    yield from _what_to_do(card)
    yield pairs(
        [
            ("where", card.where),
            ("since", card.since),
            ("what", card.what),
            ("how sure", f"{card.chance} {card.evidence}"),
            *_acts(one),
        ]
    )


def _what_to_do(card: CardWords) -> Iterator[Part]:
    yield words(card.roller, size=_ROLLER_PT, strong=True)
    if card.zone:
        yield words(f"Zone {card.zone}", size=_LARGE_PT)
    yield words(card.probability, size=_LARGE_PT, strong=True)
    if card.others:
        yield words(f"Or: {card.others}")
    yield do(card.do, size=_LARGE_PT)


def _acts(one: PrintedCard) -> Iterator[tuple[str, str]]:
    if one.raised is not None:
        yield "in the record", f"event {one.raised.number}, {clock_words(one.raised.when_utc)}"
    if one.closed is not None:
        by = f"{one.closed.who}, {clock_words(one.closed.when_utc)}, event {one.closed.number}"
        yield from (("closed by", by), ("cause", str(one.closed.body.get("cause", ""))))
        yield "what was done", str(one.closed.body.get("done", ""))
