"""An action card as plain text, for a screen in the control room."""

import textwrap
from collections.abc import Iterator
from typing import Final

from wideroll.report.card_words import CardWords, card_words
from wideroll.workflow.action_card import ActionCard

__all__ = ["card_text"]

_WIDTH: Final = 80
_LABEL: Final = 10


def card_text(card: ActionCard) -> str:
    """The card in lines of at most 80 signs: the roller, what to do, the caution, where, what, since when, how sure.

    Example:
        >>> from wideroll.workflow.card_json import trial_card
        >>> print(card_text(trial_card("Little Mere, line 1", "W-1")))
        ================================================================================
        TEST CARD                                                               roll W-1
        Little Mere, line 1
        ================================================================================
        <BLANKLINE>
        DO        THIS IS A TEST: DO NOTHING.
        <BLANKLINE>
        ================================================================================
        <BLANKLINE>
    """
    words = card_words(card)
    lines = [*_head(words)]
    for label, text in _parts(words):
        lines += ["", *_part(label, text)]
    return "\n".join([*lines, "", "=" * _WIDTH, ""])


def _head(words: CardWords) -> Iterator[str]:
    roll = f"roll {_printable(words.roll)}"
    title = words.title.upper()
    yield "=" * _WIDTH
    yield title + roll.rjust(_WIDTH - len(title)) if len(title) + len(roll) < _WIDTH else title
    if len(title) + len(roll) >= _WIDTH:
        yield from _wrapped(roll, _WIDTH)
    yield from _wrapped(words.plant, _WIDTH)
    yield "=" * _WIDTH


def _parts(words: CardWords) -> Iterator[tuple[str, str]]:
    if words.test:
        yield "DO", words.do.upper()
        return
    zone = f", zone {words.zone}" if words.zone else ""
    others = f"\nor: {words.others}" if words.others else ""
    yield "ROLLER", f"{words.roller.upper()}{zone}\n{words.probability}{others}"
    yield "DO", words.do
    yield "CAUTION", words.caution
    yield "WHERE", words.where
    yield "SINCE", words.since
    yield "WHAT", words.what
    yield "HOW SURE", f"{words.chance}\n{words.evidence}"


def _part(label: str, text: str) -> Iterator[str]:
    lines = [line for part in text.split("\n") for line in _wrapped(part, _WIDTH - _LABEL)]
    for rank, line in enumerate(lines):
        yield f"{'' if rank else label:{_LABEL}}{line}"


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(_printable(text), width)


def _printable(text: str) -> str:
    """A name can't move the cursor or change the colours of a terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
