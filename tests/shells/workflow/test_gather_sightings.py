"""What examiners saw, as marks that are counted and as grades."""

import math
from dataclasses import replace

import pytest

from wideroll.examination import (
    GradedSample,
    GradeFinding,
    GradeScale,
    LayerPosterior,
    MarkShape,
    Origin,
    OriginFinding,
    Viewing,
    fit_grades,
)
from wideroll.examination.model import Layer
from wideroll.release import Consequence, Criterion, Measurand
from wideroll.repeats import SeriesSearch, SeriesSettings
from wideroll.roll import MarkKind, Place, Polarity
from wideroll.scan import Streak
from wideroll.workflow import SHEETS, Examination, Examined, RoomResults, StripRoom, gather_evidence, scan_web
from wideroll.workflow.gather_sightings import graded_flaws, web_sightings

GRADES = ("A", "B", "C")
NONE = SeriesSearch(series=(), marks=0, lanes=0, trials=0, length_m=2.0, observed=(), settings=SeriesSettings())


@pytest.fixture(scope="module")
def graded_product(product):
    """A product whose streaks may be B at worst."""
    samples = tuple(
        GradedSample(grade=grade, shape=MarkShape.STREAK, density=density, width_mm=1.0)
        for grade, densities in zip(GRADES, ((0.01, 0.015), (0.03, 0.04), (0.08, 0.11)), strict=True)
        for density in densities
    )
    worst = Criterion(
        name="Streak grade",
        measurand=Measurand.GRADE,
        limit=2.0,
        unit="grade",
        consequence=Consequence.HOLD,
        kinds=("streak",),
        grades=GRADES,
    )
    scale = GradeScale(grades=GRADES, samples=samples, viewing=Viewing())
    return replace(product, criteria=(worst,), grades=fit_grades(scale))


@pytest.fixture
def seen(sighting):
    """Makes an examined streak with a grade, and what the measurement says of it."""

    def make(grade="", found=None, **fields):
        streak = sighting(**({"kind": MarkKind.STREAK, "grade": grade} | fields))
        layer = LayerPosterior(probability={Layer.CYAN: 1.0}, excess=True)
        return Examined(
            sighting=streak, layer=layer, origin=OriginFinding(origin=Origin.WEB, why="it is embedded"), grade=found
        )

    return make


@pytest.mark.parametrize(
    ("grade", "measured", "places"),
    [
        ("A", None, (1.0, 1.0, 1.0)),
        ("B", ("B", "C"), (2.0, 2.0, 3.0)),
        ("A", ("C", "C"), (1.0, 1.0, 3.0)),
        ("", ("B", "C"), (3.0, 2.0, 3.0)),
        ("", None, (math.nan, 1.0, 3.0)),
    ],
)
def test_a_grade_holds_what_was_given_and_what_was_measured(
    graded_product, whole, sheet, seen, grade, measured, places
) -> None:
    """The examiner's grade stands; the interval holds it and the measured ones; without either it may be any."""
    found = measured and GradeFinding(
        given=grade, low=measured[0], high=measured[1], probability={measured[1]: 0.7, measured[0]: 0.3}
    )
    examination = Examination(sheets=(sheet,), examined=(seen(grade, found),))
    (flaw,) = graded_flaws(examination, graded_product, whole)
    assert (flaw.kind, flaw.unit, flaw.source) == ("graded streak", "grade", SHEETS)
    assert (flaw.value, flaw.low, flaw.high) == pytest.approx(places, nan_ok=True)


def test_looks_that_grade_differently_leave_it_open(graded_product, whole, sheet, seen) -> None:
    """A first look's A doesn't hide a second look's C, nor the larger size that it saw."""
    first = seen("A")
    both = replace(first, seen=(first.sighting, replace(first.sighting, grade="C", size_mm=1.2, look="R1")))
    examination = Examination(sheets=(sheet,), examined=(both,))
    (flaw,) = graded_flaws(examination, graded_product, whole)
    assert (flaw.value, flaw.low, flaw.high) == (1.0, 1.0, 3.0)


