"""Cases in words."""

import math

import pytest

from wideroll.repeats import ANOTHER, Candidate, Case, CaseState
from wideroll.report.case_grids import case_action, cases_grid, cases_words
from wideroll.workflow.cases import PlantCases


def _case(name: str = "R7", state: CaseState = CaseState.OPEN, **fields: object) -> Case:
    values = {
        "candidates": (
            Candidate(roller=name, probability=0.6, slip=0.0, why="for: a reason"),
            Candidate(roller="R8", probability=0.38, slip=0.0),
            Candidate(roller="R9", probability=0.02, slip=0.0),
        ),
        "across_mm": 413.0,
        "spacing_m": 0.748,
        "spacing_low_m": 0.745,
        "spacing_high_m": 0.751,
        "rolls": ("W-1", "W-2"),
        "first": "2026-11-10",
        "last": "2026-11-11T07:40",
        "marks": 80,
        "log_evidence": 10.0 * math.log(10.0),
        "print_probability": 0.5,
        "state": state,
        "cleaned": "2026-11-12T15:30",
    }
    return Case(**(values | fields))


def _plant(*cases: Case, **fields: tuple[str, ...]) -> PlantCases:
    return PlantCases(**({"searched": ("W-1", "W-2"), "undated": (), "not_searched": ()} | fields), cases=cases)


def test_row_names_the_rollers_that_may_be_it_and_why() -> None:
    """A tie is shown as one, with the reason, the rolls, the days and the evidence as a power of ten."""
    (row,) = cases_grid(_plant(_case())).rows
    assert row[1].text == "R7 (60.0 %) or R8 (38.0 %)"
    assert row[1].note == "for: a reason"
    assert row[4].text == "W-1, W-2"
    assert row[5].text == "2026-11-10 to\n2026-11-11 07:40"
    assert row[6].text == "10.0"


@pytest.mark.parametrize(
    ("case", "words"),
    [
        (_case(), "look at it at 413 mm across, clean or mend it, and note it in cleanings.csv"),
        (_case(ANOTHER), "look for what turns with a diameter of 237.1 to 239.1 mm and touches at 413 mm across"),
        (_case(state=CaseState.RELAPSED), "the cleaning of 2026-11-12 15:30 didn't last"),
        (_case(state=CaseState.WATCHED), "no roll was searched that was coated after the cleaning of 2026-11-12 15:30"),
        (
            _case(state=CaseState.WATCHED, rolls_since=("W-3",), metres_since=14.0, seen_probability=0.4),
            "1 roll, 14.0 m, since the cleaning of 2026-11-12 15:30 would have shown it with 40.0 %",
        ),
        (
            _case(state=CaseState.QUIET, rolls_since=("W-3", "W-4"), metres_since=28.0, seen_probability=0.99),
            "nothing to do: 2 rolls, 28.0 m, since the cleaning of 2026-11-12 15:30 would have shown it with 99.0 %",
        ),
    ],
)
def test_what_to_do_follows_from_the_state(case: Case, words: str) -> None:
    """Where to look, what turns, or what to wait for."""
    assert words in case_action(case)


def test_what_is_not_known_is_said() -> None:
    """Rolls that weren't searched, rolls without a day, and what couldn't be put in order stand beneath the table."""
    words = cases_words(_plant(_case(notes=("W-2: no day",)), undated=("W-2",), not_searched=("W-5",)))
    assert "nothing is known of them: W-5." in words[0]
    assert "Without a day of coating: W-2." in words[1]
    assert words[2] == "Case 1: W-2: no day."
    assert cases_words(_plant()) == ()


def test_nothing_found_and_nothing_searched_differ() -> None:
    """No case among searched rolls isn't the same as no roll searched."""
    assert "2 rolls searched" in cases_grid(_plant()).empty
    assert "Nothing is known" in cases_grid(_plant(searched=())).empty
