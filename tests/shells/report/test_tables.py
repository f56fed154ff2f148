"""The terminal's tables."""

import io
import math
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from wideroll.release import Consequence, Criterion, Measurand, Verdict
from wideroll.repeats.model import ANOTHER, Candidate, Roller
from wideroll.report import (
    coverage_table,
    cut_table,
    decision_table,
    marks_summary_table,
    missing_table,
    process_runs_table,
    series_table,
    sightings_table,
    strips_table,
)
from wideroll.report.decision_grids import decision_grid
from wideroll.report.repeat_grids import candidates_grid


def shown(table, width=100):
    """The table as a plain terminal shows it."""
    out = io.StringIO()
    Console(file=out, width=width, no_color=True, force_terminal=False).print(table)
    return out.getvalue()


def all_tables(given):
    """Every table of an assessment."""
    yield decision_table(given.decision)
    yield missing_table(given.decision)
    yield coverage_table(given.decision.coverage, given.whole)
    yield strips_table(given.strip_room.results)
    yield process_runs_table(given.strip_room.runs)
    yield series_table(given.repeats)
    yield marks_summary_table(given.scan)
    yield sightings_table(given.examination.examined)
    if given.plan:
        yield cut_table(given.plan)


@pytest.mark.parametrize("kind", ["assessment", "bare"])
def test_tables_fit_100_columns_in_plain_text(kind, request):
    """Every table fits 100 columns, carries no colour codes, and shortens no text with an ellipsis."""
    for table in all_tables(request.getfixturevalue(kind)):
        text = shown(table)
        assert max(cell_len(line) for line in text.splitlines()) <= 100
        assert "\x1b" not in text
        assert not any(line.rstrip().endswith("…") for line in text.splitlines())


def test_the_decision_table_has_every_criterion_the_worst_first(assessment):
    """All criteria are there; what isn't judged and what is cut out stand before what is released."""
    text = shown(decision_table(assessment.decision), width=200)
    assert all(criterion.name in text for criterion in assessment.decision.criteria)
    places = [text.index(word) for word in ("not judged", "◧ cut out", "▲ hold", "● release")]
    assert places == sorted(places)


def test_findings_of_one_verdict_stand_by_their_margin_as_a_share_of_the_limit(assessment):
    """What wasn't measured stands first, then what misses its limit by the largest share, whatever the unit."""
    plain = assessment.decision.findings[0]
    margins = {"tenth": (10.0, 1.0), "half": (0.02, 0.01), "unknown": (5.0, math.nan), "zero": (0.0, -3.0)}
    findings = tuple(
        replace(plain, criterion=name, limit=limit, margin=margin) for name, (limit, margin) in margins.items()
    )
    rows = decision_grid(replace(assessment.decision, findings=findings, criteria=())).rows
    assert [row[0].text for row in rows] == ["unknown", "zero", "tenth", "half"]


def test_a_reading_says_its_conformance_probability_once(assessment):
    """Released by probability: said beside place and source, not called unproven; else the words say it already."""
    plain = next(f for f in assessment.decision.findings if f.criterion == "Speed, red")
    released = replace(
        plain, verdict=Verdict.RELEASE, found=0.042, low=0.033, high=0.051, margin=0.008, conformance=0.9604
    )
    sure = "conformance probability 0.96, needed 0.95"
    held = replace(released, criterion="Speed, blue", verdict=Verdict.HOLD, why=f"It lies near; {sure}.")
    good, bad = (
        next(
            row
            for row in decision_grid(replace(assessment.decision, findings=(released, held))).rows
            if row[0].text == n
        )
        for n in ("Speed, red", "Speed, blue")
    )
    assert good[0].note.endswith(f"; {sure}")
    assert good[-1].note == ""
    assert bad[0].note.count(sure) == 1
    apart = decision_grid(replace(assessment.decision, findings=(held,)), apart=True)
    assert next(row for row in apart.rows if row[0].text == "Speed, blue")[0].note.endswith("; conformance 0.96")


def test_only_what_is_counted_is_exact(assessment):
    """Of a count of strips the interval is exact; of a share that was measured, no width means no interval."""
    text = shown(decision_table(assessment.decision), width=160)
    assert "1 exactly" in next(line for line in text.splitlines() if "Usable strips" in line)
    assert text.count("exactly") == 1


def test_why_a_part_is_held_stands_beneath_the_table_in_a_terminal(assessment):
    """Under each criterion stand place and source alone; the reasons of what isn't released follow in full."""
    text = shown(decision_table(assessment.decision))
    head, foot = text.rsplit("● release", 1)
    assert "a streak of 2.1 % starts at 18.2 m" not in head
    assert "◧ Streak contrast: a streak of 2.1 % starts at 18.2 m" in foot
    assert "3.1 found, at most 6" not in text


def test_a_reading_that_was_set_aside_is_said(assessment):
    """The strips table names the step that the fit left out, and no step that it used."""
    lines = shown(strips_table(assessment.strip_room.results[:1]), width=160).splitlines()
    assert [line.split()[-1] != "" for line in lines if "step at log H −2.95 left out" in line] == [True]
    assert not any("−2.80" in line for line in lines)


