"""The list of cards as CSV."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wideroll.acts.card_states import CardState

__all__ = ["cards_csv"]


def cards_csv(cards: Iterable["CardState"]) -> str:
    """One row a card, with units in the head."""
    from wideroll.report.grid import Cell, Column, Grid  # noqa: PLC0415  (loads what sets tables)
    from wideroll.report.grid_json import grid_csv, grid_json  # noqa: PLC0415

    heads = ("roll", "card", "state", "roller", "zone", "probability", "across, mm", "since, m", "spacing, mm")
    later = ("raised, UTC", "who has it", "cause", "what was done", "who closed it")
    numbers = {"probability", "across, mm", "since, m", "spacing, mm"}
    grid = Grid(
        caption="Action cards",
        columns=tuple(Column(head=head, number=head in numbers) for head in (*heads, *later)),
        rows=tuple(tuple(Cell(text=text) for text in _texts(one)) for one in cards),
    )
    return grid_csv(grid_json(grid))


def _texts(one: "CardState") -> tuple[str, ...]:
    card, taken, closing = one.card, one.recorded.taken, one.recorded.closing
    return (
        one.roll,
        str(card.number),
        one.state,
        card.roller,
        card.zone,
        f"{card.probability:.3f}",
        f"{card.across_mm:.0f}",
        f"{card.first_m:.1f}",
        f"{1000.0 * card.spacing_m:.1f}",
        one.raised_utc,
        taken.who if taken is not None else "",
        closing.cause if closing is not None else "",
        closing.done if closing is not None else "",
        closing.who if closing is not None else "",
    )
