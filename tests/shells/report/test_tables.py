"""The terminal's tables."""

import csv
import io
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from wideroll.report import (
    coverage_table,
    cut_list_csv,
    cut_table,
    decision_table,
    marks_summary_table,
    missing_table,
    process_runs_table,
    series_table,
    sightings_table,
    strips_table,
)


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


def test_the_cut_list_reads_back_as_csv(assessment):
    """The cut list is CSV with one line a piece, slitter and coated metres adding up to the roll."""
    lines = list(csv.DictReader(io.StringIO(cut_list_csv(assessment.plan, 42.0))))
    assert [line["piece"] for line in lines] == [piece.number for piece in assessment.plan.pieces]
    assert all(float(line["slitter_from_m"]) + float(line["coated_to_m"]) == pytest.approx(42.0) for line in lines)
    assert len(cut_list_csv(None, 42.0).splitlines()) == 1


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