def test_slip_is_told_only_of_rollers_that_may_have_made_it(assessment):
    """A roller that is all but ruled out, and one not in the table, have no slip; turns are told where they fit."""
    series = replace(
        assessment.repeats[0],
        candidates=(
            Candidate(roller="half", probability=0.9, slip=0.001),
            Candidate(roller="far", probability=0.0002, slip=1.3),
            Candidate(roller=ANOTHER, probability=0.0998, slip=0.0),
        ),
    )
    rollers = (Roller(name="half", diameter_mm=119.0), Roller(name="far", diameter_mm=100.0))
    half, far, another = candidates_grid(series, rollers).rows
    assert [cell.text for cell in half[2:]] == ["373.8", "2", "+0.10"]
    assert [cell.text for cell in far[2:]] == ["314.2", "–", "–"]
    assert [cell.text for cell in another[2:]] == ["–", "–", "–"]


def test_numbers_stand_with_their_points_in_line(assessment):
    """In a column of numbers all decimal points share one place."""
    lines = [line for line in shown(strips_table(assessment.strip_room.results)).splitlines() if "+1.2" in line]
    assert len(lines) == 12
    assert len({line.index("+1.2") for line in lines}) == 1


def test_a_margin_is_never_rounded_to_nothing(assessment):
    """A limit missed by a hair shows the hair."""
    finding = replace(assessment.decision.findings[0], found=6.002, margin=-0.002)
    text = shown(decision_table(replace(assessment.decision, findings=(finding,))), width=160)
    assert "−0.002" in text
    assert "6.002" in text


def test_notes_cannot_steer_the_terminal(assessment):
    """Control characters and markup in a note are shown, not obeyed."""
    item = assessment.examination.examined[0]
    evil = replace(item, sighting=replace(item.sighting, note="\x1b[2J[red]x[/red]\x07"))
    text = shown(sightings_table((evil,)), width=200)
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "[red]x[/red]" in text


def test_one_table_says_what_is_not_known(assessment):
    """What nobody looked at and what is void stand in one table, with the mend."""
    text = shown(missing_table(assessment.decision), width=200)
    assert "98.3 % looked at" in text
    assert "scanner blinded by a reflection" in text
    assert "Repeat strip B-2" in text


def test_nothing_found_is_told_from_not_looked(assessment, bare):
    """An empty scan and no scan read differently."""
    empty = replace(assessment.scan, marks=assessment.scan.marks.clear())
    assert "No marks were found in what was looked at." in shown(marks_summary_table(empty))
    assert "The roll was not scanned." in shown(marks_summary_table(bare.scan))


def test_marks_are_counted_once(assessment):
    """The size classes of the summary add up to the number of marks."""
    text = shown(marks_summary_table(assessment.scan))
    totals = [int(line.split()[-1]) for line in text.splitlines() if " dark " in line or " bright " in line]
    assert sum(totals) == assessment.scan.marks.height


def test_of_one_criterion_few_released_findings_are_shown(assessment):
    """Two of them stand in the table, the second says how many more there are; what isn't released all stands."""
    plain = next(f for f in assessment.decision.findings if f.verdict is Verdict.RELEASE)
    many = tuple(replace(plain, criterion="lanes", margin=float(number)) for number in range(9))
    held = tuple(replace(plain, criterion="lanes", verdict=Verdict.HOLD, why="It is near.") for _ in range(3))
    decision = replace(assessment.decision, findings=(*many, *held), criteria=())
    grid = decision_grid(decision)
    assert [row[-1].text.split(" ")[-1] for row in grid.rows] == ["hold"] * 3 + ["release"] * 2
    assert grid.rows[-1][0].note.endswith("; 7 more of this criterion, none of them worse")
    assert grid.left_out == 7
    assert len(decision_grid(decision, most_per_criterion=12, most_released=12).rows) == 12


def test_grades_are_told_by_their_names(assessment):
    """Limit, grade and interval of a grade are words of the scale, not places on it."""
    criterion = Criterion(
        name="grade",
        measurand=Measurand.GRADE,
        limit=2.0,
        unit="grade",
        consequence=Consequence.HOLD,
        kinds=("streak",),
        grades=("A", "B", "C", "D"),
    )
    plain = assessment.decision.findings[0]
    finding = replace(plain, criterion="grade", unit="grade", limit=2.0, found=3.0, low=2.0, high=4.0, margin=-1.0)
    (row,) = decision_grid(replace(assessment.decision, findings=(finding,), criteria=(criterion,))).rows
    assert [cell.text.strip() for cell in row[1:4]] == ["B or better", "C", "B to D"]
    none = replace(finding, found=math.nan, low=math.nan, high=math.nan, margin=2.0)
    (row,) = decision_grid(replace(assessment.decision, findings=(none,), criteria=(criterion,))).rows
    assert [cell.text.strip() for cell in row[2:4]] == ["–", "–"]
