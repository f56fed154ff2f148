"""The command that follows a roller from roll to roll."""

from collections.abc import Iterable, Sequence
from math import pi
from pathlib import Path
from typing import Any, TypeAlias

from wideroll.cli.app import app
from wideroll.cli.card_acts import closings_of
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import CAUTION, Json, PlantArg
from wideroll.cli.rolls import take_in_hand
from wideroll.cli.sampling import plant_files
from wideroll.errors import InputError
from wideroll.repeats import Case, SuspectRoll
from wideroll.report import rich_table
from wideroll.report.case_grids import case_action, cases_grid, cases_words
from wideroll.report.machine import plain
from wideroll.store import load_cards
from wideroll.workflow import CardClosing
from wideroll.workflow.cases import PlantCases, cases_of, suspect_roll

__all__ = ["cases"]

_Closed: TypeAlias = tuple[str, str, CardClosing]
"""Roll, roller of the card, and how it was closed."""


@app.command()
def cases(plant: PlantArg, *, as_json: Json = False) -> None:
    """Follow suspected rollers from roll to roll: which stand open, which were cleaned, and which came back.

    \b
    Examples:
      wideroll cases demo
      wideroll cases demo --json
    """
    files = plant_files(plant)
    line = files.plant()
    searched = {name: _kept(plant, name) for name in files.rolls()}
    found = cases_of(
        line,
        [roll for roll in searched.values() if roll is not None],
        [name for name, roll in searched.items() if roll is None],
    )
    closed = _closed(plant, files.rolls())
    if as_json:
        print_json(_document(found, closed))
        return
    print_table(rich_table(cases_grid(found)))
    for case in found.cases:
        for roll, one in _of_case(case, closed):
            closed_by = f"closed {one.when_utc[:10]} by {one.who}"
            say(f"{case.roller}: card {one.card} of {roll}, {closed_by}: {one.cause}; {one.done}")
    for sentence in cases_words(found):
        say(sentence)
    if found.cases:
        say(CAUTION)


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


def _closed(plant: Path, rolls: Iterable[str]) -> list[_Closed]:
    """Of each roll the cards that were closed."""
    raised = {roll: load_cards(plant / "results" / roll) for roll in rolls}
    closings = {roll: closings_of(plant, roll) for roll, cards in raised.items() if cards}
    return [
        (roll, card.roller, closings[roll][card.number])
        for roll, cards in raised.items()
        for card in cards
        if card.number in closings[roll]
    ]


def _of_case(case: Case, closed: Iterable[_Closed]) -> list[tuple[str, CardClosing]]:
    return [(roll, one) for roll, roller, one in closed if roll in case.rolls and roller == case.roller]


def _document(found: PlantCases, closed: Sequence[_Closed]) -> dict[str, Any]:
    return {
        "schema": "wideroll/cases/1",
        **plain(found),
        "cases": [_case(case, closed) for case in found.cases],
        "caution": CAUTION if found.cases else "",
    }


def _case(case: Case, closed: Sequence[_Closed]) -> dict[str, Any]:
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
        "closed_cards": [{"roll": roll, **plain(one)} for roll, one in _of_case(case, closed)],
    }
