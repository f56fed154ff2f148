"""Where a watch's cards go: kept, shown, and sent on until each notice has them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wideroll.acts.telling import tell
from wideroll.errors import WiderollError
from wideroll.store import load_delivered, save_card, save_delivered
from wideroll.workflow import ActionCard, CardSink

__all__ = ["CardOutlet"]


def _undrawn(card: ActionCard) -> None:
    del card


@dataclass(slots=True, kw_only=True)
class CardOutlet:
    """A roll's cards, those from before included, and the notices that are to have them."""

    results: Path
    sinks: tuple[CardSink, ...]
    show: Callable[[ActionCard], None]
    """Puts a card before whoever watches."""
    cards: list[ActionCard]
    record: Callable[[Sequence[ActionCard]], object]
    """Makes the record name cards that were just kept."""
    draw: Callable[[ActionCard], object] = _undrawn
    """Keeps a picture of what raised a card."""
    _delivered: dict[str, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Remember what arrived before."""
        self._delivered = load_delivered(self.results)

    def give(self, card: ActionCard) -> None:
        """Show a card, keep it, send it on and record it; what fails of that is said, and the watch goes on."""
        self.cards.append(card)
        self.show(card)
        try:
            save_card(self.results, card)
        except (WiderollError, OSError) as error:
            tell(f"card {card.number} was not kept: {error}")
        self.send()
        # Last: a database that somebody holds must not keep the card from the control room.
        try:
            self.record([card])
        except (WiderollError, OSError) as error:
            tell(f"card {card.number} isn't in the record yet: {error}")
        try:
            self.draw(card)
        except (WiderollError, OSError) as error:
            tell(f"what raised card {card.number} was not drawn: {error}")

    def send(self) -> None:
        """Try to deliver what each notice still lacks."""
        for sink in self.sinks:
            for card in self._lacking(sink):
                try:
                    sink.send(card)
                except (WiderollError, OSError) as error:
                    tell(f"card {card.number} was not delivered: {error}")
                    break
                self._delivered.setdefault(sink.where, []).append(card.number)
                self._remember()

    def undelivered(self) -> str:
        """Which cards have not arrived where, in one line; empty when all have."""
        lacking = [(sink.where, self._lacking(sink)) for sink in self.sinks]
        return "; ".join(
            f"{where}: card {', '.join(str(card.number) for card in cards)}" for where, cards in lacking if cards
        )

    def _lacking(self, sink: CardSink) -> Sequence[ActionCard]:
        there = self._delivered.get(sink.where, [])
        return [card for card in self.cards if card.number not in there]

    def _remember(self) -> None:
        try:
            save_delivered(self.results, self._delivered)
        except (WiderollError, OSError) as error:
            tell(f"what was delivered could not be noted: {error}")
