"""Action cards as a page: to show on a screen, or to print and carry to the machine."""

from collections.abc import Sequence

from wideroll.report.card_words import card_words
from wideroll.report.page import page_template
from wideroll.workflow.action_card import ActionCard

__all__ = ["card_page"]


def card_page(cards: Sequence[ActionCard]) -> str:
    """One self-contained HTML text, a printed A5 page a card; the same bytes for the same cards.

    Example:
        >>> from wideroll.workflow.card_json import trial_card
        >>> "This is a test: do nothing." in card_page([trial_card("Little Mere, line 1", "W-1")])
        True
    """
    words = [card_words(card) for card in cards]
    rolls = sorted({card.roll for card in cards})
    return page_template("card.html.j2").render(cards=words, rolls=rolls)
