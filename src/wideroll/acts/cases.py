"""Suspected rollers followed from roll to roll, with the closed cards that go with them."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import pi
from pathlib import Path
from typing import Any

from wideroll.acts.card_acts import closings_of
from wideroll.acts.plants import plant_files
from wideroll.acts.rolls import take_in_hand
from wideroll.acts.telling import tell
from wideroll.errors import InputError
from wideroll.repeats import Case, SuspectRoll
from wideroll.report.case_grids import case_action
from wideroll.report.machine import plain
from wideroll.store import load_cards
from wideroll.workflow import CAUTION, CardClosing
from wideroll.workflow.cases import PlantCases, cases_of, suspect_roll

__all__ = ["ClosedCard", "FollowedCases", "cases_document", "follow_cases"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedCard:
    """A roll's card that was closed: the roller it named, and how."""

    roll: str
    roller: str
    closing: CardClosing


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedCases:
    """The cases of a plant, and its closed cards."""

    found: PlantCases
    closed: tuple[ClosedCard, ...]

    def closed_of(self, case: Case) -> list[ClosedCard]:
        """The closed cards on a case's roller, of its rolls.

        Args:
            case: one of those found.
        """
        return [one for one in self.closed if one.roll in case.rolls and one.roller == case.roller]


def follow_cases(plant: Path) -> FollowedCases:
    """Follow suspected rollers from roll to roll, by the searches that are kept; none is started.

    Args:
        plant: its folder.

    Raises:
        InputError: when the folder isn't a plant, or its own file has a fault; a roll's only leaves it out.
        RecordError: when the record can't be read.
    """
    files = plant_files(plant)
    line = files.plant()
    searched = {name: _kept(plant, name) for name in files.rolls()}
    found = cases_of(
        line,
        [roll for roll in searched.values() if roll is not None],
        [name for name, roll in searched.items() if roll is None],
    )
    return FollowedCases(found=found, closed=tuple(_closed(plant, files.rolls())))


def cases_document(cases: FollowedCases) -> dict[str, Any]:
    """The cases for machines.

    Args:
        cases: of ``follow_cases``.
    """
    found = cases.found
    return {
        "schema": "wideroll/cases/1",
        **plain(found),
        "cases": [_case(case, cases) for case in found.cases],
        "caution": CAUTION if found.cases else "",
    }


def _kept(plant: Path, roll: str) -> SuspectRoll | None:
    """What the kept search of a roll makes suspect; None where there is none, it is stale, or a file has a fault."""
    try:
        hand = take_in_hand(plant, roll)
        search = hand.results.load_series(hand.desk.fingerprints["repeats"])
        if search is None:
            return None
        if not search.series or hand.results.load_scan(hand.desk.fingerprints["scan"]) is None:
            return suspect_roll(hand.desk.card, search)
        seen, scan = hand.desk.sheets(), hand.desk.scan()
        return suspect_roll(hand.desk.card, search, scan, hand.desk.examination(seen, scan))
    except InputError as error:
        tell(f"{roll} is left out: {error}")
        return None


def _closed(plant: Path, rolls: Iterable[str]) -> list[ClosedCard]:
    """Of each roll the cards that were closed."""
    raised = {roll: load_cards(plant / "results" / roll) for roll in rolls}
    closings = {roll: closings_of(plant, roll) for roll, cards in raised.items() if cards}
    return [
        ClosedCard(roll=roll, roller=card.roller, closing=closings[roll][card.number])
        for roll, cards in raised.items()
        for card in cards
        if card.number in closings[roll]
    ]


def _case(case: Case, cases: FollowedCases) -> dict[str, Any]:
    """With the diameter that the spacing makes, which is all there is of something unknown."""
    diameters = (case.spacing_m, case.spacing_low_m, case.spacing_high_m)
    middle, low, high = (1000.0 * one / pi for one in diameters)
    return {
        **plain(case),
        "roller": case.roller,
        "diameter_mm": middle,
        "diameter_low_mm": low,
        "diameter_high_mm": high,
        "what_to_do": case_action(case),
        "closed_cards": [{"roll": one.roll, **plain(one.closing)} for one in cases.closed_of(case)],
    }
