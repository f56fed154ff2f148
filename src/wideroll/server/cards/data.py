"""Cards as the pages show them: chosen by the address, with what was seen and where the roller stands."""

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from pydantic import BaseModel, Field

from wideroll.server.card_book import Cards, cards_of
from wideroll.server.desk import Desk
from wideroll.server.rolls.data import check_roll

if TYPE_CHECKING:
    from wideroll.acts.card_states import CardState

__all__ = ["CardChoice", "causes_before", "chosen", "evidence_of", "find_card", "machine_words", "picture_of"]

_SEEN: Final = "cards/seen"


class CardChoice(BaseModel):
    """Which cards an address asks for; empty for all. ``format`` is ``csv`` or empty."""

    state: str = Field("", max_length=20)
    roll: str = Field("", max_length=200)
    roller: str = Field("", max_length=200)
    format: str = Field("", max_length=20)

    def holds(self, one: "CardState") -> bool:
        """Whether it asks for a card."""
        return self.state in {"", one.state} and self.roll in {"", one.roll} and self.roller in {"", one.card.roller}

    @property
    def query(self) -> str:
        """The same as an address has it, with nothing that is empty."""
        said = {"state": self.state, "roll": self.roll, "roller": self.roller}
        return urlencode({name: value for name, value in said.items() if value})


def chosen(cards: Cards, choice: CardChoice) -> tuple["CardState", ...]:
    """The cards that an address asks for, those raised last first."""
    return tuple(one for one in cards.states if choice.holds(one))


def find_card(desk: Desk, roll: str, number: int) -> "CardState":
    """One card.

    Raises:
        FileNotFoundError: when there is none.
        InputError: when it can't be a roll's name.
        RecordError: when the record can't be read.
    """
    check_roll(roll)
    for one in cards_of(desk).states:
        if (one.roll, one.card.number) == (roll, number):
            return one
    raise FileNotFoundError(roll)


def evidence_of(desk: Desk, roll: str, number: int) -> dict[str, Any] | None:
    """The figure of what a watch saw when it raised a card, without its picture; None where none was kept."""
    path = desk.root / "results" / check_roll(roll) / _SEEN / f"{number:03d}.json"
    try:
        read = json.loads(path.read_text(encoding="utf-8"))
        figure: dict[str, Any] = read["figure"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return figure if path.with_suffix(".svg").is_file() else None


def picture_of(desk: Desk, roll: str, number: int) -> bytes:
    """The picture.

    Raises:
        FileNotFoundError: when none was kept.
    """
    return (desk.root / "results" / check_roll(roll) / _SEEN / f"{number:03d}.svg").read_bytes()


def causes_before(cards: Cards) -> tuple[str, ...]:
    """Causes that cards were put down to, so that the same one is written the same way again."""
    found = [one.recorded.closing.cause for one in cards.states if one.recorded.closing is not None]
    return tuple(dict.fromkeys(found))


def machine_words(desk: Desk, roller: str) -> str:
    """Where a roller stands in the machine, by the plant's table; empty where it isn't in it or can't be read."""
    from wideroll.errors import InputError  # noqa: PLC0415
    from wideroll.readers import PlantFolder  # noqa: PLC0415

    try:
        rollers = PlantFolder(desk.root).plant().rollers
    except InputError:
        return ""
    names = [one.name for one in rollers]
    if roller not in names:
        return ""
    place = names.index(roller)
    found, near = rollers[place], _between(names, place)
    side = f", touches the {found.side.value} side" if found.side is not None else ""
    return f"diameter {found.diameter_mm:,.1f} mm{side}; {near}"


def _between(names: Sequence[str], place: int) -> str:
    if len(names) == 1:
        return "the only one in the table"
    if place == 0:
        return f"the first in the table, before {names[1]}"
    if place == len(names) - 1:
        return f"the last in the table, after {names[-2]}"
    return f"between {names[place - 1]} and {names[place + 1]}"
