"""Action cards as PDF, one to a page: the caution first, then the roller and what to do, in large type."""

from collections.abc import Iterator, Sequence
from typing import Final

from wideroll.report.card_words import CardWords, card_words
from wideroll.report.pdf.parts import Part, caution, do, heading, pairs, words
from wideroll.report.pdf.typesetting import AttachedFile, PdfSheet, typeset
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import card_bytes

__all__ = ["cards_pdf"]

_ROLLER_PT: Final = 26.0
_LARGE_PT: Final = 15.0


def cards_pdf(cards: Sequence[ActionCard], *, when_utc: str = "", who: str = "") -> bytes:
    """Cards of one roll; each is attached as the JSON it was delivered as.

    Args:
        cards: at least one.
        when_utc: of the event by which the newest was recorded; empty where the record has none.
        who: recorded it.

    Raises:
        InputError: when typst isn't installed.
    """
    roll = cards[0].roll
    title = card_words(cards[0]).title if len(cards) == 1 else "Action cards"
    return typeset(
        PdfSheet(
            title=f"{title} of roll {roll}",
            about="; ".join(card_words(card).do for card in cards),
            author=who or cards[0].plant,
            when_utc=when_utc,
            foot=f"Roll {roll}: {title[:1].lower()}{title[1:]}",
            parts=[part for rank, card in enumerate(cards) for part in _parts(card_words(card), first=rank == 0)],
            files=[
                AttachedFile(
                    name=f"card-{card.number:03d}.json", data=card_bytes(card), about="The card as it was delivered."
                )
                for card in cards
            ],
        )
    )


def _parts(card: CardWords, *, first: bool) -> Iterator[Part]:
    yield heading(f"{card.title}, roll {card.roll}", page=not first)
    yield words(card.plant, muted=True)
    if card.test:
        yield words(card.do.upper(), size=_ROLLER_PT, strong=True)
        return
    yield caution(card.caution)
    yield words(card.roller, size=_ROLLER_PT, strong=True)
    if card.zone:
        yield words(f"Zone {card.zone}", size=_LARGE_PT)
    yield words(card.probability, size=_LARGE_PT, strong=True)
    if card.others:
        yield words(f"Or: {card.others}")
    yield do(card.do, size=_LARGE_PT)
    yield pairs(
        [
            ("where", card.where),
            ("since", card.since),
            ("what", card.what),
            ("how sure", f"{card.chance} {card.evidence}"),
        ]
    )
