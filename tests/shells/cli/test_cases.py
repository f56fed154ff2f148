"""Cases in a terminal: the same roller suspected in roll after roll."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from wideroll.acts.card_acts import close_card
from wideroll.acts.rolls import take_in_hand
from wideroll.repeats import ANOTHER, Candidate, Series
from wideroll.roll import Extent
from wideroll.store import save_card
from wideroll.workflow.card_json import trial_card

ROLLER = "R1 coating roll"


@pytest.fixture
def suspected(decided_plant: Path) -> Path:
    """A decided plant whose kept search holds a series of the coating roll, coated on a day."""
    card = decided_plant / "rolls" / "T-1" / "roll.toml"
    card.write_text('coated = "2026-11-10"\n' + card.read_text())
    hand = take_in_hand(decided_plant, "T-1")
    search = hand.results.load_series(hand.desk.fingerprints["repeats"])
    series = Series(
        spacing_m=0.1257,
        spacing_low_m=0.1256,
        spacing_high_m=0.1258,
        phase_m=0.01,
        across_mm=45.0,
        extent=Extent(along_from_m=0.0, along_to_m=2.0, across_from_mm=44.0, across_to_mm=46.0),
        members=(0,),
        turns=(0,),
        print_probability=0.8,
        drift=0.0,
        log_evidence=30.0,
        false_alarm=1e-6,
        candidates=(
            Candidate(roller=ROLLER, probability=0.97, slip=0.0003),
            Candidate(roller=ANOTHER, probability=0.03, slip=0.0),
        ),
    )
    fields = {name: getattr(search, name) for name in search.__slots__} | {"series": (series,)}
    hand.results.save_series(type(search)(**fields), hand.desk.fingerprints["repeats"])
    return decided_plant


def _said(found: tuple[int, str, str]) -> str:
    code, out, err = found
    assert code == 0
    return " ".join((out + err).split())


def test_roll_that_was_not_searched_is_named(plant: Path, run) -> None:
    """Before a roll was searched nothing is known of it, and that is said instead of none found."""
    text = _said(run("cases", plant))
    assert "Nothing is known" in text
    assert "Not searched, or stale, so that nothing is known of them: T-1." in text


def test_searched_roll_without_a_series_makes_no_case(decided_plant: Path, run) -> None:
    """A search that found nothing says that one roll was searched."""
    text = _said(run("cases", decided_plant))
    assert "None: 1 roll searched" in text
    assert "Not searched" not in text


def test_open_case_says_what_to_do_with_the_caution(suspected: Path, run) -> None:
    """A suspected roller that wasn't cleaned is open: where to look, with the caution."""
    text = _said(run("cases", suspected))
    assert ROLLER in text
    assert "Case 1, open: look at it at 45 mm across" in text
    assert "Caution: nip points and moving web." in text


def test_cleaned_roller_is_watched(suspected: Path, run) -> None:
    """After a cleaning the case is watched until rolls without it say enough; a roll of no day is named."""
    (suspected / "cleanings.csv").write_text(f"roller,on\n{ROLLER},2026-11-11\n")
    shutil.copytree(suspected / "rolls" / "T-1" / "strips", suspected / "rolls" / "T-2" / "strips")
    card = (suspected / "rolls" / "T-1" / "roll.toml").read_text().replace("2026-11-10", "2026-11-12")
    (suspected / "rolls" / "T-2" / "roll.toml").write_text(card)
    text = _said(run("cases", suspected))
    assert "Case 1, watched: search the next rolls: no roll was searched that was coated after" in text
    assert "nothing is known of them: T-2." in text


def test_a_closed_card_of_the_roller_is_told(suspected: Path, run) -> None:
    """What was found behind the roller's card on a roll of the case, what was done, by whom; of another roller not."""
    one = replace(trial_card("Little Mere, line 1", "T-1"), number=1, roller=ROLLER)
    for card in (one, replace(one, number=2, roller="R9")):
        save_card(suspected / "results" / "T-1", card)
        close_card(suspected, "T-1", card, cause="dirt", done="wiped", who="C. Operator")
    text = _said(run("cases", suspected))
    assert f"{ROLLER}: card 1 of T-1, closed " in text
    assert "by C. Operator: dirt; wiped" in text
    assert "card 2" not in text
    (case,) = json.loads(run("cases", suspected, "--json")[1])["cases"]
    assert [(one["roll"], one["card"], one["cause"]) for one in case["closed_cards"]] == [("T-1", 1, "dirt")]


def test_case_as_json(suspected: Path, run) -> None:
    """The document names the schema, and each case with its diameter, state and what to do."""
    code, out, _ = run("cases", suspected, "--json")
    found = json.loads(out)
    assert code == 0
    assert found["schema"] == "wideroll/cases/1"
    assert (found["searched"], found["not_searched"], found["undated"]) == (["T-1"], [], [])
    (case,) = found["cases"]
    assert (case["roller"], case["state"], case["rolls"], case["first"]) == (ROLLER, "open", ["T-1"], "2026-11-10")
    assert case["diameter_low_mm"] < 40.0 < case["diameter_high_mm"]
    assert case["what_to_do"].startswith("look at it at 45 mm")


def test_fault_in_another_roll_leaves_it_out(suspected: Path, run) -> None:
    """A roll whose file has a fault is left out with the reason; the others are shown."""
    folder = suspected / "rolls" / "T-0"
    folder.mkdir()
    (folder / "roll.toml").write_text("product = 1\n")
    text = _said(run("cases", suspected))
    assert "T-0 is left out:" in text
    assert "Case 1, open" in text


def test_folder_that_is_no_plant_is_refused(tmp_path: Path, run) -> None:
    """Without plant.toml there is one clear error."""
    code, out, err = run("cases", tmp_path)
    assert (code, out) == (3, "")
    assert "plant.toml" in err


def test_only_a_cleaning_before_the_roll_makes_its_decision_stale(suspected: Path, run) -> None:
    """A cleaning after the roll was coated leaves the decision standing; one before it, or another day, does not."""
    run("decide", suspected, "T-1")
    path = suspected / "results" / "T-1" / "decision.json"
    first = json.loads(path.read_text())
    assert first["cleaned_before"] == {}
    table = suspected / "cleanings.csv"
    table.write_text(f"roller,on\n{ROLLER},2026-11-15\n")
    assert "Nothing was stale" in _said(run("decide", suspected, "T-1"))
    table.write_text(f"roller,on\n{ROLLER},2026-11-09\n")
    assert "Nothing was stale" not in _said(run("decide", suspected, "T-1"))
    second = json.loads(path.read_text())
    assert second["cleaned_before"] == {ROLLER: "2026-11-09"}
    assert second["fingerprint"] != first["fingerprint"]