def test_the_largest_size_of_all_looks_counts(sheet, seen) -> None:
    """A first look's 0.4 mm doesn't take a mark of 1.2 mm out of what is counted."""
    first = seen(kind=MarkKind.SPOT)
    both = replace(first, seen=(first.sighting, replace(first.sighting, size_mm=1.2, look="R1")))
    assert web_sightings(Examination(sheets=(sheet,), examined=(both,)))["length_mm"].to_list() == [1.2]


def test_a_scanned_streak_has_the_worst_grade_of_all_sheets(graded_product, whole, sheet, seen, raster) -> None:
    """Seen on two sheets and by the scanner it is one streak, as long as the scanner says; both sheets are named."""
    streak = Streak(
        extent=replace(whole, along_from_m=1.0, across_from_mm=49.0, across_to_mm=51.0),
        across_mm=50.0,
        width_mm=1.0,
        contrast=-0.02,
        contrast_low=-0.025,
        contrast_high=-0.015,
        snr=9.0,
        polarity=Polarity.DARK,
        whole_length=False,
    )
    scan = replace(scan_web(raster()), streaks=(streak,))
    second = replace(sheet, name="B", extent=replace(sheet.extent, along_from_m=1.6, along_to_m=1.8))
    place = Place(along_m=1.7, across_mm=50.5)
    examination = Examination(sheets=(sheet, second), examined=(seen("A"), seen("C", sheet="B", place=place)))
    (flaw,) = graded_flaws(examination, graded_product, whole, scan)
    assert (flaw.extent, flaw.value, flaw.note) == (streak.extent, 3.0, "on B, graded too on A")
    assert len(tuple(graded_flaws(examination, graded_product, whole))) == 2


def test_only_kinds_that_a_criterion_grades_are_graded(graded_product, whole, sheet, seen) -> None:
    """Without a criterion on grades nothing is; handling dirt never is."""
    examination = Examination(sheets=(sheet,), examined=(seen("C"),))
    assert not tuple(graded_flaws(examination, replace(graded_product, criteria=()), whole))
    dirt = replace(seen("C"), origin=OriginFinding(origin=Origin.HANDLING, why="it wipes off"))
    assert not tuple(graded_flaws(replace(examination, examined=(dirt,)), graded_product, whole))


def test_what_was_seen_is_counted_on_sheets_that_were_drawn(card, whole, sheet, seen, raster) -> None:
    """Sightings stand among the marks, with sheets as source; a chosen sheet was looked at and stands for no other."""
    chosen = replace(sheet, name="B", drawn=False, extent=replace(sheet.extent, along_from_m=1.6, along_to_m=1.8))
    examination = Examination(
        sheets=(sheet, chosen), examined=(seen(kind=MarkKind.SPOT), seen(kind=MarkKind.SPOT, sheet="B"))
    )
    results = RoomResults(scan=scan_web(raster()), strip_room=StripRoom(), examination=examination, repeats=NONE)
    evidence = gather_evidence(card=card, whole=whole, found=results)
    assert evidence.marks.filter(evidence.marks["source"] == SHEETS).height == 2
    assert list(evidence.coverage[SHEETS].seen) == [sheet.extent, chosen.extent]
    assert evidence.sampled[SHEETS].seen == (sheet.extent,)
    assert [part.name for part in evidence.batches] == [batch.name for batch in card.batches]


def test_dirt_from_handling_and_streaks_are_no_marks_of_the_web(sheet, seen) -> None:
    """They are left out of what rates count, and so is what is smaller than asked for."""
    spot, small = seen(kind=MarkKind.SPOT), seen(kind=MarkKind.SPOT, size_mm=0.1)
    dirt = replace(spot, origin=OriginFinding(origin=Origin.HANDLING, why="it wipes off"))
    examination = Examination(sheets=(sheet,), examined=(spot, dirt, small, seen()))
    assert web_sightings(examination).height == 2
    assert web_sightings(examination, least_size_mm=0.2).height == 1
