"""An action card in words: each figure said plainly, none of them as a certainty."""

import math
from dataclasses import dataclass
from typing import Final

from wideroll.repeats.model import ANOTHER
from wideroll.workflow.action_card import ActionCard

__all__ = ["CardWords", "card_words", "evidence_words", "false_alarm_words", "in_hundred"]

_SURE: Final = 0.995
_LEAST_SAID: Final = 1e-6
_FEW: Final = 0.5
_POWERS_FROM: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWords:
    """The parts of a card, in the order they are read; empty where there is nothing to say."""

    title: str
    roll: str
    plant: str
    test: bool
    roller: str
    zone: str
    do: str
    probability: str
    others: str
    where: str
    what: str
    since: str
    chance: str
    evidence: str
    caution: str
    """Without the word itself before it."""


def card_words(card: ActionCard) -> CardWords:
    """A card in words.

    Example:
        >>> from wideroll.workflow.card_json import trial_card
        >>> card_words(trial_card("Little Mere, line 1", "W-1")).title
        'Test card'
    """
    test = card.number == 0
    if test:
        return CardWords(
            title="Test card",
            roll=card.roll,
            plant=card.plant,
            test=True,
            roller="",
            zone="",
            do=card.action,
            **dict.fromkeys(("probability", "others", "where", "what", "since", "chance", "evidence"), ""),
            caution=_caution(card),
        )
    return CardWords(
        title=f"Action card {card.number}",
        roll=card.roll,
        plant=card.plant,
        test=False,
        roller="A roller that isn't in the table" if card.roller == ANOTHER else card.roller,
        zone=card.zone,
        do=card.action,
        probability=f"{in_hundred(card.probability)} that this is what marks the web",
        others=_others(card),
        where=f"{card.across_mm:,.0f} mm across the web",
        what=_what(card),
        since=(
            f"metre {card.first_m:,.1f} from the head; last mark at metre {card.last_m:,.1f}, "
            f"card raised at metre {card.at_m:,.1f}"
        ),
        chance=false_alarm_words(card.false_alarm),
        evidence=evidence_words(card.log10_evidence),
        caution=_caution(card),
    )


def in_hundred(probability: float) -> str:
    """A probability as so many in 100, never all and never none.

    Example:
        >>> in_hundred(0.98), in_hundred(0.9999), in_hundred(1e-9)
        ('98 in 100', 'more than 99 in 100', 'fewer than 1 in 100')
    """
    if probability >= _SURE:
        return "more than 99 in 100"
    if probability < 1.0 - _SURE:
        return "fewer than 1 in 100"
    return f"{max(1, round(100.0 * probability))} in 100"


def false_alarm_words(probability: float) -> str:
    """How often chance alone raises a card, rounded to the unfavourable side.

    Example:
        >>> false_alarm_words(0.001)
        'Chance alone would raise a card on at most 1 roll in 1,000.'
        >>> false_alarm_words(0.7)
        'Chance alone would raise a card on at most 70 rolls in 100.'
    """
    if probability > _FEW:
        rolls = min(100, math.ceil(round(100.0 * probability, 6)))
        return f"Chance alone would raise a card on at most {rolls} rolls in 100."
    one_in = math.floor(round(1.0 / max(probability, _LEAST_SAID), 6))
    step = 10 ** max(0, len(str(one_in)) - 2)
    return f"Chance alone would raise a card on at most 1 roll in {one_in // step * step:,}."


def evidence_words(log10: float) -> str:
    """How much better a series tells of the marks than scatter does.

    Args:
        log10: decimal logarithm of the likelihood ratio.

    Example:
        >>> evidence_words(9.4)
        'The marks are more than 10^9 times as likely with something that turns as without.'
        >>> evidence_words(3.33)
        'The marks are about 2,100 times as likely with something that turns as without.'
    """
    if log10 >= _POWERS_FROM:
        times = f"more than 10^{math.floor(log10)}"
    else:
        times = f"about {float(f'{10.0**log10:.2g}'):,g}"
    return f"The marks are {times} times as likely with something that turns as without."


def _caution(card: ActionCard) -> str:
    said = card.caution.removeprefix("Caution: ")
    return said[:1].upper() + said[1:]


def _others(card: ActionCard) -> str:
    return "; ".join(f"{roller} ({in_hundred(probability)})" for roller, probability in card.others)


def _what(card: ActionCard) -> str:
    spacing, low, high = (1000.0 * metres for metres in (card.spacing_m, card.spacing_low_m, card.spacing_high_m))
    return f"{card.marks} marks, every {spacing:,.1f} mm ({low:,.1f} to {high:,.1f} mm); {_share(card)}"


def _share(card: ActionCard) -> str:
    """Marks of the turns so far: few say little of those to come."""
    turns = round((card.last_m - card.first_m) / card.spacing_m) + 1 if card.spacing_m > 0.0 else card.marks
    return f"{min(card.marks, turns)} of {turns} turns so far left one"
